"""Every write by program: done once, refused with a reason, and shut to whoever has no right to it."""

from pathlib import Path
from typing import Any

import pytest
from pytest_django.fixtures import Settings

from servicedesk.access import API_TABLE, Who
from tests.factories import NOW
from tests.servicedesk import (
    test_api_air,
    test_api_findings,
    test_api_homes,
    test_api_own,
    test_api_places,
    test_api_plans,
    test_api_sheets,
    test_api_staff,
    test_api_supply,
    test_api_visits,
)
from tests.servicedesk.test_api import Program, program_of
from tests.servicedesk.writing import Record, Write

pytestmark = pytest.mark.django_db
PARTS = (
    test_api_visits, test_api_findings, test_api_homes, test_api_sheets, test_api_supply, test_api_plans,
    test_api_air, test_api_staff, test_api_own, test_api_places,
)  # fmt: skip
WRITES: list[Write] = [write for part in PARTS for write in part.WRITES]
ELSEWHERE = {
    "api-device-batch",
    "api-filter-changes",
    "api-filter-readings",
    "api-visits",
    "api-sheets",
    "api-erase-me",
    "api-photographs",
    "api-technicians-sheet",
    "api-load-calendar-turned",
    "api-soonest",
}
EACH = pytest.mark.parametrize("write", WRITES, ids=lambda one: one.name)


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any, settings: Settings, tmp_path: Path) -> None:
    settings.VAR_DIR = tmp_path / "var"
    time_machine.move_to(NOW, tick=False)


def program_for(who: Who, record: Record) -> Program:
    users = {
        Who.MANAGER: record.manager, Who.TECHNICIAN: record.technician.user, Who.HOMEOWNER: record.homeowner,
    }  # fmt: skip
    user = users[who]
    assert user is not None
    return program_of(user)


def test_every_write_is_in_the_table() -> None:
    rows = {name for name, row in API_TABLE.items() if "POST" in row}
    assert {one.name for one in WRITES} | ELSEWHERE == rows


@EACH
def test_a_write_named_twice_is_done_once(write: Write, record: Record) -> None:
    address, ask = write.begin(record), program_for(write.who, record)
    assert write.effect() != write.after
    name, body = {"Idempotency-Key": "one"}, write.body(record)
    first = ask.post(address, body, **name)
    assert first.status_code in (200, 201), first.content
    assert write.answer(first.json()), first.content
    assert write.effect() == write.after
    again = ask.post(address, body, **name)
    assert (again.status_code, again["Idempotent-Replay"]) == (first.status_code, "true")
    assert write.effect() == write.after


@EACH
def test_a_write_that_cannot_be_is_refused_with_its_reason(write: Write, record: Record) -> None:
    address, ask = write.begin(record), program_for(write.who, record)
    before = write.effect()
    if write.spoil is not None:
        write.spoil()
        before = write.effect()
    told = write.body(record) if write.refused is None else write.refused
    refused = ask.post(address, told)
    assert refused.status_code in (404, 409, 422), refused.content
    assert refused["Content-Type"] == "application/problem+json"
    said = refused.json()
    assert said.get("detail") or said.get("faults") or refused.status_code == 404, said
    assert write.effect() == before


@pytest.mark.once
@EACH
def test_nobody_writes_without_the_right(write: Write, record: Record) -> None:
    address, before = write.begin(record), write.effect()
    assert program_for(write.shut, record).post(address, write.body(record)).status_code == 403
    assert write.effect() == before
