"""Technicians, their leave and days, letters judged, dust and a household's answers, by program."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.models import DustEpisode, Site
from schedules.models import Absence, Answer, Notice, Technician, Visit
from servicedesk.access import Who
from tests.factories import (
    NOW,
    TODAY,
    AbsenceFactory,
    DustEpisodeFactory,
    NoticeFactory,
    TechnicianFactory,
    VisitFactory,
)
from tests.servicedesk.test_api import program_of
from tests.servicedesk.writing import Body, Record, Write

pytestmark = pytest.mark.django_db
TOMORROW = TODAY + timedelta(days=1)
BO: Body = {"name": "Bo Lind", "skills": ["coils", "Gas"], "start_latitude": 41.9, "start_longitude": -87.8}
BO_LIND = ("Bo Lind", ["coils", "gas"], None)


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def bo(part: str = "", **more: Any) -> Any:
    return lambda record: f"/api/v1/technicians/{TechnicianFactory(name='Bo', **more).pk}{part}"


def bos() -> object:
    return list(Technician.objects.filter(name__startswith="Bo").values_list("name", "skills", "gone_on"))


def an_absence(part: str) -> Any:
    def begin(record: Record) -> str:
        VisitFactory(site=record.home, technician=record.technician, day=TOMORROW, state="scheduled")
        row = AbsenceFactory(technician=record.technician, first_day=TOMORROW, last_day=TOMORROW)
        return f"/api/v1/absences/{row.pk}/{part}"

    return begin


def a_day(record: Record) -> str:
    Site.objects.update(latitude=41.9, longitude=-87.8)
    Technician.objects.update(start_latitude=41.88, start_longitude=-87.75)
    VisitFactory(site=record.home, technician=record.technician, day=TOMORROW, state="scheduled")
    return "/api/v1/days/ordered"


def a_letter(record: Record) -> str:
    return f"/api/v1/letters/{NoticeFactory(site=record.home, state='parked').pk}/judged"


def dust() -> object:
    return list(DustEpisode.objects.filter(withdrawn_at=None).values_list("place", "factor"))


def gone() -> object:
    return [Absence.objects.all().delete(), Technician.objects.filter(name="Bo").delete()]


WRITES = [
    Write(
        "api-technicians", lambda record: "/api/v1/technicians", bos, [BO_LIND], BO,
        refused=BO | {"day_ends": "07:00"}, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-technician", bo(), bos, [BO_LIND], BO, refused=BO | {"depot": "Mars"},
        shut=Who.TECHNICIAN,
    ),
    Write(
        "api-technician-gone", bo("/gone"), bos, [("Bo", [], TODAY)], spoil=gone, shut=Who.TECHNICIAN,
        answer=lambda told: told["waiting"] == 0,
    ),
    Write(
        "api-technician-back", bo("/back", gone_on=TODAY), bos, [("Bo", [], None)], spoil=gone,
        shut=Who.TECHNICIAN,
    ),
    Write(
        "api-absences", lambda record: "/api/v1/absences", lambda: Absence.objects.count(), 1,
        lambda record: {
            "technician": record.technician.name, "first_day": str(TOMORROW), "last_day": str(TOMORROW),
        },
        refused={"first_day": str(TOMORROW), "last_day": str(TODAY)}, shut=Who.TECHNICIAN,
        answer=lambda told: told["booked"] == 0,
    ),
    Write(
        "api-absence-freed", an_absence("visits-freed"), lambda: Visit.objects.get().state, "displaced",
        spoil=gone, shut=Who.TECHNICIAN, answer=lambda told: told["freed"] == 1,
    ),
    Write(
        "api-absence-withdrawn", an_absence("withdrawn"),
        lambda: [row.withdrawn_at for row in Absence.objects.all()], [NOW], spoil=gone, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-day-ordered", a_day, lambda: Visit.objects.get().stop_number, 1,
        lambda record: {"technician": record.technician.name, "day": str(TOMORROW)},
        spoil=lambda: Technician.objects.update(start_latitude=None, start_longitude=None),
        who=Who.TECHNICIAN, answer=lambda told: len(told["stops"]) == 1,
    ),
    Write(
        "api-letter-judged", a_letter, lambda: Notice.objects.get().state, "sent", {"sent": True},
        spoil=lambda: Notice.objects.update(state="waiting"), shut=Who.TECHNICIAN,
    ),
    Write(
        "api-dust", lambda record: "/api/v1/dust", dust, [("Springfield", 3.0)],
        {
            "place": "Springfield", "kind": "smoke", "first_day": str(TODAY), "last_day": str(TOMORROW),
            "factor": 3,
        },
        refused={"kind": "smoke", "first_day": str(TODAY), "last_day": str(TOMORROW), "factor": 3},
        shut=Who.TECHNICIAN,
    ),
    Write(
        "api-dust-closed",
        lambda record: f"/api/v1/dust/{DustEpisodeFactory(site=record.home).pk}/closed",
        lambda: DustEpisode.objects.filter(withdrawn_at=NOW).count(), 1, {"mistake": True},
        spoil=lambda: DustEpisode.objects.all().delete(), shut=Who.TECHNICIAN,
    ),
    Write(
        "api-site-answers", lambda record: f"/api/v1/sites/{record.home.pk}/answers",
        lambda: list(Answer.objects.values_list("kind", flat=True)), ["not_yet"],
        {"what": "not-yet", "filter_slot": "hall", "days": 7},
        refused={"what": "not-yet", "filter_slot": "hall", "days": 5}, who=Who.HOMEOWNER, shut=Who.MANAGER,
        answer=lambda told: "remind" in told["said"],
    ),
]  # fmt: skip


def test_a_technicians_program_orders_its_own_day_alone(record: Record) -> None:
    other = TechnicianFactory(name="Bo")
    assert record.technician.user is not None
    ask = program_of(record.technician.user)
    told = {"technician": other.name, "day": str(TOMORROW)}
    assert ask.post("/api/v1/days/ordered", told).status_code == 404
    past = {"technician": record.technician.name, "day": str(TODAY - timedelta(days=1))}
    assert "past" in ask.post("/api/v1/days/ordered", past).json()["detail"]


def test_who_left_leave_and_dust_are_listed_and_narrowed(record: Record) -> None:
    ask = program_of(record.manager)
    TechnicianFactory(name="Bo", gone_on=TODAY)
    assert [row["name"] for row in ask.get("/api/v1/technicians?gone=true").json()["rows"]] == ["Bo"]
    an_absence("withdrawn")(record)
    assert ask.get(f"/api/v1/absences?technician={record.technician.name}").json()["count"] == 1
    assert ask.get("/api/v1/absences?technician=Bo").json()["count"] == 0
    DustEpisodeFactory(site=record.home)
    (row,) = ask.get("/api/v1/dust").json()["rows"]
    assert row["site"] == record.home.name
    assert ask.get("/api/v1/dust?since=2199-01-01").json()["count"] == 0


def test_a_household_answers_for_its_own_home_alone(record: Record) -> None:
    other = VisitFactory().site
    ask = program_of(record.homeowner)
    assert ask.post(f"/api/v1/sites/{other.pk}/answers", {"what": "send"}).status_code == 404
    told = {"what": "not-yet", "filter_slot": "attic", "days": 7}
    wrong = ask.post(f"/api/v1/sites/{record.home.pk}/answers", told)
    assert wrong.json()["faults"][0]["at"] == "body/filter_slot"
