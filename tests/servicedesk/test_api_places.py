"""Photographs, branches, roads, home hours, how letters go out and calendars, by program."""

import csv
from datetime import time
from io import StringIO
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from equipment import api_keys
from equipment.models import KeptAnswer, User
from schedules import feeds
from schedules.calendar_events import Owner
from schedules.models import Depot, HomeHours, Notice, Photograph, Policy, RestedAddress, Technician, Visit
from schedules.photographs import MOST_A_VISIT
from servicedesk.access import Who
from servicedesk.upload_limit import LARGEST
from shared.units import ROAD_SPEED, from_si
from tests.factories import (
    NOW,
    TODAY,
    DepotFactory,
    FilterSlotFactory,
    HomeHoursFactory,
    NoticeFactory,
    PhotographFactory,
    RestedAddressFactory,
    TechnicianFactory,
    VisitFactory,
)
from tests.pictures import jpeg, upload
from tests.servicedesk.test_api import program_of
from tests.servicedesk.writing import Body, Record, Write

pytestmark = pytest.mark.django_db
NORTH: Body = {"name": "North", "street": "1 Mill Lane", "latitude": 42.1, "longitude": -87.9}


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def a_photograph(record: Record) -> str:
    return f"/api/v1/photographs/{PhotographFactory(slot=record.slot).pk}/withdrawn"


def a_depot(part: str) -> Any:
    def begin(record: Record) -> str:
        depot = DepotFactory(name="South")
        Technician.objects.update(depot=depot)
        return f"/api/v1/depots/{depot.pk}{part}"

    return begin


def depots() -> object:
    return list(Depot.objects.order_by("name").values_list("name", "latitude", "closed_on"))


def roads() -> object:
    policy = Policy.the()
    return round(from_si(policy.road_speed_ms, "mile / hour", ROAD_SPEED)), policy.slow_hours


def suits() -> object:
    rows = HomeHours.objects.order_by("pk")
    return [(row.weekdays, row.not_before, [one.name for one in row.not_by.all()]) for row in rows]


def a_rested(record: Record) -> str:
    return f"/api/v1/rested-addresses/{RestedAddressFactory().pk}/lifted"


WRITES = [
    Write(
        "api-photograph-withdrawn", a_photograph,
        lambda: list(Photograph.objects.values_list("withdrawn_at", flat=True)), [NOW],
        spoil=lambda: Photograph.objects.all().delete(), shut=Who.TECHNICIAN,
        answer=lambda told: told["withdrawn"],
    ),
    Write(
        "api-depots", lambda record: "/api/v1/depots", depots, [("North", 42.1, None)], NORTH,
        refused=NORTH | {"latitude": 0.1, "longitude": 0.2}, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-depot", a_depot(""), depots, [("North", 42.1, None)], NORTH,
        refused=NORTH | {"longitude": 300.0}, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-depot-closed", a_depot("/closed"), depots, [("South", 41.9, TODAY)], shut=Who.TECHNICIAN,
        spoil=lambda: [Technician.objects.update(depot=None), Depot.objects.all().delete()],
        answer=lambda told: len(told["start_at_the_desk"]) == 1,
    ),
    Write(
        "api-roads", lambda record: "/api/v1/roads", roads, (31, [["07:00", "09:00", 60]]),
        {"speed": "50 km/h", "slow_hours": ["7:00-9:00 60"]},
        refused={"speed": "50 km/h", "slow_hours": ["9:00-7:00 60"]}, shut=Who.TECHNICIAN,
        answer=lambda told: told["slow_hours"] == ["07:00-09:00 60 %"] and told["visit_notice_days"] == 2,
    ),
    Write(
        "api-home-hours", lambda record: f"/api/v1/sites/{record.home.pk}/hours", suits,
        [([1, 3], time(9), ["Ada"])],
        lambda record: {
            "weekdays": [1, 3], "not_before": "09:00", "not_after": "12:00",
            "not_by": [TechnicianFactory(name="Ada").name],
        },
        refused={"not_before": "12:00", "not_after": "09:00"}, shut=Who.TECHNICIAN,
        answer=lambda told: told["not_by"] == ["Ada"],
    ),
    Write(
        "api-letter-rules", lambda record: "/api/v1/letter-rules",
        lambda: (Policy.the().lead_days, Policy.the().send_to_hour, Policy.the().working_days_only),
        (12, 17, True), {"lead_days": 12, "send_to_hour": 17, "working_days_only": True},
        refused={"send_to_hour": 3}, shut=Who.TECHNICIAN,
        answer=lambda told: (told["lead_days"], told["send_from_hour"]) == (12, 8),
    ),
    Write(
        "api-rested-lifted", a_rested, lambda: RestedAddress.objects.filter(lifted_at=NOW).count(), 1,
        spoil=lambda: RestedAddress.objects.all().delete(), shut=Who.TECHNICIAN,
    ),
    Write(
        "api-van-calendar-turned",
        lambda record: f"/api/v1/technicians/{record.technician.pk}/calendar/turned",
        lambda: feeds.open_feeds(Owner(technician=Technician.objects.first())).count(), 1,
        spoil=lambda: Technician.objects.all().delete(), who=Who.TECHNICIAN,
    ),
]  # fmt: skip


