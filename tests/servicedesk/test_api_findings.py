"""What wants looking at, by program: the same lists as the pages', and what is done about them."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.models import FilterChange, Person
from schedules.call_list import calls
from schedules.finding_rows import found
from schedules.models import Defect, FieldEntry, MaintenanceTask, Plan, Rung
from servicedesk.access import Who
from tests.factories import (
    NOW,
    TODAY,
    DefectFactory,
    FieldEntryFactory,
    FilterChangeFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)
from tests.servicedesk.test_api import program_of
from tests.servicedesk.writing import Body, Record, Write

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def a_defect(record: Record) -> str:
    visit = VisitFactory(site=record.home)
    return f"/api/v1/defects/{DefectFactory(site=record.home, visit=visit, kind='blocked').pk}/settled"


def an_entry(record: Record) -> str:
    visit = VisitFactory(
        site=record.home, technician=TechnicianFactory(user=record.manager), day=TODAY, state="scheduled"
    )
    VisitJobFactory(visit=visit, slot=record.slot)
    row = FieldEntryFactory(
        visit=visit, user=record.manager, state="to_judge", at=NOW - timedelta(hours=1),
        fields={f"slot{record.slot.pk}-drop_before": ["40 Pa"], "findings": ["rack loose"]},
    )  # fmt: skip
    return f"/api/v1/entries/{row.pk}/judged"


def a_call(record: Record) -> str:
    Person.objects.update(email="")
    Plan.objects.update(due_on=TODAY + timedelta(days=3))
    return "/api/v1/calls"


def called(record: Record) -> Body:
    return {"key": calls(NOW)[0].key, "reached": True, "note": "on Sunday"}


def a_change(record: Record) -> str:
    row = FilterChangeFactory(slot=record.slot, changed_on=TODAY, changed_at=NOW, told="occupant")
    FilterChange.objects.update(recorded_at=NOW)
    return f"/api/v1/changes/{row.pk}/taken-back"


def settled_how() -> object:
    return list(Defect.objects.values_list("settled_how", flat=True))


def agreed() -> object:
    return list(MaintenanceTask.objects.values_list("name", "interval_days", "least_outdoors_c", "checklist"))


WRITES = [
    Write(
        "api-defect-settled", a_defect, settled_how, ["moved it"],
        {"how": "moved it"}, spoil=lambda: Defect.objects.all().delete(), shut=Who.TECHNICIAN,
    ),
    Write(
        "api-entry-judged", an_entry, lambda: FieldEntry.objects.get().judged, "counted", {"judged": "count"},
        spoil=lambda: FieldEntry.objects.update(judged="left"), shut=Who.TECHNICIAN,
        answer=lambda told: told["judged"] == "counted",
    ),
    Write(
        "api-calls", a_call, lambda: list(Rung.objects.values_list("reached", "note")), [(True, "on Sunday")],
        called, refused={"key": "nonsense", "reached": True}, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-change-taken-back", a_change, lambda: FilterChange.objects.get().undone_at, NOW,
        who=Who.HOMEOWNER, spoil=lambda: FilterChange.objects.update(told="technician"), shut=Who.TECHNICIAN,
    ),
    Write(
        "api-tasks", lambda record: "/api/v1/tasks", agreed, [("Coil", 182, 15.0, ["look", "wash"])],
        lambda record: {
            "system": record.slot.system.name, "name": "Coil", "visits_a_year": 2, "least_outdoors": "15 °C",
            "checklist": ["look", " wash "],
        },
        refused={"system": "none of ours", "name": "Coil", "visits_a_year": 2}, shut=Who.TECHNICIAN,
        answer=lambda told: bool(told["due_on"]),
    ),
]  # fmt: skip


def test_a_task_without_a_rhythm_is_refused_by_its_pages_words(record: Record) -> None:
    told = {"system": record.slot.system.name, "name": "Coil"}
    answer = program_of(record.manager).post("/api/v1/tasks", told)
    assert answer.status_code == 422
    assert "Say after how many days" in answer.json()["faults"][0]["why"]


def test_findings_defects_entries_and_calls_are_listed_and_narrowed(record: Record) -> None:
    ask = program_of(record.manager)
    fall = found("fall", [float(TODAY.toordinal() - 60)], True, seen_pa=65.0, beside_pa=27.0,
                 until="2026-04-20", began="2026-04-01")  # fmt: skip
    Plan.objects.update(findings=[fall], finding_count=1)
    (row,) = ask.get("/api/v1/findings").json()["rows"]
    assert (row["filter_slot"], row["kind"], bool(row["look"])) == ("hall", "fall", True)
    assert ask.get("/api/v1/findings?kind=jump").json()["count"] == 0
    assert ask.get("/api/v1/findings?site=elsewhere").json()["count"] == 0
    a_defect(record)
    (row,) = ask.get("/api/v1/defects?kind=blocked").json()["rows"]
    assert (row["site"], row["licensed"], "furniture" in row["correction"]) == (record.home.name, False, True)
    assert ask.get("/api/v1/defects?kind=water").json()["count"] == 0
    a_call(record)
    (row,) = [one for one in ask.get("/api/v1/calls").json()["rows"] if "hall" in one["filter_slots"]]
    assert row["key"] == calls(NOW)[0].key
    an_entry(record)
    (row,) = ask.get("/api/v1/entries").json()["rows"]
    assert ["Findings", "rack loose"] in row["says"]
    assert ask.get("/api/v1/calls?site=elsewhere").json()["count"] == 0


def test_a_household_takes_back_its_own_change_alone(record: Record) -> None:
    other = FilterChangeFactory(changed_on=TODAY, changed_at=NOW, told="occupant")
    ask = program_of(record.homeowner)
    assert ask.post(f"/api/v1/changes/{other.pk}/taken-back", {}).status_code == 404
    assert FilterChange.objects.get().undone_at is None
