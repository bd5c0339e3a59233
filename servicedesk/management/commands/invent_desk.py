"""Fill an empty desk with invented homes, as many as wanted, to measure with."""

from datetime import timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from schedules.due import today
from servicedesk.invented.rows import NotEmpty, Size, invent


class Command(BaseCommand):
    """``invent_desk FILTERS [--logged SHARE] [--days N] [--seed N]``"""

    help = "Store an invented desk of about so many filters into an empty one, for measuring."

    def add_arguments(self, parser: CommandParser) -> None:
        """How many filters, and how much of their fans is on record."""
        parser.add_argument("filters", type=int)
        parser.add_argument("--logged", type=float, default=0.1, help="share of systems whose fan is metered")
        parser.add_argument("--days", type=int, default=365, help="days of fan hours of each of them")
        parser.add_argument("--seed", type=int, default=1)

    def handle(self, *args: Any, **options: Any) -> None:
        """Store it, and say in a line what there is now."""
        now, done = timezone.now(), 0
        size = Size(options["filters"], options["logged"], options["days"], options["seed"])
        if size.filters < 1 or not 0 <= size.logged_share <= 1 or not 0 <= size.log_days <= 760:
            raise CommandError("At least one filter, a share from 0 to 1, and from 0 to 760 days.")
        try:
            for done in invent(size, today(now) - timedelta(days=1), now):
                if options["verbosity"] > 1:
                    self.stdout.write(f"{done} filters")
        except NotEmpty as error:
            raise CommandError(str(error)) from None
        self.stdout.write(f"{done} invented filters are in.")
