"""Plans of rounds and of seasons, and figures, by program: the same as the pages'."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.models import FilterSlot, Site
from schedules import figures, promises, round_runs
from schedules.models import Plan, RoundPlan, SeasonPlan, Technician, Visit
from schedules.planning.routing import Iterations
from servicedesk.access import Who
from tests.factories import (
    NOW,
    TODAY,
    KeptDateFactory,
    RoundPlanFactory,
    SeasonPlanFactory,
    SeasonTripFactory,
)
from tests.servicedesk.test_api import program_of
from tests.servicedesk.writing import Body, Record, Write

pytestmark = pytest.mark.django_db
SOLVE, FEW = round_runs.solve, Iterations(50)
DAYS = {"first_day": "2026-05-13", "last_day": "2026-05-20", "seconds": 10}


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def ripe(record: Record) -> Technician:
    """The home's filter falls due within the days, at a placed home that a technician looks after."""
    Site.objects.update(latitude=41.9, longitude=-87.8)
    FilterSlot.objects.update(changed_by="technician")
    due = TODAY + timedelta(days=6)
    Plan.objects.update(due_on=due, life_began_on=due - timedelta(days=90))
    Technician.objects.update(start_latitude=41.88, start_longitude=-87.75)
    return record.technician


def proposed(record: Record) -> Body:
    """A proposal as the search leaves it, with one stop."""
    stop = {
        "site": record.home.pk, "home": "12 Linden Street", "customer": "Reed", "visit": None, "stood": None,
        "slots": [record.slot.pk], "tasks": [], "first": "2026-05-13", "last": "2026-05-20", "number": 1,
        "arrive": "09:00:00", "leave": "09:30:00", "way_s": 600, "way_m": 9000, "place": [41.9, -87.8],
        "slack_days": 3, "late": 0.0, "change": "new", "was": "", "why": "Best done then.",
    }  # fmt: skip
    day = {
        "technician": ripe(record).pk, "name": record.technician.name, "day": "2026-05-13",
        "start": [41.88, -87.75], "depart": "08:30:00", "back": "10:00:00", "stops": [stop],
    }  # fmt: skip
    left = {"site": 0, "home": "9 Elm Street", "visit": None, "why": "too far", "must": True}
    return {"days": [day], "left": [left], "van_days": 1}


def a_plan(part: str, **more: Any) -> Any:
    def begin(record: Record) -> str:
        return f"/api/v1/rounds/{RoundPlanFactory(proposal=proposed(record), **more).pk}/{part}"

    return begin


WRITES = [
    Write(
        "api-rounds", lambda record: "/api/v1/rounds", lambda: RoundPlan.objects.count(), 1, DAYS,
        refused={**DAYS, "seconds": 7}, shut=Who.TECHNICIAN, answer=lambda told: told["state"] == "waiting",
    ),
    Write(
        "api-round-stopped", a_plan("stopped"), lambda: [row.state for row in RoundPlan.objects.all()],
        ["stopped"], spoil=lambda: RoundPlan.objects.all().delete(), shut=Who.TECHNICIAN,
    ),
    Write(
        "api-round-taken", a_plan("taken", state="ready"),
        lambda: list(Visit.objects.values_list("day", "stop_number")), [(TODAY + timedelta(days=1), 1)],
        spoil=lambda: RoundPlan.objects.update(state="taken"), shut=Who.TECHNICIAN,
        answer=lambda told: told == {"booked": 1, "moved": 0, "refused": []},
    ),
    Write(
        "api-season-plans", lambda record: "/api/v1/season-plans", lambda: SeasonPlan.objects.count(), 1,
        {"first_day": "2026-05-18", "weeks": 6, "seconds": 5}, refused={"first_day": "2026-05-19"},
        shut=Who.TECHNICIAN,
    ),
    Write(
        "api-season-plan-stopped",
        lambda record: f"/api/v1/season-plans/{SeasonPlanFactory().pk}/stopped",
        lambda: [row.state for row in SeasonPlan.objects.all()], ["stopped"],
        spoil=lambda: SeasonPlan.objects.all().delete(), shut=Who.TECHNICIAN,
    ),
]  # fmt: skip


