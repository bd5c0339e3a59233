"""The look-up, what was done, trips to be booked, and what a technician's key lists, by program."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.models import FilterSlot, Site, User
from schedules import tags
from tests.factories import (
    NOW,
    TODAY,
    FilterChangeFactory,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    PlanFactory,
    ReadingFactory,
    RuntimeDayFactory,
    SiteFactory,
    VisitFactory,
)
from tests.servicedesk.test_api import Program, program_of
from tests.servicedesk.writing import Record

pytestmark = pytest.mark.django_db
LISTS = (
    "sites", "systems", "filters", "readings", "changes", "runtime", "tasks", "air-records", "photographs",
)  # fmt: skip


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def driver(record: Record) -> Program:
    assert record.technician.user is not None
    return program_of(record.technician.user)


def full(slot: FilterSlot) -> None:
    """A row of each list, at the slot."""
    ReadingFactory(slot=slot)
    FilterChangeFactory(slot=slot)
    RuntimeDayFactory(system=slot.system)
    MaintenanceTaskFactory(system=slot.system)


def test_a_technicians_key_lists_the_homes_that_they_go_to_about_now(record: Record, driver: Program) -> None:
    full(record.slot)
    Site.objects.update(latitude=41.9, longitude=-87.8)
    away = [name for name in LISTS if driver.get(f"/api/v1/{name}").json()["count"]]
    assert (away, driver.get("/api/v1/homes.geojson").json()["count"]) == ([], 0)
    VisitFactory(site=record.home, technician=record.technician, day=TODAY, state="scheduled")
    near = [name for name in LISTS if driver.get(f"/api/v1/{name}").json()["count"]]
    assert near == [name for name in LISTS if name not in ("air-records", "photographs")]
    assert driver.get("/api/v1/homes.geojson").json()["count"] == 1
    whole = program_of(record.manager)
    SiteFactory()
    assert (whole.get("/api/v1/sites").json()["count"], driver.get("/api/v1/sites").json()["count"]) == (2, 1)


def test_any_filter_is_still_found(record: Record, driver: Program) -> None:
    full(record.slot)
    Site.objects.update(street="12 Linden Street")
    named = {
        "filters?site=home": 1, "systems?site=home": 1, "readings?filter_slot=hall": 1,
        "changes?filter_slot=hall": 1, f"runtime?system={record.slot.system.name}": 1, "tasks?site=home": 1,
    }  # fmt: skip
    assert {one: driver.get(f"/api/v1/{one}").json()["count"] for one in named} == named
    assert driver.get("/api/v1/filters/hall").status_code == 200
    told = driver.get("/api/v1/look-up?q=linden").json()
    assert ([one["filter_slot"] for one in told["filters"]], told["nearest"]) == (["hall"], False)
    told = driver.get("/api/v1/look-up?q=lindne").json()
    assert ([one["filter_slot"] for one in told["filters"]], told["nearest"]) == (["hall"], True)
    tag = tags.tag_of(record.slot, NOW).code
    assert driver.get(f"/api/v1/look-up?q={tag}").json()["filters"][0]["filter_slot"] == "hall"
    assert driver.get("/api/v1/look-up?q=nowhere%20at%20all").json()["filters"] == []


def test_the_look_up_tells_no_telephone_by_trying(
    record: Record, driver: Program, homeowner_user: User
) -> None:
    assert homeowner_user.person is not None
    person = record.home.roles.select_related("person").first()
    assert person is not None
    person.person.phone = "+1 555 010 7788"
    person.person.save()
    assert driver.get("/api/v1/look-up?q=555-010-7788").json()["filters"] == []
    assert len(program_of(record.manager).get("/api/v1/look-up?q=555-010-7788").json()["filters"]) == 1
    VisitFactory(site=record.home, technician=record.technician, day=TODAY, state="scheduled")
    assert len(driver.get("/api/v1/look-up?q=555-010-7788").json()["filters"]) == 1


def test_what_was_done_is_told_as_on_its_page(record: Record) -> None:
    FilterChangeFactory(slot=record.slot, changed_on=TODAY - timedelta(days=3))
    ask, address = program_of(record.homeowner), f"/api/v1/sites/{record.home.pk}/done"
    (row,) = ask.get(address).json()["rows"]
    assert row["what"].startswith("Filter changed")
    assert (row["day"], row["taken_back_on"]) == ((TODAY - timedelta(days=3)).isoformat(), None)
    assert ask.get(f"{address}?first={TODAY}").json()["count"] == 0
    assert ask.get(f"{address}?first={TODAY}&last=2026-01-01").status_code == 422
    assert ask.get(f"/api/v1/sites/{SiteFactory().pk}/done").status_code == 404


def test_trips_to_be_booked(record: Record) -> None:
    slot = FilterSlotFactory(name="loft", changed_by="technician")
    PlanFactory(slot=slot, due_on=TODAY + timedelta(days=5))
    (row,) = program_of(record.manager).get("/api/v1/trips-to-book").json()["rows"]
    due_on = (TODAY + timedelta(days=5)).isoformat()
    assert (row["filter_slots"], row["due_on"], row["tasks"]) == (["loft"], due_on, [])
