"""One row of dates for every filter slot, as a CSV file."""

import csv
from argparse import ArgumentTypeError
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from equipment.models import FilterSlot
from schedules.due import dated, today
from schedules.fleet import learn_prior
from schedules.left_out import left_out
from schedules.models import Plan
from schedules.plan_rows import Dated
from shared import units
from shared.files import replacing

COLUMNS = (
    "filter_slot", "due_on", "p10_on", "p50_on", "p90_on", "reason", "drop_now_inwc", "limit_drop_inwc",
    "run_hours",
)  # fmt: skip


class Command(BaseCommand):
    """``forecast [--as-of DATE] --out FILE.csv``"""

    help = "Write a due date, its span and its reason for every filter slot."

    def add_arguments(self, parser: CommandParser) -> None:
        """As-of day and where to write."""
        parser.add_argument("--as-of", type=_day, default=None, help="use no fact later than this day")
        parser.add_argument("--out", type=Path, required=True)

    def handle(self, *args: Any, as_of: date | None, out: Path, **options: Any) -> None:
        """Compute everything, then put the file in place whole."""
        now = timezone.now()
        day = as_of or today(now)
        rows = [_row(item) for item in dated(day, now, learn_prior(day))]
        told = {row[0] for row in rows}
        missed = _left_out(told)
        rows = sorted(rows + [_unknown(name) for name in missed], key=lambda row: row[0])
        try:
            _write(out, rows)
        except OSError as error:
            raise CommandError(f"{out} cannot be written: {error.strerror}") from None
        self.stdout.write(f"{out}: {len(rows):,} filter slots")
        if missed:
            names = ", ".join(missed)
            self.stderr.write(f"Of these nothing could be said, for a fault that the log names: {names}")


def _day(text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise ArgumentTypeError(f"“{text}” is not a date such as 2026-05-14") from None
    if not 1950 <= day.year <= 2100:
        raise ArgumentTypeError(f"“{text}” is not a year between 1950 and 2100")
    return day


def _row(item: Dated) -> list[str]:
    plan = item.plan
    days = (plan.due_on, plan.p10_on, plan.p50_on, plan.p90_on)
    return [
        item.slot.name,
        *(day.isoformat() if day else "" for day in days),
        plan.reason,
        _inwc(plan.drop_now_pa),
        _inwc(plan.limit_drop_pa),
        "" if plan.run_hours is None else f"{plan.run_hours:.1f}",
    ]


def _left_out(told: set[str]) -> list[str]:
    rows = [row for row in FilterSlot.objects.values_list("name", "system__site") if row[0] not in told]
    homes = left_out({home for _, home in rows})
    return [name for name, home in rows if home in homes]


def _unknown(name: str) -> list[str]:
    return [name, "", "", "", "", Plan.Reason.UNKNOWN.value, "", "", ""]


def _inwc(pressure_pa: float | None) -> str:
    return "" if pressure_pa is None else f"{pressure_pa / units.PA_PER_INWC:.4f}"


def _write(out: Path, rows: Iterable[list[str]]) -> None:
    with replacing(out) as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(rows)
