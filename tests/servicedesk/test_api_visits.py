"""Visits by program: as the pages have them, from booking to what was done."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.models import FilterChange, FilterSlot, Reading
from schedules.models import Defect, Visit
from servicedesk.access import Who
from tests.factories import NOW, TODAY, MediaFactory, TechnicianFactory, VisitFactory, VisitJobFactory
from tests.servicedesk.test_api import program_of
from tests.servicedesk.writing import Record, Write

pytestmark = pytest.mark.django_db
TOMORROW = TODAY + timedelta(days=1)


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def visit_of(record: Record, day: Any = TODAY) -> Visit:
    visit: Visit = VisitFactory(site=record.home, technician=record.technician, day=day, state="scheduled")
    VisitJobFactory(visit=visit, slot=record.slot)
    return visit


def at(part: str, day: Any = TODAY) -> Any:
    return lambda record: f"/api/v1/visits/{visit_of(record, day).pk}/{part}"


def state() -> object:
    return Visit.objects.values_list("state", flat=True).get()


def over() -> object:
    return Visit.objects.update(state="completed")


def written() -> object:
    changes = list(FilterChange.objects.values_list("told", "changed_by"))
    defects = list(Defect.objects.order_by("pk").values_list("kind", flat=True))
    return state(), changes, Reading.objects.count(), defects


DONE = {
    "filters": [
        {"filter_slot": "hall", "changed": True, "drop_before": 0.3, "drop_after": "25 Pa", "sure": True}
    ],
    "seen": ["blocked"],
    "note": "the ladder is behind the door",
}
WRITES = [
    Write("api-visit-arrived", at("arrived"), state, "under_way", spoil=over, who=Who.TECHNICIAN),
    Write(
        "api-visit-no-access", at("nobody-opened"), state, "no_access", {"note": "rang twice"}, spoil=over,
        who=Who.TECHNICIAN,
    ),
    Write("api-visit-displaced", at("displaced"), state, "displaced", spoil=over, who=Who.TECHNICIAN),
    Write(
        "api-visit-called-off", at("called-off"), state, "cancelled", {"note": "sold"}, spoil=over,
        shut=Who.TECHNICIAN,
    ),
    Write(
        "api-visit-held", at("held"), lambda: Visit.objects.get().pinned, True, {"held": True},
        spoil=lambda: Visit.objects.update(state="due", technician=None, day=None), shut=Who.TECHNICIAN,
    ),
    Write(
        "api-visit-moved", at("moved"), lambda: Visit.objects.get().day, TOMORROW,
        lambda record: {"technician": record.technician.name, "day": TOMORROW.isoformat(), "sure": True},
        refused={"technician": "Nobody", "day": TOMORROW.isoformat()}, shut=Who.TECHNICIAN,
        answer=lambda told: told["day"] == TOMORROW.isoformat() and "without_time" in told,
    ),
    Write(
        "api-visit-done", at("done"), written, ("completed", [("technician", "technician")], 2, ["blocked"]),
        DONE, refused={"filters": [{"filter_slot": "hall", "changed": True}]}, who=Who.TECHNICIAN,
        answer=lambda told: told["jobs"][0]["done"] and told["note"] == DONE["note"],
    ),
]  # fmt: skip


@pytest.mark.parametrize(
    ("told", "place"),
    [
        ({"filters": [{"filter_slot": "hall", "changed": True}]}, "body/filters/0/changed"),
        ({"filters": [{"filter_slot": "hall", "drop_before": "60 parsecs"}]}, "body/filters/0/drop_before"),
        ({"filters": [{"filter_slot": "hall", "drop_before": 60}]}, "body/filters/0/drop_before"),
        ({"filters": [{"filter_slot": "attic"}]}, "body/filters/0/filter_slot"),
        ({"filters": [{"filter_slot": "hall", "medium": "felt"}]}, "body/filters/0/medium"),
        ({"air": [{"system": "another"}]}, "body/air/0/system"),
        ({"tasks": [7]}, "body/tasks"),
        ({"seen": ["ghosts"]}, "body/seen"),
    ],
)
def test_what_was_done_is_refused_as_its_page_refuses_it(
    record: Record, told: dict[str, Any], place: str
) -> None:
    answer = program_of(record.manager).post(at("done")(record), told)
    assert (answer.status_code, answer.json()["faults"][0]["at"]) == (422, place)
    assert (state(), Reading.objects.count()) == ("scheduled", 0)


def test_figures_are_in_the_units_that_the_body_names(record: Record) -> None:
    medium = MediaFactory(name="of this size", nominal_size=record.slot.nominal_size)
    done = {"filter_slot": "hall", "changed": True, "drop_before": 60, "medium": medium.name, "sure": True}
    answer = program_of(record.manager).post(at("done")(record), {"units": "si", "filters": [done]})
    assert answer.status_code == 200, answer.content
    assert Reading.objects.get().filter_drop_pa == pytest.approx(60)
    assert FilterChange.objects.get().media == medium


def test_a_visit_done_early_leaves_its_day(record: Record) -> None:
    answer = program_of(record.manager).post(at("done", TOMORROW)(record), {"note": "was in the street"})
    assert (answer.status_code, answer.json()["day"]) == (200, TODAY.isoformat())


def test_a_technicians_program_opens_its_own_visits_alone(record: Record) -> None:
    mine, other = visit_of(record), VisitFactory(technician=TechnicianFactory(), day=TODAY, state="scheduled")
    assert record.technician.user is not None
    ask = program_of(record.technician.user)
    assert ask.get(f"/api/v1/visits/{mine.pk}").json()["jobs"][0]["filter_slot"] == "hall"
    assert ask.get(f"/api/v1/visits/{other.pk}").status_code == 404
    assert ask.post(f"/api/v1/visits/{other.pk}/done", DONE).status_code == 404


def test_what_is_unusual_is_asked_about_as_on_the_page(record: Record) -> None:
    ask = program_of(record.manager)
    visit_of(record, TOMORROW)
    told = {
        "site": record.home.name, "wanted": "no heat", "technician": record.technician.name,
        "day": (TODAY + timedelta(days=2)).isoformat(),
    }  # fmt: skip
    asked = ask.post("/api/v1/visits", told)
    assert (asked.status_code, asked.json()["ask"]) == (422, "sure")
    assert "two trips" in asked.json()["detail"]
    assert Visit.objects.count() == 1
    booked = ask.post("/api/v1/visits", told | {"sure": True})
    assert (booked.status_code, booked.json()["wanted"], booked.json()["state"]) == (
        201,
        "no heat",
        "scheduled",
    )


@pytest.mark.parametrize(
    ("who", "body", "known"),
    [
        ("manager", {}, ("program", "technician")),
        ("manager", {"changed_by": "occupant"}, ("program", "occupant")),
        ("technician", {}, ("technician", "technician")),
        ("homeowner", {}, ("occupant", "occupant")),
    ],
)
def test_a_change_says_who_told_of_it(
    record: Record, who: str, body: dict[str, str], known: tuple[str, str]
) -> None:
    FilterSlot.objects.update(changed_by="technician")
    user = record.technician.user if who == "technician" else getattr(record, who)
    told = {"changed_on": TODAY.isoformat(), **body}
    assert program_of(user).post("/api/v1/filters/hall/changes", told).status_code == 201
    change = FilterChange.objects.get()
    assert (change.told, change.changed_by) == known