def send(user: User, **told: object) -> Any:
    key = api_keys.make(user, "a script", NOW)[1]
    headers = {"Authorization": f"Bearer {key}", "Idempotency-Key": "one"}
    return Client().post("/api/v1/photographs", told, headers=headers)


@pytest.fixture
def visit(record: Record) -> Visit:
    row: Visit = VisitFactory(site=record.home, technician=record.technician, day=TODAY, state="scheduled")
    return row


def test_a_photograph_is_taken_in_listed_and_fetched(record: Record, visit: Visit) -> None:
    assert record.technician.user is not None
    told = {"uid": str(uuid4()), "filter_slot": "hall", "visit": visit.pk, "taken_at": "2026-05-11T16:00:00Z"}
    first = send(record.technician.user, file=upload(), **told)
    assert first.status_code == 201, first.content
    again = send(record.technician.user, file=upload(), **told)
    assert (again.status_code, again.json()["id"]) == (201, first.json()["id"])
    row = Photograph.objects.get()
    assert (row.slot, row.visit, row.width, row.recorded_by) == (
        record.slot, visit, 320, record.technician.user,
    )  # fmt: skip
    assert row.taken_at.hour == 16
    for user in (record.manager, record.technician.user, record.homeowner):
        ask = program_of(user)
        (listed,) = ask.get("/api/v1/photographs").json()["rows"]
        assert (listed["filter_slot"], listed["visit"], listed["uid"]) == ("hall", visit.pk, told["uid"])
        seen = ask.get(f"/api/v1/photographs/{row.pk}")
        assert (seen["Content-Type"], seen.content) == ("image/jpeg", bytes(row.jpeg))
        unchanged = ask.get(f"/api/v1/photographs/{row.pk}", **{"If-None-Match": seen["ETag"]})
        assert unchanged.status_code == 304
    ask = program_of(record.manager)
    assert ask.get("/api/v1/photographs?filter_slot=attic").json()["count"] == 0
    assert ask.get(f"/api/v1/photographs?visit={visit.pk}").json()["count"] == 1
    assert ask.post(f"/api/v1/photographs/{row.pk}/withdrawn", {}).json()["withdrawn"]
    assert ask.get(f"/api/v1/photographs/{row.pk}").status_code == 404
    assert ask.get("/api/v1/photographs").json()["count"] == 0


def test_a_household_sees_the_photographs_of_its_own_home(record: Record) -> None:
    theirs = PhotographFactory(slot=FilterSlotFactory(name="next door"))
    ask = program_of(record.homeowner)
    assert ask.get("/api/v1/photographs").json()["count"] == 0
    assert ask.get(f"/api/v1/photographs/{theirs.pk}").status_code == 404


