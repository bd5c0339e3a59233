"""Answer a file of questions: may this medium go there."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from equipment.sheets.faults import Report
from equipment.verdict_sheet import read_queries, write_answers


class Command(BaseCommand):
    """``verdict QUERIES.csv --out FILE.csv``"""

    help = "Say of every row whether its medium may go into its slot, with the deciding figures."

    def add_arguments(self, parser: CommandParser) -> None:
        """Questions and where to write."""
        parser.add_argument("queries", type=Path)
        parser.add_argument("--out", type=Path, required=True)

    def handle(self, *args: Any, queries: Path, out: Path, **options: Any) -> None:
        """Answer all; with a fault anywhere list every fault and write nothing."""
        report = Report()
        try:
            asked = read_queries(queries, report)
        except OSError as error:
            raise CommandError(f"{queries} cannot be read: {error.strerror}") from None
        for line in (*report.remarks, *report.faults):
            self.stdout.write(str(line))
        if report.faults:
            raise CommandError(f"{len(report.faults)} faults; nothing was written")
        try:
            write_answers(out, asked)
        except OSError as error:
            raise CommandError(f"{out} cannot be written: {error.strerror}") from None
        self.stdout.write(f"{out}: {len(asked.asked):,} questions answered")
