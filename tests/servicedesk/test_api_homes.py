"""Homes, devices and keys by program: installs handed over, people named, events, keys shown once."""

from typing import Any

import pytest
from django.utils import timezone

from equipment import api_keys
from equipment.models import ApiKey, Device, FilterSlot, KeptAnswer, Reading, Site, SiteRole, System
from servicedesk.access import Who
from shared.units import M3S_PER_CFM
from tests.factories import NOW, DeviceFactory, MediaFactory, TechnicianFactory, VisitFactory, VisitJobFactory
from tests.servicedesk.test_api import program_of
from tests.servicedesk.writing import Body, Record, Write

pytestmark = pytest.mark.django_db
INSTALL: Body = {
    "customer": "Ines Vale", "street": "3 Quarry Road", "postcode": "60601", "pets": False, "capacity": 3,
    "airflow": 1100, "airflow_method": "by the traverse", "return_static": 0.2, "filter_in": "out",
    "supply_static": 0.2, "slots": [
        {"size": "16x25x1", "location": "hall", "clean_drop": 0.12, "airflow": 550},
        {"size": "20x20x1", "location": "den", "changed_by": "technician", "height": "9 ft"},
    ],
}  # fmt: skip


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def handed() -> object:
    return list(Site.objects.filter(customer__name="Ines Vale").values_list("name", "systems__name"))


def a_device(record: Record) -> Device:
    device: Device = DeviceFactory(system=record.slot.system, name="hall logger")
    return device


def a_key(record: Record) -> str:
    assert record.technician.user is not None
    return f"/api/v1/keys/{api_keys.make(record.technician.user, 'another', NOW)[0].pk}/withdrawn"


def changers() -> object:
    rows = SiteRole.objects.filter(role="filter_changer", until=None)
    return list(rows.values_list("person__name", flat=True))


def gone() -> object:
    return FilterSlot.objects.filter(name="hall", retired_on=NOW.date()).exists()


WRITES = [
    Write(
        "api-hand-overs", lambda record: "/api/v1/hand-overs", handed,
        [("Ines Vale, 3 Quarry Road", "Ines Vale, 3 Quarry Road system")], INSTALL,
        refused={**INSTALL, "slots": [{"size": "like a door"}]}, who=Who.TECHNICIAN,
        answer=lambda told: told["filter_slots"] == ["3 Quarry Road, den", "3 Quarry Road, hall"],
    ),
    Write(
        "api-people", lambda record: "/api/v1/people", changers, ["Ines Vale"],
        lambda record: {"site": record.home.name, "name": "Ines Vale", "roles": ["filter_changer"]},
        refused={"site": "home", "name": "Ines Vale", "roles": ["ghost"]}, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-events", lambda record: "/api/v1/events", gone, True,
        {"site": "home", "kind": "slot_retired", "on": "2026-05-12", "filter_slot": "hall"},
        refused={"site": "home", "kind": "slot_retired", "on": "2026-05-12"}, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-devices", lambda record: "/api/v1/devices", lambda: Device.objects.count(), 1,
        lambda record: {"system": record.slot.system.name, "name": "hall logger"},
        refused={"system": "none of ours", "name": "hall logger"}, shut=Who.TECHNICIAN,
        answer=lambda told: len(told["key"]) > 20,
    ),
    Write(
        "api-device-turned", lambda record: f"/api/v1/devices/{a_device(record).pk}/turned",
        lambda: Device.objects.get().turned_at, NOW, shut=Who.TECHNICIAN,
        spoil=lambda: Device.objects.update(withdrawn_at=NOW), answer=lambda told: len(told["key"]) > 20,
    ),
    Write(
        "api-device-withdrawn", lambda record: f"/api/v1/devices/{a_device(record).pk}/withdrawn",
        lambda: [row.withdrawn_at for row in Device.objects.all()], [NOW], shut=Who.TECHNICIAN,
        spoil=lambda: Device.objects.all().delete(),
    ),
    Write(
        "api-key-withdrawn", a_key, lambda: ApiKey.objects.get(name="another").withdrawn_at, NOW,
        who=Who.TECHNICIAN,
        spoil=lambda: ApiKey.objects.filter(name="another").update(expires_at=NOW),
    ),
]  # fmt: skip


