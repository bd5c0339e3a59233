"""An import that is killed half-way."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from equipment.models import Customer, FilterSlot, RuntimeDay, Site, System
from tests.conftest import WriteSheet
from tests.drills.conftest import ROOT, Elsewhere
from tests.factories import NOW, FilterSlotFactory

pytestmark = pytest.mark.django_db(transaction=True)
DAYS = 4000


def stored() -> list[int]:
    return [model.objects.count() for model in (Customer, Site, System, FilterSlot, RuntimeDay)]


def test_after_a_kill_half_way_nothing_is_stored_and_the_next_import_works(
    elsewhere: Elsewhere, sheet: WriteSheet, tmp_path: Path
) -> None:
    FilterSlotFactory(name="there-before")
    before = stored()
    place = {"customer": "Reed", "site": "home", "system": "home-air"}
    sheet("installed.csv", [{**place, "filter_slot": "home-hall", "nominal_size": "16x25x1"}])
    first = date(2015, 1, 1)
    sheet(
        "runtime.csv",
        [{"system": "home-air", "date": first + timedelta(days=n), "fan_hours": 5} for n in range(DAYS)],
    )
    elsewhere.hand_over()
    killed = elsewhere.start("-m", "tests.drills.importer", str(tmp_path), NOW.isoformat())
    assert killed.stdout
    slots, days = map(int, killed.stdout.readline().split())
    killed.kill()
    killed.communicate()
    assert slots == 2
    assert 0 < days <= DAYS
    elsewhere.take_back()
    assert stored() == before

    again = elsewhere.start(str(ROOT / "manage.py"), "import_sheets", str(tmp_path))
    said, _ = again.communicate(timeout=60)
    assert again.returncode == 0, said
    elsewhere.take_back()
    assert stored() == [before[0] + 1, before[1] + 1, before[2] + 1, before[3] + 1, DAYS]
