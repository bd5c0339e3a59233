"""The demo's record, out as sheets and in again: the same bytes and the same dates."""

from pathlib import Path

import pytest
import time_machine
from django.conf import settings
from django.core.management import call_command

from equipment.sheets.importer import import_sheets
from tests.equipment.sheets.record import brought_back, exported
from tests.factories import NOW

DEMO = Path(settings.BASE_DIR) / "fixtures" / "demo"


def dates(out: Path) -> bytes:
    call_command("forecast", "--as-of", "2026-05-12", "--out", str(out))
    return out.read_bytes()


@pytest.mark.long
@pytest.mark.django_db
def test_the_demo_comes_back_with_the_same_dates(tmp_path: Path) -> None:
    with time_machine.travel(NOW, tick=False):
        assert not import_sheets(DEMO, NOW).faults
        first, told = exported(tmp_path / "out"), dates(tmp_path / "before.csv")
        assert first["runtime.csv"].count(b"\n") == (DEMO / "runtime.csv").read_bytes().count(b"\n")
        assert brought_back(tmp_path / "out") == first
        assert dates(tmp_path / "after.csv") == told