def test_an_install_stands_as_its_form_would_store_it(record: Record) -> None:
    ask = program_of(record.manager)
    medium = MediaFactory(name="of this size", nominal_size="16x25x1")
    slots = [{**INSTALL["slots"][0], "medium": medium.name}]
    answer = ask.post("/api/v1/hand-overs", {**INSTALL, "slots": slots})
    assert answer.status_code == 201, answer.content
    (slot,) = FilterSlot.objects.filter(system__site__pk=answer.json()["site"])
    assert slot.first_media == medium
    assert Reading.objects.get(slot=slot).airflow_m3s == pytest.approx(550 * M3S_PER_CFM)
    assert slot.system.site.pets is False
    alike = ask.post("/api/v1/hand-overs", {**INSTALL, "slots": slots})
    assert (alike.status_code, alike.json()["faults"][0]["at"]) == (422, "body/home")
    second = ask.post("/api/v1/hand-overs", {"home": slot.system.site.name, "slots": slots})
    assert second.status_code == 201, second.content
    assert System.objects.filter(site=slot.system.site).count() == 2


@pytest.mark.parametrize(
    ("more", "place"),
    [
        ({"customer": ""}, "body/customer"),
        ({"latitude": 41.5}, "body/longitude"),
        ({"capacity": "9 parsecs"}, "body/capacity"),
        ({"filter_in": None}, "body/filter_in"),
        ({"slots": [{"size": "16x25x1", "clean_drop": "9 inwc"}]}, "body/slots/0/clean_drop"),
        ({"slots": [{"size": "16x25x1", "medium": "felt"}]}, "body/slots/0/medium"),
        ({"home": "nowhere"}, "body/home"),
    ],
)
def test_an_install_is_refused_with_the_place_of_its_fault(record: Record, more: Body, place: str) -> None:
    answer = program_of(record.manager).post("/api/v1/hand-overs", INSTALL | more)
    assert (answer.status_code, answer.json()["faults"][0]["at"]) == (422, place)
    assert handed() == []


def test_a_key_is_in_one_answer_and_nowhere_in_the_database(record: Record) -> None:
    ask, name = program_of(record.manager), {"Idempotency-Key": "one"}
    told = {"system": record.slot.system.name, "name": "hall logger"}
    first = ask.post("/api/v1/devices", told, **name)
    key = first.json()["key"]
    assert first["Cache-Control"] == "no-store"
    assert key not in KeptAnswer.objects.get().body
    again = ask.post("/api/v1/devices", told, **name)
    assert again.json() == first.json() | {"key": ""}
    assert key not in str(list(Device.objects.values()))
    assert ask.get("/api/v1/devices").json()["rows"][0]["key_begins"] == key[:6]


def test_keys_are_listed_for_whom_they_concern(record: Record) -> None:
    a_key(record)
    assert record.technician.user is not None
    assert program_of(record.technician.user).get("/api/v1/keys").json()["count"] == 2
    assert program_of(record.manager).get("/api/v1/keys").json()["count"] == 3
    theirs = api_keys.make(record.manager, "the manager's", timezone.now())[0]
    ask = program_of(record.technician.user)
    assert ask.post(f"/api/v1/keys/{theirs.pk}/withdrawn", {}).status_code == 404


def test_people_and_events_are_listed_and_what_an_event_ends_is_told(record: Record) -> None:
    ask = program_of(record.manager)
    (row,) = ask.get("/api/v1/people?site=home&role=filter_changer").json()["rows"]
    assert (row["name"], row["email"]) == ("Robin Reed", "robin@home.example")
    visit = VisitFactory(site=record.home, technician=TechnicianFactory(), day=NOW.date(), state="scheduled")
    VisitJobFactory(visit=visit, slot=record.slot)
    told = {"site": "home", "kind": "customer_gone", "on": "2026-05-12", "note": "sold"}
    assert ask.post("/api/v1/events", told).json()["visits"] == 1
    assert ask.get("/api/v1/events?site=home").json()["rows"][0]["note"] == "sold"
    assert ask.get("/api/v1/events?since=2026-05-13").json()["count"] == 0
