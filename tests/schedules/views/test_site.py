"""A home's page: booking from it, what its people see."""

import re
from datetime import date, time

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Site
from schedules.models import Technician, Visit
from tests.factories import (
    NOW,
    TODAY,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    PlanFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def terry(db: None) -> Technician:
    return TechnicianFactory(name="Terry Tool")


# Booking


def test_a_visit_is_booked_from_the_homes_page_though_nothing_is_due_for_long(
    manager: Client, home: Site, home_slot: FilterSlot, terry: Technician
) -> None:
    PlanFactory(slot=home_slot, due_on=date(2027, 2, 1))
    task = MaintenanceTaskFactory(system=home_slot.system, due_on=date(2026, 12, 1))
    page = manager.get(reverse("site", args=[home.pk])).text
    assert reverse("site-visit", args=[home.pk]) in page
    asked = {"technician": terry.pk, "day": "2026-05-14", "window_from": "09:30"}
    answer = manager.post(
        reverse("site-visit", args=[home.pk]), {**asked, "slots": [home_slot.pk], "tasks": [task.pk]}
    )
    visit = Visit.objects.get()
    assert answer["Location"] == reverse("visit", args=[visit.pk])
    assert (visit.site, visit.technician, visit.day) == (home, terry, date(2026, 5, 14))
    assert visit.window_from == time(9, 30)
    assert {(job.slot, job.task) for job in visit.jobs.all()} == {(home_slot, None), (None, task)}


def test_a_booking_without_a_job_is_refused_on_the_homes_page(
    manager: Client, home: Site, home_slot: FilterSlot, terry: Technician
) -> None:
    asked = {"technician": terry.pk, "day": "2026-05-14"}
    answer = manager.post(reverse("site-visit", args=[home.pk]), asked)
    assert answer.status_code == 422
    assert "Choose at least one filter or task, or say what somebody is needed for." in answer.text
    assert 'value="2026-05-14"' in answer.text
    assert not Visit.objects.exists()


def test_jobs_of_an_open_visit_and_of_other_homes_are_not_offered(
    manager: Client, home: Site, home_slot: FilterSlot, terry: Technician
) -> None:
    VisitJobFactory(visit=VisitFactory(site=home), slot=home_slot)
    elsewhere = FilterSlotFactory()
    page = manager.get(reverse("site", args=[home.pk])).text
    assert "Every filter and task of this home is part of a visit already" in page
    asked = {"technician": terry.pk, "day": "2026-05-14", "slots": [elsewhere.pk]}
    assert manager.post(reverse("site-visit", args=[home.pk]), asked).status_code == 422
    assert Visit.objects.count() == 1


def test_the_jobs_to_choose_from_stand_below_their_name(
    manager: Client, home: Site, home_slot: FilterSlot
) -> None:
    text = manager.get(reverse("site", args=[home.pk])).text
    group = re.search(r"<fieldset[^>]*><legend>Filters to change</legend>(.*?)</fieldset>", text, re.DOTALL)
    assert group
    assert f'value="{home_slot.pk}"' in group[1]


def test_what_is_due_soon_is_ticked_beforehand(manager: Client, home: Site, home_slot: FilterSlot) -> None:
    PlanFactory(slot=home_slot, due_on=TODAY)
    late = FilterSlotFactory(system=home_slot.system)
    PlanFactory(slot=late, due_on=date(2027, 2, 1))
    form = manager.get(reverse("site", args=[home.pk])).context["book_form"]
    assert form["slots"].value() == [home_slot.pk]


# What its people see


def rows_of(text: str) -> list[str]:
    """The filters' cards in their order, as plain words."""
    cards = [part.partition("</article>")[0] for part in text.split('<article class="filter-card"')[1:]]
    return [" ".join(re.sub(r"<[^>]+>", " ", card.partition(">")[2]).split()) for card in cards]


@pytest.fixture
def rows(homeowner: Client, home: Site, home_slot: FilterSlot) -> list[str]:
    PlanFactory(slot=home_slot, due_on=date(2026, 9, 1))
    late = FilterSlotFactory(system=home_slot.system, location="attic rack", access_notes="mind the dog")
    PlanFactory(slot=late, due_on=date(2026, 5, 1))
    FilterSlotFactory(system=home_slot.system, name="aa-no-date")
    soon = FilterSlotFactory(system=home_slot.system, changed_by=FilterSlot.ChangedBy.TECHNICIAN)
    PlanFactory(slot=soon, due_on=TODAY)
    return rows_of(homeowner.get(reverse("site", args=[home.pk])).text)


def test_filters_stand_by_due_day_each_with_its_state(rows: list[str]) -> None:
    told = ["1 May 2026 overdue", "12 May 2026 due", "1 September 2026 loading", "– not enough to say"]
    assert len(rows) == 4
    assert all(words in row for row, words in zip(rows, told, strict=True))


def test_a_homeowner_reads_plain_words_and_not_the_technicians_notes(rows: list[str]) -> None:
    assert "We come and change it." in rows[1]
    assert not [row for row in rows if "occupant" in row or "mind the dog" in row]


def test_the_filters_own_page_has_its_form_too(homeowner: Client, home_slot: FilterSlot) -> None:
    there = homeowner.get(reverse("filter", args=[home_slot.pk])).text
    assert '<h2 id="changed">I changed it</h2>' in there
    assert "occupant" not in there


def test_all_that_somebody_is_here_stands_on_one_line(homeowner: Client, home: Site) -> None:
    text = homeowner.get(reverse("site", args=[home.pk])).text
    assert text.count("Robin Reed") == 1
    assert "<strong>Robin Reed</strong> lives here, changes the filters<" in text


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        ([], "No filter here has a date yet"),
        ([date(2026, 9, 1), date(2026, 7, 1)], "The next filter is to be changed by 1 July 2026"),
        ([date(2026, 5, 11), date(2026, 7, 1)], "1 filter waits to be changed"),
        ([date(2026, 5, 11), date(2026, 5, 1)], "2 filters wait to be changed"),
    ],
)
def test_the_title_answers(homeowner: Client, home: Site, days: list[date], expected: str) -> None:
    for day in days:
        PlanFactory(slot=FilterSlotFactory(system__site=home), due_on=day)
    assert f"<h1>{expected}</h1>" in homeowner.get(reverse("site", args=[home.pk])).text


