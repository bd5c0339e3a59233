"""manage look_back: hold past changes to the dates that were to be had then."""

from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.utils import timezone

from schedules.look_back import look_back


class Command(BaseCommand):
    """For a desk whose record is older than its dates: fills *Figures* for the months before."""

    help = "Hold the changes of past months to the dates that the facts of then give."

    def add_arguments(self, parser: CommandParser) -> None:
        """How far back."""
        parser.add_argument("--months", type=int, default=12, help="so many months, this one included")

    def handle(self, *args: Any, **options: Any) -> None:
        """Do it and say how many."""
        count = look_back(timezone.now(), max(1, min(int(options["months"]), 120)))
        self.stdout.write(f"{count} changes held to a date")
