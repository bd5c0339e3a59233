"""What the README shows is what the commands give."""

import csv
import re
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import time_machine
from django.core.management import call_command

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.once
@pytest.mark.django_db
def test_the_readmes_row_is_what_the_forecast_writes(tmp_path: Path) -> None:
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    place = next(number for number, line in enumerate(lines) if line.startswith("filter_slot,due_on"))
    (shown,) = csv.DictReader(lines[place : place + 2])
    with time_machine.travel(datetime(2026, 11, 25, 15, tzinfo=UTC), tick=False):
        call_command("import_sheets", str(ROOT / "fixtures" / "demo"), verbosity=0)
        call_command("forecast", "--as-of", "2026-11-25", "--out", str(tmp_path / "dates.csv"))
    with (tmp_path / "dates.csv").open(encoding="utf-8") as file:
        written = {row["filter_slot"]: row for row in csv.DictReader(file)}[shown["filter_slot"]]
    assert list(written) == list(shown)
    assert written["reason"] == shown["reason"]
    # Another processor may round a sum otherwise, and a day with it.
    for column in ("due_on", "p10_on", "p50_on", "p90_on"):
        days = date.fromisoformat(written[column]) - date.fromisoformat(shown[column])
        assert abs(days.days) <= 1, column
    for column in ("drop_now_inwc", "limit_drop_inwc", "run_hours"):
        assert float(written[column]) == pytest.approx(float(shown[column]), abs=0.0011)


def test_the_readmes_pictures_are_there() -> None:
    shown = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8"))
    assert len(shown) == 3
    assert all((ROOT / name).read_bytes().startswith(b"\x89PNG") for name in shown)