# The calendar's address


def test_looking_at_the_page_makes_no_calendar_address_and_its_button_does(
    homeowner: Client, home: Site
) -> None:
    assert "Make the address" in homeowner.get(reverse("site", args=[home.pk])).text
    assert not home.feeds.exists()
    text = homeowner.post(reverse("feed-new", args=[home.pk]), follow=True).text
    made = home.feeds.get()
    assert reverse("feed", args=[made.secret]) in text
    assert "answers no more" not in text
    text = homeowner.post(reverse("feed-new", args=[home.pk]), follow=True).text
    made.refresh_from_db()
    assert made.withdrawn_at == NOW
    assert "The old calendar address answers no more" in text
    assert reverse("feed", args=[made.secret]) not in text


def test_what_a_home_lacks_is_said_in_words(manager: Client, home: Site) -> None:
    text = manager.get(reverse("site", args=[home.pk])).text
    for words in (
        "No filter of this home is on record yet.",
        "Nobody is named here yet.",
        "No maintenance is agreed for this home.",
        "no visit is booked.",
        "nothing was replaced",
    ):
        assert words in text


def test_the_height_of_a_filter_is_written_down_and_told_on_the_day(
    home_slot: FilterSlot, technician: Client
) -> None:
    address = reverse("filter-height", args=[home_slot.pk])
    assert technician.post(address, {"height": "10"}).status_code == 302
    home_slot.refresh_from_db()
    assert home_slot.height_m == pytest.approx(3.048)
    assert "10 ft above the floor" in technician.get(reverse("filter", args=[home_slot.pk])).text
    for typed in ("40", "-1", "high"):
        assert technician.post(address, {"height": typed}).status_code == 422
    technician.post(address, {"height": ""})
    home_slot.refresh_from_db()
    assert home_slot.height_m is None
