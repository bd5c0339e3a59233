"""Read technicians from a sheet."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from schedules.technicians_sheet import import_technicians


class Command(BaseCommand):
    """``import_technicians FILE.csv``"""

    help = "Add and change technicians by a sheet of name, skills, place, hours, days, depot and van room."

    def add_arguments(self, parser: CommandParser) -> None:
        """The file."""
        parser.add_argument("file", type=Path)

    def handle(self, *args: Any, file: Path, **options: Any) -> None:
        """Store all rows or none; list every fault."""
        try:
            report = import_technicians(file)
        except OSError as error:
            raise CommandError(f"{file} cannot be read: {error.strerror}") from None
        for line in report.lines():
            self.stdout.write(line)
        if report.faults:
            raise CommandError(f"{len(report.faults)} faults; nothing was stored")
