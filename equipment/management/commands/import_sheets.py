"""Read a directory of sheets into the record."""

import sys
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from equipment.sheets.importer import NoSheets, import_sheets


class Command(BaseCommand):
    """``import_sheets DIR [--keep-good]``"""

    help = "Read whichever of the known sheets DIR holds; one bad row and nothing is stored."

    def add_arguments(self, parser: CommandParser) -> None:
        """Directory and whether good rows are kept beside bad ones."""
        parser.add_argument("directory", type=Path)
        parser.add_argument("--keep-good", action="store_true", help="store the good rows, leave out the bad")

    def handle(self, *args: Any, directory: Path, keep_good: bool, **options: Any) -> None:
        """Import, list every fault, end with a status that says whether all was stored."""
        if not directory.is_dir():
            raise CommandError(f"{directory} is not a directory")
        try:
            report = import_sheets(directory, timezone.now(), keep_good=keep_good, progress=self._progress)
        except NoSheets as error:
            raise CommandError(str(error)) from None
        for line in report.lines():
            self.stdout.write(line)
        if report.faults and not keep_good:
            raise CommandError(f"{len(report.faults)} faults; nothing was stored")
        if report.faults:
            self.stderr.write(f"{len(report.faults)} faults; the rows they stand in were left out")

    def _progress(self, sheet: str, rows: int) -> None:
        if sys.stderr.isatty():
            self.stderr.write(f"\r{sheet}: {rows:,} rows", ending="")
