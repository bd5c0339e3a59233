"""The phone's two addresses."""

import json
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from equipment.models import FilterSlot, Site, User
from schedules import visits
from schedules.models import FieldEntry, Technician, Visit
from schedules.visits import Booking
from tests.factories import NOW, TODAY, TagFactory

pytestmark = pytest.mark.django_db
MS = int(NOW.timestamp() * 1000)


@pytest.fixture(autouse=True)
def at_ten(now: datetime) -> Any:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def visit(home: Site, home_slot: FilterSlot, technician_user: User, now: datetime) -> Visit:
    mine = Technician.objects.get(user=technician_user)
    return visits.book(Booking(home, [home_slot], [], mine, TODAY, sure=True), now)


def entry(of: Visit, /, **more: Any) -> dict[str, Any]:
    usual = {"id": str(uuid4()), "n": 1, "device": str(uuid4()), "visit": of.pk, "kind": "no_access"}
    return {**usual, "at": MS - 60_000, "skew": 0, "here": False, "fields": {"note": ["shut"]}, **more}


def send(client: Client, writer: User, /, *entries: object, **more: Any) -> Any:
    body = {"sent_at": MS, "user": writer.pk, "entries": list(entries), **more}
    return client.post("/days/entries/", json.dumps(body), content_type="application/json")


def test_the_day_names_its_pages_and_its_end(
    technician: Client, technician_user: User, visit: Visit, home_slot: FilterSlot
) -> None:
    told = technician.get("/days/mine/").json()
    mine = Technician.objects.get(user=technician_user).pk
    assert told["keep"] == [
        f"/days/{mine}/2026-05-12/",
        f"/days/{mine}/2026-05-12/van/",
        f"/visits/{visit.pk}/",
        f"/filters/{home_slot.pk}/",
    ]
    assert (told["user"], told["now"], told["day"]) == (technician_user.pk, MS, "2026-05-12")
    assert datetime.fromtimestamp(told["until"] / 1000, UTC) == datetime(2026, 5, 13, 5, tzinfo=UTC)
    assert all(technician.get(address).status_code == 200 for address in told["keep"])


def test_the_day_names_where_its_tags_lead_while_they_hang(
    technician: Client, manager: Client, visit: Visit, home_slot: FilterSlot
) -> None:
    TagFactory(slot=home_slot, code="WTHDRAWN", withdrawn_at=NOW)
    TagFactory(slot=home_slot, code="STAND1NG")
    TagFactory(code="E1SEWHER")
    form = f"/visits/{visit.pk}/#slot{home_slot.pk}"
    assert technician.get("/days/mine/").json()["tags"] == {"STAND1NG": form}
    assert technician.get("/t/STAND-ING/")["Location"] == form
    assert f'id="slot{home_slot.pk}"' in technician.get(f"/visits/{visit.pk}/").text
    assert manager.get("/t/STAND1NG/")["Location"] == f"/filters/{home_slot.pk}/"
    Visit.objects.update(state=Visit.State.COMPLETED)
    assert technician.get("/days/mine/").json()["tags"] == {"STAND1NG": f"/filters/{home_slot.pk}/"}
    assert technician.get("/t/STAND1NG/")["Location"] == f"/filters/{home_slot.pk}/"


def test_an_entry_is_answered_with_what_became_of_it(
    technician: Client, technician_user: User, visit: Visit
) -> None:
    one = entry(visit)
    answer = send(technician, technician_user, one).json()
    assert answer["entries"] == [
        {"id": one["id"], "state": "taken", "said": "", "faults": {}, "next": f"/visits/{visit.pk}/"}
    ]
    assert send(technician, technician_user, one).json()["entries"][0]["state"] == "taken"
    assert FieldEntry.objects.count() == 1
    visit.refresh_from_db()
    assert visit.state == Visit.State.NO_ACCESS


def test_entries_of_somebody_else_are_not_taken_under_this_name(
    technician: Client, technician_user: User, manager_user: User, visit: Visit
) -> None:
    assert send(technician, manager_user, entry(visit)).status_code == 403
    assert not FieldEntry.objects.exists()


@pytest.mark.parametrize(
    "more",
    [
        {"entries": []},
        {"entries": "x"},
        {"entries": [1]},
        {"sent_at": None},
        {"sent_at": float("1e300")},
        {"user": None},
        {"entries": [{}] * 26},
    ],
)
def test_what_is_no_batch_is_refused_whole(
    technician: Client, technician_user: User, visit: Visit, more: dict[str, Any]
) -> None:
    assert send(technician, technician_user, entry(visit), **more).status_code == 400
    assert not FieldEntry.objects.exists()


@pytest.mark.parametrize(
    "more",
    [
        {"id": "x"},
        {"kind": "sung"},
        {"visit": "1"},
        {"visit": -1},
        {"n": 2**60},
        {"at": True},
        {"at": "now"},
        {"skew": 1e300},
        {"fields": ["a"]},
        {"fields": {"note": ["x" * 5000]}},
        {"fields": {f"f{n}": ["x"] for n in range(500)}},
    ],
)
def test_one_bad_entry_refuses_the_batch_and_stores_nothing(
    technician: Client, technician_user: User, visit: Visit, more: dict[str, Any]
) -> None:
    answer = send(technician, technician_user, entry(visit), entry(visit, **more))
    assert answer.status_code == 400
    assert answer.json()["error"]
    assert not FieldEntry.objects.exists()


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=st.binary(max_size=200) | st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(
        ["sent_at", "user", "entries", "id", "n", "kind", "at", "fields"]), inner, max_size=8),
    max_leaves=12,
).map(lambda told: json.dumps(told).encode()))  # fmt: skip
def test_any_bytes_are_refused_without_a_fault(technician: Client, body: bytes) -> None:
    assert technician.post("/days/entries/", body, content_type="application/json").status_code in (400, 403)
