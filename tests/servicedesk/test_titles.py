"""One way of writing a day on every page, and titles that say something."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from schedules.models import Notice, Technician, Visit
from schedules.visit_words import visit_sentence
from tests.factories import NOW, TODAY, NoticeFactory, SiteFactory, TechnicianFactory, VisitFactory

pytestmark = [pytest.mark.django_db, pytest.mark.once]
ROOT = Path(__file__).parents[2]
# A day in full, with its weekday where the day is the page's own; hours; and the machine's way in addresses.
WAYS = {"j F Y", "l j F Y", "H:i", "j F Y H:i", "Y-m-d", "M Y"}  # the last for months


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def templates() -> list[Path]:
    return sorted(path for app in ("schedules", "servicedesk") for path in (ROOT / app).rglob("*.html"))


def test_every_page_writes_a_day_in_the_same_way() -> None:
    used = {
        (way, path.name)
        for path in templates()
        for way in re.findall(r"""\|date:["']([^"']*)["']""", path.read_text(encoding="utf-8"))
    }
    assert len(used) > 10
    assert {(way, name) for way, name in used if way not in WAYS} == set()


@pytest.mark.parametrize(
    ("state", "expected"),
    [
        (Visit.State.DUE, "3 Quarry Road waits for a day"),
        (Visit.State.SCHEDULED, "Terry Tool comes to 3 Quarry Road on 12 May 2026 at about 10:15"),
        (Visit.State.CONFIRMED, "Terry Tool comes to 3 Quarry Road on 12 May 2026 at about 10:15"),
        (Visit.State.UNDER_WAY, "Terry Tool is at 3 Quarry Road"),
        (Visit.State.COMPLETED, "3 Quarry Road was visited on 11 May 2026"),
        (Visit.State.NO_ACCESS, "Nobody opened at 3 Quarry Road on 11 May 2026"),
        (Visit.State.DISPLACED, "3 Quarry Road needs another day"),
        (Visit.State.CANCELLED, "The visit to 3 Quarry Road was called off"),
    ],
)
def test_a_visits_title_says_where_it_stands(manager: Client, state: Visit.State, expected: str) -> None:
    ended = state in (Visit.State.COMPLETED, Visit.State.NO_ACCESS)
    visit = VisitFactory(
        site=SiteFactory(street="3 Quarry Road"),
        technician=TechnicianFactory(name="Terry Tool"),
        day=TODAY,
        state=state,
        arrive_at=datetime(2026, 5, 12, 15, 15, tzinfo=UTC),
        # Late on the eleventh in Chicago.
        completed_at=datetime(2026, 5, 12, 3, tzinfo=UTC) if ended else None,
    )
    text = manager.get(reverse("visit", args=[visit.pk])).text
    assert f"<h1>{expected}</h1>" in text
    assert f"<title>{expected} · " in text


def test_a_visit_without_its_place_in_the_order_names_no_hour(manager: Client) -> None:
    visit = VisitFactory(
        site=SiteFactory(name="Mill", street=""),
        technician=TechnicianFactory(name="Terry Tool"),
        day=TODAY,
        state=Visit.State.SCHEDULED,
    )
    assert visit_sentence(visit) == "Terry Tool comes to Mill on 12 May 2026"


def test_the_days_title_counts_its_stops(technician: Client) -> None:
    own = Technician.objects.get()
    VisitFactory(technician=own, day=TODAY, state=Visit.State.SCHEDULED)
    text = technician.get(reverse("day", args=[own.pk, TODAY])).text
    assert "<h1>Terry Tool has 1 stop on Tuesday 12 May 2026</h1>" in text
    assert "<title>Terry Tool has 1 stop on Tuesday 12 May 2026 · " in text


def test_the_outboxs_title_counts_the_letters_that_are_shown(manager: Client) -> None:
    for state in (Notice.State.FAILED, Notice.State.SENT, Notice.State.SENT):
        NoticeFactory(state=state)
    assert "<h1>3 letters are in the outbox</h1>" in manager.get(reverse("outbox")).text
    assert "<h1>1 letter is “failed”</h1>" in manager.get(reverse("outbox"), {"state": "failed"}).text


def test_a_list_without_rows_says_so_in_one_line(manager: Client) -> None:
    technician = TechnicianFactory()
    for page in (reverse("visits"), reverse("outbox"), reverse("call-list"), reverse("tasks")):
        assert 'class="none"' in manager.get(page).text
    assert manager.get(reverse("day", args=[technician.pk, TODAY])).text.count('class="none"') == 2
