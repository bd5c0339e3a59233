"""Read an archive of the whole desk into an empty one."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from servicedesk.archive.restore import NotRestorable, restore_archive


class Command(BaseCommand):
    """``restore_desk FILE``"""

    help = "Read what archive_desk wrote into this desk, which has to be empty; all of it or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        """The file."""
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        """Restore it, and say how much there is."""
        try:
            counts = restore_archive(file)
        except NotRestorable as error:
            raise CommandError(str(error)) from None
        self.stdout.write(f"{sum(counts.values()):,} rows of {len(counts)} tables are back.")
