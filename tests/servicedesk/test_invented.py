"""An invented desk: as large as asked, the same from the same seed, and one that all else works on."""

import io
from datetime import timedelta

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from equipment.lookup import look_up
from equipment.models import FilterChange, FilterSlot, Reading, RuntimeDay, Site, SiteRole, System
from schedules import due
from schedules.models import Plan
from servicedesk.invented import rows
from servicedesk.invented.draws import draw
from servicedesk.invented.rows import NotEmpty, Size, invent
from tests.factories import SiteFactory
from tests.factories.clock import NOW, TODAY

pytestmark = pytest.mark.django_db
YESTERDAY = TODAY - timedelta(days=1)
SMALL = Size(300, logged_share=0.2, log_days=40)


def test_it_is_about_as_large_as_asked_and_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows, "HOMES_A_CHUNK", 80)
    done = list(invent(SMALL, YESTERDAY, NOW))
    assert len(done) == 3
    assert done[-1] == FilterSlot.objects.count() == pytest.approx(300, rel=0.1)
    assert SiteRole.objects.count() == 2 * Site.objects.count()
    logged = RuntimeDay.objects.values("system").distinct().count()
    assert RuntimeDay.objects.count() == 40 * logged
    assert logged == pytest.approx(0.2 * System.objects.count(), rel=0.4)
    assert FilterChange.objects.filter(changed_on__gt=YESTERDAY).count() == 0
    assert Reading.objects.filter(taken_at__gt=NOW).count() == 0


def test_dates_and_look_up_work_on_it() -> None:
    list(invent(SMALL, YESTERDAY, NOW))
    due.replan(NOW)
    assert Plan.objects.filter(due_on__isnull=False).count() == FilterSlot.objects.count()
    slot = FilterSlot.objects.order_by("-pk")[0]
    assert look_up(slot.name, NOW)[0] == slot


def test_a_chunk_depends_on_its_seed_and_place_alone() -> None:
    one, again = (draw(1, 5000, 40, 0.1) for _ in range(2))
    other, beside = draw(2, 5000, 40, 0.1), draw(1, 5040, 40, 0.1)
    assert np.array_equal(one.latitude, again.latitude)
    assert np.array_equal(one.reading_pa, again.reading_pa)
    assert not np.array_equal(one.latitude, other.latitude)
    assert not np.array_equal(one.latitude, beside.latitude)


def test_it_is_never_stored_beside_real_homes() -> None:
    SiteFactory()
    with pytest.raises(NotEmpty, match="empty desk"):
        list(invent(SMALL, YESTERDAY, NOW))
    with pytest.raises(CommandError, match="homes already"):
        call_command("invent_desk", "10")


def test_by_command_and_a_night_by_command(monkeypatch: pytest.MonkeyPatch) -> None:
    said = io.StringIO()
    call_command("invent_desk", "60", "--logged", "0", stdout=said)
    assert "invented filters are in." in said.getvalue()
    call_command("night", "--work", stdout=said)
    assert "No night yet" in said.getvalue()
    monkeypatch.setattr(due, "LARGE", 0)
    call_command("night", "--work", stdout=said)
    count = FilterSlot.objects.count()
    assert Plan.objects.count() == count
    # First dates are new ones: none of them moved.
    assert f"{count} filters looked at, 0 dates moved" in said.getvalue()
    assert f"{due.today(timezone.now())} finished: 1 of 1 parts" in said.getvalue()


@pytest.mark.parametrize("wrong", [["0"], ["10", "--logged", "1.5"], ["10", "--days", "900"]])
def test_a_size_that_cannot_be_is_refused(wrong: list[str]) -> None:
    with pytest.raises(CommandError, match="At least one filter"):
        call_command("invent_desk", *wrong)
