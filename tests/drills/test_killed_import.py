"""An import that is killed half-way."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from pytest_django.fixtures import Settings

from equipment.models import Customer, FilterSlot, Media, RuntimeDay, Site, System
from equipment.sheets import waiting
from equipment.sheets.waiting import NotWaiting
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


def test_an_upload_killed_while_it_is_stored_waits_as_before_and_is_stored_once(
    elsewhere: Elsewhere, settings: Settings, tmp_path: Path
) -> None:
    settings.VAR_DIR = tmp_path
    upload = waiting.begin(1, NOW)
    (upload.folder / "media.csv").write_text("media,nominal_size,merv\npleat,16x25x1,8\n")
    upload.shown(NOW)
    elsewhere.hand_over()
    killed = elsewhere.start("-m", "tests.drills.storer", str(upload.folder), NOW.isoformat())
    assert killed.stdout
    assert killed.stdout.readline() == "1\n"
    with pytest.raises(NotWaiting, match="at this moment"):
        upload.put_aside()
    killed.kill()
    killed.communicate()
    elsewhere.take_back()
    assert not Media.objects.exists()
    assert upload.store(NOW, keep_good=False).stored
    assert Media.objects.get().name == "pleat"
