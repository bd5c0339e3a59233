"""Write the record as the sheets that import_sheets reads."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from equipment.sheets.exporter import export_sheets


class Command(BaseCommand):
    """``export_sheets DIR``"""

    help = "Write everything in use on record into DIR, as the sheets that import_sheets reads."

    def add_arguments(self, parser: CommandParser) -> None:
        """Directory, made where there is none."""
        parser.add_argument("directory", type=Path)

    def handle(self, *args: Any, directory: Path, **options: Any) -> None:
        """Export, and say how many rows each sheet has."""
        try:
            directory.mkdir(parents=True, exist_ok=True)
            counts = export_sheets(directory)
        except OSError as error:
            raise CommandError(f"{directory} cannot be written: {error.strerror}") from None
        for name, rows in counts.items():
            self.stdout.write(f"{name}: {rows:,} row{'' if rows == 1 else 's'}")
