"""The look-up, what was done, trips to be booked, and what a technician's key lists, by program."""

from datetime import time, timedelta
from typing import Any

import pytest
from django.test import Client

from equipment.models import FilterSlot, Site, User, WeatherDay
from schedules import tags
from schedules.models import Visit
from tests.factories import (
    NOW,
    TODAY,
    FilterChangeFactory,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    MediaFactory,
    PlanFactory,
    ReadingFactory,
    RuntimeDayFactory,
    SiteFactory,
    StationFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
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


def test_who_could_come_first_is_told_and_nothing_is_booked(record: Record) -> None:
    Site.objects.update(latitude=41.90, longitude=-87.80)
    near = {"skills": ["gas"], "start_latitude": 41.91, "start_longitude": -87.80}
    TechnicianFactory(name="Near", **near)
    TechnicianFactory(name="Off", **near, day_starts=time(5), day_ends=time(6))
    told = {"site": "home", "wanted": "no heat", "wanted_skill": "gas", "wanted_minutes": 60}
    ask = program_of(record.manager)
    rows = ask.post("/api/v1/soonest", told).json()
    assert rows[0]["technician"] == "Near"
    assert rows[0]["arrive_at"]
    assert all(row["why"] and row["arrive_at"] is None for row in rows[1:])
    assert not Visit.objects.exists()
    assert ask.post("/api/v1/soonest", told | {"site": "nowhere"}).status_code == 422
    assert program_of(record.homeowner).post("/api/v1/soonest", told).status_code == 403


def test_quiet_stations_are_told(record: Record) -> None:
    station = StationFactory(name="field")
    Site.objects.update(station=station)
    ask = program_of(record.manager)
    assert ask.get("/api/v1/quiet-stations").json() == [{"station": "field", "last_day": None}]
    WeatherDay.objects.create(station=station, day=TODAY - timedelta(days=1), mean_temp_c=10.0)
    assert ask.get("/api/v1/quiet-stations").json() == []


def test_what_a_van_should_hold(record: Record) -> None:
    medium = MediaFactory(name="pleat", on_hand=9)
    slot = FilterSlotFactory(system=record.slot.system, first_media=medium, changed_by="technician")
    PlanFactory(slot=slot, due_on=TODAY + timedelta(days=1))
    visit = VisitFactory(site=record.home, technician=record.technician, day=TODAY, state="scheduled")
    VisitJobFactory(visit=visit, slot=slot)
    (row,) = program_of(record.manager).get("/api/v1/van-levels").json()
    assert (row["technician"], row["held"]) == (record.technician.name, sum(row["counts"].values()))
    assert row["counts"]["pleat"] >= 1


@pytest.mark.parametrize("address", ["/api/v1/nothing", "/api/v2/filters", "/api/", "/api/v1/filters/a/b/c"])
def test_an_address_that_leads_nowhere_is_told_as_any_fault(client: Client, address: str) -> None:
    answer = client.get(address)
    assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")
    assert answer.json()["title"] == "There is nothing at this address"
    assert "openapi.json" in answer.json()["detail"]


def test_people_are_told_by_a_page_that_nothing_is_there(client: Client) -> None:
    assert "<!doctype html>" in client.get("/nothing/").text
