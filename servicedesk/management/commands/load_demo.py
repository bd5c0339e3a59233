"""Fill a desk with the demo: an invented contractor in an invented country."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from servicedesk import demo


class Command(BaseCommand):
    """``load_demo [--once]``"""

    help = "Load the demo: all of it, or nothing where something is in the way."

    def add_arguments(self, parser: CommandParser) -> None:
        """Whether a desk that already has homes is left as it is."""
        parser.add_argument(
            "--once", action="store_true", help="do nothing where the desk has a site already"
        )

    def handle(self, *args: Any, once: bool, **options: Any) -> None:
        """Load, and say in a line what there is now."""
        if once and demo.in_use():
            self.stdout.write("The desk has homes already; the demo was not loaded.")
            return
        try:
            self.stdout.write(demo.load(timezone.now()))
        except demo.NotLoadable as error:
            raise CommandError(str(error)) from None