def test_a_plan_of_rounds_goes_from_asking_to_booked_visits(
    record: Record, monkeypatch: pytest.MonkeyPatch
) -> None:
    ask = program_of(record.manager)
    ripe(record)
    plan = ask.post("/api/v1/rounds", DAYS).json()
    address = f"/api/v1/rounds/{plan['id']}"
    assert ask.get(address).json()["rounds"] == []
    monkeypatch.setattr(round_runs, "solve", lambda problem, rule, seed: SOLVE(problem, FEW, seed=seed))
    round_runs.run_waiting(NOW)
    told = ask.get(address).json()
    assert told["state"] == "ready"
    (stop,) = told["rounds"][0]["stops"]
    assert (stop["change"], stop["visit"], bool(stop["why"])) == ("new", None, True)
    assert ask.get(f"{address}/rounds.geojson").json()["type"] == "FeatureCollection"
    assert b"<gpx" in ask.get(f"{address}/rounds.gpx").content
    assert ask.get(f"{address}/rounds.exe").status_code == 404
    assert ask.post(f"{address}/taken", {}).json()["booked"] == 1
    assert ask.get(address).json()["taken"]["booked"] == 1
    assert ask.get("/api/v1/rounds?state=taken").json()["count"] == 1


def test_plans_are_refused_with_the_place_of_their_fault(record: Record) -> None:
    ask = program_of(record.manager)
    past = ask.post("/api/v1/rounds", {**DAYS, "first_day": "2026-05-12"})
    assert (past.status_code, "tomorrow" in past.json()["detail"]) == (422, True)
    other = ask.post("/api/v1/rounds", {**DAYS, "season_plan": 9})
    assert other.json()["faults"][0]["at"] == "body/season_plan"
    long = ask.post("/api/v1/season-plans", {"first_day": "2026-05-18", "weeks": 600})
    assert long.json()["faults"][0]["at"] == "body/weeks"


def test_a_seasons_plan_is_read_week_by_week(record: Record) -> None:
    week = {
        "monday": "2026-05-18", "done": True, "homes": 1, "late": 0, "home_minutes": 30, "road_minutes": 12,
        "there_minutes": 480, "left": [{"site": record.home.pk, "home": "9 Elm Street", "why": "no place"}],
    }  # fmt: skip
    plan = SeasonPlanFactory(told=[week], state="ready")
    SeasonTripFactory(plan=plan, site=record.home, technician=record.technician)
    ask = program_of(record.manager)
    told = ask.get(f"/api/v1/season-plans/{plan.pk}").json()
    assert (told["told"][0]["homes"], told["told"][0]["left"][0]["why"]) == (1, "no place")
    (trip,) = ask.get(f"/api/v1/season-plans/{plan.pk}/trips?week=0").json()["rows"]
    assert (trip["site"], trip["technician"]) == (record.home.name, record.technician.name)
    assert ask.get(f"/api/v1/season-plans/{plan.pk}/trips?week=3").json()["count"] == 0
    assert ask.get("/api/v1/season-plans?state=ready").json()["count"] == 1


def test_figures_and_kept_promises_are_the_pages_own(record: Record) -> None:
    KeptDateFactory(slot=record.slot)
    ask = program_of(record.manager)
    page = ask.get("/api/v1/figures?figure=on_time&limit=500").json()
    told = figures.table(NOW)
    assert page["count"] == len(told.branches) * len(told.months)
    assert [row["value"] for row in page["rows"]] == [told.of("on_time", m).value for m in told.months]
    assert any(row["value"] is not None for row in page["rows"])
    kept = ask.get("/api/v1/promises").json()
    whole = promises.judged(NOW).whole
    assert (kept["kept"][0]["by"], kept["kept"][0]["count"]) == ("all", whole.count)
    assert (kept["kept"][0]["verdict"], kept["kept"][0]["error_inwc"]) == ("few", None)
