"""End the second factor of somebody whose phone is lost."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from equipment import second_factor
from equipment.models import User


class Command(BaseCommand):
    """``end_second_factor EMAIL``"""

    help = "Ask for no code any more where the account with EMAIL signs in."

    def add_arguments(self, parser: CommandParser) -> None:
        """Whose."""
        parser.add_argument("email")

    def handle(self, *args: Any, email: str, **options: Any) -> None:
        """End it."""
        users = list(User.objects.filter(email__iexact=email, second_since__isnull=False))
        if not users:
            raise CommandError(f"no account with {email} asks for a code")
        for user in users:
            second_factor.turn_off(user)
        self.stdout.write(f"No code is asked for any more where {email} signs in.")
