"""A home's page: booking from it, what its people see."""

from collections.abc import Iterator
from datetime import date, time

import pytest
import time_machine
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


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


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
    assert "Choose at least one filter or task." in answer.text
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


def test_what_is_due_soon_is_ticked_beforehand(manager: Client, home: Site, home_slot: FilterSlot) -> None:
    PlanFactory(slot=home_slot, due_on=TODAY)
    late = FilterSlotFactory(system=home_slot.system)
    PlanFactory(slot=late, due_on=date(2027, 2, 1))
    form = manager.get(reverse("site", args=[home.pk])).context["book_form"]
    assert form["slots"].value() == [home_slot.pk]
