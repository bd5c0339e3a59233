"""Make a key by which a program acts for somebody."""

from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from equipment import api_keys
from equipment.models import ApiKey
from schedules.emails import account_of


class Command(BaseCommand):
    """``make_key ada@example.org --name "the accounts" [--days 365]``, or ``make_key --withdraw Xy3kQ9``"""

    help = "Print a new key for programs, once; or withdraw one by its first signs."

    def add_arguments(self, parser: CommandParser) -> None:
        """Whose it is and what for, or which to withdraw."""
        parser.add_argument("email", nargs="?", help="the mail address by which its user signs in")
        parser.add_argument("--name", default="a program", help="what the key is for")
        parser.add_argument("--days", type=int, default=api_keys.LASTS.days, help="how long it lasts")
        parser.add_argument("--withdraw", metavar="SIGNS", help="the first six signs of a key")

    def handle(self, *args: Any, **options: Any) -> None:
        """Make it, or end it."""
        now = timezone.now()
        if options["withdraw"]:
            rows = ApiKey.objects.filter(key_begins=options["withdraw"], withdrawn_at=None)
            if len(rows) != 1:
                raise CommandError(f"{len(rows)} keys that stand begin so; nothing was withdrawn")
            api_keys.withdraw(rows[0], now)
            self.stdout.write(f"{rows[0].name}: the key opens nothing any more.")
            return
        user = account_of(options["email"] or "")
        if user is None:
            raise CommandError("nobody signs in by that address")
        if not 1 <= options["days"] <= 3650:
            raise CommandError("a key lasts from 1 to 3650 days")
        row, key = api_keys.make(user, options["name"], now, timedelta(days=options["days"]))
        self.stdout.write(
            f"{key}\nThis key acts for {user} until {row.expires_at:%Y-%m-%d}; it is shown only now."
        )
