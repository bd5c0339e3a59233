"""Write the whole desk into one file."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from servicedesk.archive.write import write_archive


class Command(BaseCommand):
    """``archive_desk FILE``"""

    help = "Write everything on record into FILE, as restore_desk reads it into an empty desk."

    def add_arguments(self, parser: CommandParser) -> None:
        """The file, replaced whole where it is there."""
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        """Write it, and say how much there is."""
        try:
            counts = write_archive(file, timezone.now())
        except OSError as error:
            raise CommandError(f"{file} cannot be written: {error.strerror}") from None
        size = file.stat().st_size
        self.stdout.write(f"{file}: {sum(counts.values()):,} rows of {len(counts)} tables, {size:,} bytes")
        self.stdout.write("Keep it as you keep keys: it holds people, ways in, and prints of passwords.")