@pytest.mark.parametrize(
    ("told", "status", "place"),
    [
        ({"file": upload(b"<svg/>")}, 422, "body/file"),
        ({"file": upload(b"")}, 422, "body/file"),
        ({"filter_slot": "attic"}, 422, "body/filter_slot"),
        ({"visit": 10**9}, 422, "body/visit"),
        ({"taken_at": "2026-05-13T16:00:00Z"}, 422, "body/taken_at"),
        ({"taken_at": "2021-05-13T16:00:00Z"}, 422, "body/taken_at"),
    ],
)
def test_what_is_no_photograph_of_theirs_is_refused(
    record: Record, visit: Visit, told: Body, status: int, place: str
) -> None:
    assert record.technician.user is not None
    body = {"uid": str(uuid4()), "filter_slot": "hall", "visit": visit.pk, "file": upload()} | told
    answer = send(record.technician.user, **body)
    assert (answer.status_code, answer.json()["faults"][0]["at"]) == (status, place)
    assert not Photograph.objects.exists()


def test_another_technicians_visit_and_one_too_many_are_refused(record: Record, visit: Visit) -> None:
    assert record.technician.user is not None
    other = VisitFactory(site=record.home, technician=TechnicianFactory(), day=TODAY, state="scheduled")
    body = {"uid": str(uuid4()), "filter_slot": "hall", "visit": other.pk, "file": upload()}
    assert send(record.technician.user, **body).status_code == 422
    for _n in range(MOST_A_VISIT):
        PhotographFactory(slot=record.slot, visit=visit)
    answer = send(record.technician.user, **(body | {"visit": visit.pk, "file": upload()}))
    assert (answer.status_code, answer.json()["title"]) == (422, "Not done")
    assert Photograph.objects.count() == MOST_A_VISIT


def test_too_many_bytes_are_refused_before_they_are_read(record: Record) -> None:
    key = api_keys.make(record.manager, "a script", NOW)[1]
    answer = Client().post(
        "/api/v1/photographs", {}, headers={"Authorization": f"Bearer {key}"},
        CONTENT_LENGTH=str(LARGEST["api-photographs"] + 1),
    )  # fmt: skip
    assert (answer.status_code, answer["Content-Type"]) == (413, "application/problem+json")


def test_a_picture_that_is_too_large_is_said_to_be(record: Record, visit: Visit, monkeypatch: Any) -> None:
    monkeypatch.setattr("shared.photographs.LARGEST_BYTES", 20)
    body = {"uid": str(uuid4()), "filter_slot": "hall", "visit": visit.pk, "file": upload(jpeg())}
    assert send(record.manager, **body).status_code == 413


def test_what_is_left_out_of_roads_and_rules_stays(record: Record) -> None:
    ask = program_of(record.manager)
    Policy.objects.update_or_create(pk=1, defaults={"road_speed_ms": 12.3456789})
    assert ask.post("/api/v1/roads", {"units": "si", "visit_notice_days": 5}).status_code == 200
    policy = Policy.the()
    assert (policy.road_speed_ms, policy.visit_notice_days) == (12.3456789, 5)
    assert policy.slow_hours == [["07:00", "09:00", 80], ["16:00", "18:00", 75]]
    assert ask.get("/api/v1/roads").json()["slow_hours"] == ["07:00-09:00 80 %", "16:00-18:00 75 %"]
    before = ask.get("/api/v1/letter-rules").json()
    assert ask.post("/api/v1/letter-rules", {"text_from_hour": 10}).json() == before | {"text_from_hour": 10}


@pytest.mark.parametrize(
    ("address", "told", "place"),
    [
        ("roads", {"speed": 900}, "body/speed"),
        ("roads", {"slow_hours": ["soon"]}, "body/slow_hours"),
        ("letter-rules", {"lead_days": 500}, "body/lead_days"),
        ("depots", NORTH | {"latitude": 0, "longitude": 0}, "body/latitude"),
        ("sites/{home}/hours", {"weekdays": [9]}, "body/weekdays"),
        ("sites/{home}/hours", {"not_by": ["Nobody"]}, "body/not_by"),
    ],
)
def test_what_cannot_be_is_refused_at_its_place(record: Record, address: str, told: Body, place: str) -> None:
    answer = program_of(record.manager).post(f"/api/v1/{address.format(home=record.home.pk)}", told)
    assert (answer.status_code, answer.json()["faults"][0]["at"]) == (422, place)


