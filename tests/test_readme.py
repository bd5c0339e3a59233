"""What the README shows is what the commands give."""

from datetime import UTC, datetime
from pathlib import Path

import pytest
import time_machine
from django.core.management import call_command

ROOT = Path(__file__).resolve().parent.parent


@pytest.mark.django_db
def test_the_readmes_row_is_what_the_forecast_writes(tmp_path: Path) -> None:
    shown = (ROOT / "README.md").read_text(encoding="utf-8").split("filter_slot,due_on", 1)[1]
    header, row = ("filter_slot,due_on" + shown).splitlines()[:2]
    with time_machine.travel(datetime(2026, 11, 25, 15, tzinfo=UTC), tick=False):
        call_command("import_sheets", str(ROOT / "fixtures" / "demo"), verbosity=0)
        call_command("forecast", "--as-of", "2026-11-25", "--out", str(tmp_path / "dates.csv"))
    written = (tmp_path / "dates.csv").read_text(encoding="utf-8").splitlines()
    assert written[0] == header
    assert row in written
