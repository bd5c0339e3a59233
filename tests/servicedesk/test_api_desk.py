"""The desk's own lists for programs: the same figures as the pages', and nobody else's homes."""

from datetime import date, time, timedelta
from typing import Any

import pytest

from equipment.models import FilterSlot, Site, User
from schedules.models import Visit
from schedules.season import facts, outlook, season
from schedules.to_buy import to_buy
from tests.factories import (
    NOW,
    TODAY,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    MediaFactory,
    NoticeFactory,
    PlanFactory,
    SiteFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
)
from tests.servicedesk.test_api import Program, program_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def desk(manager_user: User) -> Program:
    return program_of(manager_user)


def rows(program: Program, address: str) -> list[dict[str, Any]]:
    answer = program.get(f"/api/v1/{address}")
    assert answer.status_code == 200, answer.content
    found: list[dict[str, Any]] = answer.json()["rows"]
    return found


def test_homes_are_features_of_a_map_with_their_earliest_date(
    desk: Program, home_slot: FilterSlot, homeowner_user: User
) -> None:
    Site.objects.filter(pk=home_slot.system.site_id).update(latitude=41.5, longitude=-88.25)
    SiteFactory(name="nowhere")
    SiteFactory(name="other", latitude=1.0, longitude=2.0)
    PlanFactory(slot=home_slot, due_on=date(2026, 6, 1))
    PlanFactory(slot=FilterSlotFactory(system=home_slot.system), due_on=date(2026, 5, 20))
    told = desk.get("/api/v1/homes.geojson").json()
    assert (told["type"], told["count"]) == ("FeatureCollection", 2)
    first = told["features"][0]
    assert first["geometry"] == {"type": "Point", "coordinates": [-88.25, 41.5]}
    assert (first["properties"]["site"], first["properties"]["due_on"]) == ("home", "2026-05-20")
    own = program_of(homeowner_user).get("/api/v1/homes.geojson").json()
    assert [one["properties"]["site"] for one in own["features"]] == ["home"]


def test_tasks_people_and_letters(desk: Program, home: Site) -> None:
    system = SystemFactory(site=home, name="air")
    MaintenanceTaskFactory(system=system, name="Clean the drain", due_on=TODAY + timedelta(days=40))
    MaintenanceTaskFactory(system=system, name="Look at the belt", due_on=TODAY + timedelta(days=4))
    assert [row["name"] for row in rows(desk, "tasks")] == ["Look at the belt", "Clean the drain"]
    assert [row["name"] for row in rows(desk, "tasks?due_until=2026-05-20")] == ["Look at the belt"]
    TechnicianFactory(name="Ada", skills=["gas"], day_starts=time(7))
    TechnicianFactory(name="Gone", gone_on=TODAY)
    assert [(row["name"], row["skills"], row["day_starts"]) for row in rows(desk, "technicians")] == [
        ("Ada", ["gas"], "07:00:00")
    ]
    NoticeFactory(site=home, kind="visit", state="sent", send_at=NOW, text="words for one reader")
    NoticeFactory(site=home, kind="done", state="failed", send_at=NOW - timedelta(days=9))
    assert [row["kind"] for row in rows(desk, "letters")] == ["visit", "done"]
    assert [row["kind"] for row in rows(desk, "letters?state=failed")] == ["done"]
    assert "words for one reader" not in desk.get("/api/v1/letters").text


def test_the_season_and_the_purchase_list_are_those_of_the_pages(desk: Program) -> None:
    TechnicianFactory(skills=["gas"])
    media = MediaFactory(name="pleat", merv=11, on_hand=1, nominal_size="16x25x1")
    for days in (3, 9, 11):
        slot = FilterSlotFactory(changed_by="technician", first_media=media, nominal_size="16x25x1")
        PlanFactory(slot=slot, due_on=TODAY + timedelta(days=days), reason="calendar")
    known = facts(NOW)
    found = season(known, outlook(known, 6))
    weeks = desk.get("/api/v1/season?weeks=6").json()["weeks"]
    assert [week["monday"] for week in weeks] == [f"{day}" for day in found.first_days]
    assert [week["expected"] for week in weeks] == pytest.approx((found.expected / 60).tolist(), abs=1e-3)
    assert [week["capacity"] for week in weeks] == pytest.approx((found.usable / 60).tolist(), abs=1e-3)
    (line,) = to_buy(NOW).lines
    (told,) = rows(desk, "filters-to-buy")
    assert (told["media"], told["needed"], told["buy"]) == ("pleat", line.needed, line.buy)
    assert told["buy"] == 2
    for odd in ("weeks=0", "weeks=27", "weeks=x", "branch=nowhere", "skill=magic"):
        answer = desk.get(f"/api/v1/season?{odd}")
        assert answer.status_code == 422
        assert answer["Content-Type"] == "application/problem+json"


def test_a_visit_is_called_off_once(desk: Program) -> None:
    visit = VisitFactory(state="scheduled", day=TODAY + timedelta(days=3), technician=TechnicianFactory())
    address = f"/api/v1/visits/{visit.pk}/called-off"
    assert desk.post(address, {"note": "the furnace is gone"}).json()["state"] == "cancelled"
    assert Visit.objects.get().note == "the furnace is gone"
    again = desk.post(address, {})
    assert (again.status_code, again.json()["detail"]) == (422, "This visit is over.")
    assert desk.post("/api/v1/visits/999999/called-off", {}).status_code == 404
