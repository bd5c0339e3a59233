"""Open a desk of your own: its name, its clock, and the account of its first manager."""

from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.core.validators import validate_email
from django.db import transaction

from equipment.models import Desk, User
from schedules.emails import sign_in_url
from shared import clock


class Command(BaseCommand):
    """``open_desk --name "Our Air" --zone America/Chicago --manager "Ada Reed" --email ada@example.org``"""

    help = "Name the desk, make its first manager's account, and print the link that signs them in."

    def add_arguments(self, parser: CommandParser) -> None:
        """All four; what is on record of the same address is put right."""
        for name, what in (
            ("--name", "what households know the desk by"),
            ("--zone", "its time zone, such as America/Chicago"),
            ("--manager", "the manager's name"),
            ("--email", "the manager's mail, by which they sign in"),
        ):
            parser.add_argument(name, required=True, help=what)

    def handle(self, *args: Any, **options: str) -> None:
        """Store both, or nothing; then say how to come in."""
        try:
            clock.zone(options["zone"])
            validate_email(options["email"])
        except ValidationError:
            raise CommandError(f"“{options['email']}” is no mail address") from None
        except ValueError as error:
            raise CommandError(str(error)) from None
        with transaction.atomic():
            desk = Desk.the()
            desk.name, desk.timezone = options["name"], options["zone"]
            desk.full_clean()
            desk.save()
            user = _manager(options["manager"], options["email"])
        self.stdout.write(f"{desk.name} is open. This link signs {user.get_full_name()} in for a day:")
        self.stdout.write(sign_in_url(user))


def _manager(name: str, email: str) -> User:
    """The account: nobody can enter it with a password, only by a link to its address."""
    first, _, last = name.partition(" ")
    fields = {
        "role": User.Role.MANAGER, "first_name": first, "last_name": last, "email": email,
        "is_staff": True, "is_superuser": True, "is_active": True,
    }  # fmt: skip
    user, new = User.objects.update_or_create(username=email, defaults=fields)
    if new:
        user.set_unusable_password()
        user.save()
    return user