def test_depots_hours_and_rested_addresses_are_read(record: Record) -> None:
    ask = program_of(record.manager)
    DepotFactory(name="South")
    DepotFactory(name="Old", closed_on=TODAY)
    assert [row["name"] for row in ask.get("/api/v1/depots").json()["rows"]] == ["South"]
    assert [row["name"] for row in ask.get("/api/v1/depots?closed=true").json()["rows"]] == ["Old"]
    hours = f"/api/v1/sites/{record.home.pk}/hours"
    assert ask.get(hours).json() == {"weekdays": [], "not_before": None, "not_after": None, "not_by": []}
    assert not HomeHours.objects.exists()
    HomeHoursFactory(site=record.home, weekdays=[2]).not_by.add(record.technician)
    told = ask.get(hours).json()
    assert (told["weekdays"], told["not_by"]) == ([2], [record.technician.name])
    RestedAddressFactory(email="shut@home.example")
    RestedAddressFactory(lifted_at=NOW)
    (rested,) = ask.get("/api/v1/rested-addresses").json()["rows"]
    assert rested["email"] == "shut@home.example"


def test_a_lifted_address_lets_what_failed_be_told_again(record: Record) -> None:
    row = RestedAddressFactory(email="shut@home.example")
    failed = NoticeFactory(site=record.home, state=Notice.State.FAILED, sent_to="shut@home.example")
    told = failed.slots.create(slot=record.slot, kind="due", life="1")
    assert program_of(record.manager).post(f"/api/v1/rested-addresses/{row.pk}/lifted", {}).status_code == 200
    told.refresh_from_db()
    assert told.void


def test_calendars_are_told_to_whom_they_are_for(record: Record) -> None:
    assert record.technician.user is not None
    ask, mine = program_of(record.manager), f"/api/v1/technicians/{record.technician.pk}/calendar"
    for address, driver in ((mine, 200), ("/api/v1/load-calendar", 403)):
        assert ask.get(address).json() == {"address": ""}
        name = {"Idempotency-Key": address}
        first = ask.post(f"{address}/turned", {}, **name)
        secret = ask.get(address).json()["address"]
        assert (first.status_code, secret.endswith(".ics")) == (200, True)
        assert ask.post(f"{address}/turned", {}, **name).json() == first.json()
        assert ask.get(address).json()["address"] == secret
        assert secret.rsplit("/", 1)[1] not in str(list(KeptAnswer.objects.values()))
        assert program_of(record.technician.user).get(address).status_code == driver
    colleague = f"/api/v1/technicians/{TechnicianFactory().pk}/calendar"
    shut = program_of(record.technician.user).get(colleague)
    assert (shut.status_code, shut["Content-Type"]) == (403, "application/problem+json")


def sheet(*rows: list[str]) -> SimpleUploadedFile:
    out = StringIO()
    csv.writer(out).writerows(rows)
    return SimpleUploadedFile("technicians.csv", out.getvalue().encode())


def test_technicians_come_from_a_sheet_or_every_fault_is_told(record: Record) -> None:
    key = api_keys.make(record.manager, "a script", NOW)[1]

    def post(*rows: list[str]) -> Any:
        told = {"sheet": sheet(["name", "day_starts"], *rows)}
        headers = {"Authorization": f"Bearer {key}"}
        return Client().post("/api/v1/technicians-sheet", told, headers=headers)

    refused = post(["Bo Lind", "25:00"], ["Cy Dorn", "noon"])
    assert (refused.status_code, len(refused.json()["faults"])) == (422, 2)
    assert not Technician.objects.filter(name="Bo Lind").exists()
    assert post(["Bo Lind", "07:30"]).status_code == 201
    assert Technician.objects.get(name="Bo Lind").day_starts == time(7, 30)
