"""The desk for programs: keys, pages, writes done once, errors that say what is wrong."""

import json
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from equipment import api_keys
from equipment.models import ApiKey, FilterChange, FilterSlot, KeptAnswer, Reading, RuntimeDay, Site, User
from schedules.models import Visit
from servicedesk.access import API_TABLE, Who
from tests.factories import (
    NOW,
    TODAY,
    DeviceFactory,
    FilterChangeFactory,
    FilterSlotFactory,
    PlanFactory,
    ReadingFactory,
    TechnicianFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
DROP = {"taken_at": "2026-05-11T15:00:00Z", "filter_drop_inwc": 0.2}
ADDRESSES = {
    "openapi-json": "/api/v1/openapi.json", "api-device-batch": "/api/v1/devices/batch",
    "api-sites": "/api/v1/sites", "api-systems": "/api/v1/systems", "api-readings": "/api/v1/readings",
    "api-changes": "/api/v1/changes", "api-runtime": "/api/v1/runtime", "api-filters": "/api/v1/filters",
    "api-filter": "/api/v1/filters/hall", "api-filter-changes": "/api/v1/filters/hall/changes",
    "api-filter-readings": "/api/v1/filters/hall/readings", "api-visits": "/api/v1/visits",
    "api-root": "/api/v1/", "api-homes": "/api/v1/homes.geojson", "api-tasks": "/api/v1/tasks",
    "api-technicians": "/api/v1/technicians", "api-letters": "/api/v1/letters",
    "api-season": "/api/v1/season", "api-to-buy": "/api/v1/filters-to-buy",
    "api-air-records": "/api/v1/air-records", "api-air-measured": "/api/v1/systems/0/measured",
    "api-air-withdrawn": "/api/v1/air-records/0/taken-back",
    "api-air-papers": "/api/v1/systems/0/papers", "api-filter-height": "/api/v1/filters/hall/height",
    "api-technician": "/api/v1/technicians/0", "api-technician-gone": "/api/v1/technicians/0/gone",
    "api-technician-back": "/api/v1/technicians/0/back", "api-absences": "/api/v1/absences",
    "api-absence-freed": "/api/v1/absences/0/visits-freed",
    "api-absence-withdrawn": "/api/v1/absences/0/withdrawn", "api-day-ordered": "/api/v1/days/ordered",
    "api-letter-judged": "/api/v1/letters/0/judged", "api-site-answers": "/api/v1/sites/0/answers",
    "api-my-data": "/api/v1/my-data", "api-my-wishes": "/api/v1/my-wishes",
    "api-erase-me": "/api/v1/my-data/erased", "api-calendar": "/api/v1/sites/0/calendar",
    "api-calendar-turned": "/api/v1/sites/0/calendar/turned", "api-fits": "/api/v1/filters/hall/fits",
    "api-for-a-while": "/api/v1/filters/hall/for-a-while",
    "api-van": "/api/v1/technicians/0/van?day=2026-05-12",
    "api-van-loaded": "/api/v1/technicians/0/van/loaded", "api-tags": "/api/v1/sites/0/tags",
    "api-tags-withdrawn": "/api/v1/sites/0/tags/withdrawn", "api-times": "/api/v1/visits/0/times",
    "api-times-offered": "/api/v1/visits/0/times/offered",
    "api-dust": "/api/v1/dust", "api-dust-closed": "/api/v1/dust/0/closed",
    "api-purchases": "/api/v1/purchases", "api-purchase-arrived": "/api/v1/purchases/0/arrived",
    "api-counts": "/api/v1/counts", "api-stock-level": "/api/v1/stock-level",
    "api-to-send": "/api/v1/filters-to-send", "api-to-send-sent": "/api/v1/filters-to-send/0/sent",
    "api-filter-sent": "/api/v1/filters/hall/sent-by-desk", "api-rounds": "/api/v1/rounds",
    "api-round": "/api/v1/rounds/0", "api-round-stopped": "/api/v1/rounds/0/stopped",
    "api-round-taken": "/api/v1/rounds/0/taken", "api-round-file": "/api/v1/rounds/0/rounds.gpx",
    "api-season-plans": "/api/v1/season-plans", "api-season-plan": "/api/v1/season-plans/0",
    "api-season-trips": "/api/v1/season-plans/0/trips",
    "api-season-plan-stopped": "/api/v1/season-plans/0/stopped", "api-figures": "/api/v1/figures",
    "api-promises": "/api/v1/promises",
    "api-sheets": "/api/v1/sheets", "api-sheets-stored": "/api/v1/sheets/none/stored",
    "api-sheets-aside": "/api/v1/sheets/none/aside", "api-sheets-zip": "/api/v1/sheets.zip",
    "api-sheet": "/api/v1/sheets/media.csv",
    "api-devices": "/api/v1/devices", "api-device-turned": "/api/v1/devices/0/turned",
    "api-device-withdrawn": "/api/v1/devices/0/withdrawn", "api-keys": "/api/v1/keys",
    "api-key-withdrawn": "/api/v1/keys/0/withdrawn", "api-hand-overs": "/api/v1/hand-overs",
    "api-people": "/api/v1/people", "api-events": "/api/v1/events",
    "api-visit": "/api/v1/visits/0", "api-findings": "/api/v1/findings", "api-defects": "/api/v1/defects",
    "api-defect-settled": "/api/v1/defects/0/settled", "api-entries": "/api/v1/entries",
    "api-entry-judged": "/api/v1/entries/0/judged", "api-calls": "/api/v1/calls",
    "api-change-taken-back": "/api/v1/changes/0/taken-back",
    "api-visit-moved": "/api/v1/visits/0/moved", "api-visit-held": "/api/v1/visits/0/held",
    "api-visit-called-off": "/api/v1/visits/0/called-off", "api-visit-done": "/api/v1/visits/0/done",
    "api-visit-arrived": "/api/v1/visits/0/arrived", "api-visit-displaced": "/api/v1/visits/0/displaced",
    "api-visit-no-access": "/api/v1/visits/0/nobody-opened",
    "api-photographs": "/api/v1/photographs", "api-photograph": "/api/v1/photographs/0",
    "api-photograph-withdrawn": "/api/v1/photographs/0/withdrawn", "api-depots": "/api/v1/depots",
    "api-depot": "/api/v1/depots/0", "api-depot-closed": "/api/v1/depots/0/closed",
    "api-roads": "/api/v1/roads", "api-home-hours": "/api/v1/sites/0/hours",
    "api-letter-rules": "/api/v1/letter-rules", "api-rested": "/api/v1/rested-addresses",
    "api-rested-lifted": "/api/v1/rested-addresses/0/lifted",
    "api-technicians-sheet": "/api/v1/technicians-sheet",
    "api-van-calendar": "/api/v1/technicians/0/calendar",
    "api-van-calendar-turned": "/api/v1/technicians/0/calendar/turned",
    "api-load-calendar": "/api/v1/load-calendar",
    "api-load-calendar-turned": "/api/v1/load-calendar/turned", "api-look-up": "/api/v1/look-up?q=linden",
    "api-what-was-done": "/api/v1/sites/0/done", "api-trips": "/api/v1/trips-to-book",
    "api-soonest": "/api/v1/soonest", "api-quiet-stations": "/api/v1/quiet-stations",
    "api-van-levels": "/api/v1/van-levels",
}  # fmt: skip


class Program:
    """A program that shows a key."""

    def __init__(self, key: str = "") -> None:
        self.client, self.key = Client(), key

    def ask(self, method: str, address: str, body: object = None, **headers: str) -> Any:
        if self.key:
            headers["Authorization"] = f"Bearer {self.key}"
        data = "" if body is None else json.dumps(body)
        return self.client.generic(method, address, data, "application/json", headers=headers)

    def get(self, address: str, **headers: str) -> Any:
        return self.ask("GET", address, **headers)

    def post(self, address: str, body: object, **headers: str) -> Any:
        return self.ask("POST", address, body, **headers)


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> Any:
    time_machine.move_to(NOW, tick=False)
    return time_machine


def program_of(user: User) -> Program:
    return Program(api_keys.make(user, "a script", NOW)[1])


@pytest.fixture
def programs(
    hall: FilterSlot, homeowner_user: User, technician_user: User, manager_user: User
) -> dict[Who, Program]:
    device = DeviceFactory(system=hall.system)
    number = int(device.name.removeprefix("logger-"))
    return {
        Who.STRANGER: Program(),
        Who.HOMEOWNER: program_of(homeowner_user),
        Who.TECHNICIAN: program_of(technician_user),
        Who.MANAGER: program_of(manager_user),
        Who.DEVICE: Program(f"key-{number}"),
    }


def test_every_address_for_programs_has_a_row() -> None:
    from servicedesk.api import api

    assert {path.name for path in api.urls[0]} == set(API_TABLE) == set(ADDRESSES)


METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


@pytest.mark.once
@pytest.mark.parametrize("who", list(Who))
def test_every_cell_of_the_programs_table_holds(programs: dict[Who, Program], who: Who) -> None:
    wrong, program = [], programs[who]
    for name, row in API_TABLE.items():
        for method in row:
            status = program.ask(method, ADDRESSES[name], {}).status_code
            if who & row[method]:
                # Of an upload that is none it is said that it waits no more.
                good = status in (200, 409, 422)
            else:
                good = status == (401 if who is Who.STRANGER else 403)
            if not good:
                wrong.append(f"{method} {name}: {status} for {who}")
    assert wrong == []


@pytest.mark.once
@pytest.mark.parametrize(
    "who",
    [
        *(Who.STRANGER, Who.MANAGER),
        *(pytest.param(who, marks=pytest.mark.long) for who in (Who.HOMEOWNER, Who.TECHNICIAN, Who.DEVICE)),
    ],
)
def test_what_the_programs_table_does_not_hold_is_refused(programs: dict[Who, Program], who: Who) -> None:
    wrong = []
    for name, row in API_TABLE.items():
        for method in set(METHODS) - set(row):
            status = programs[who].ask(method, ADDRESSES[name], {}).status_code
            if status != (405 if row else 404):
                wrong.append(f"{method} {name}: {status} for {who}")
    assert wrong == []


def test_a_session_opens_nothing_for_programs(manager: Client, hall: FilterSlot) -> None:
    """Else another site's page could make a manager's browser write."""
    answer = manager.post("/api/v1/filters/hall/changes", {"changed_on": "2026-05-01"}, "application/json")
    assert answer.status_code == 401
    assert answer["WWW-Authenticate"] == "Bearer"
    assert not FilterChange.objects.exists()


def test_a_key_that_expired_was_withdrawn_or_whose_user_left_is_none(
    manager_user: User, at_noon: Any
) -> None:
    row, key = api_keys.make(manager_user, "a script", NOW, timedelta(days=3))
    assert Program(key).get("/api/v1/sites").status_code == 200
    assert ApiKey.objects.get().used_at == NOW
    assert key not in str(vars(ApiKey.objects.get()))
    at_noon.move_to(NOW + timedelta(days=4), tick=False)
    assert Program(key).get("/api/v1/sites").status_code == 401
    at_noon.move_to(NOW, tick=False)
    User.objects.update(is_active=False)
    assert Program(key).get("/api/v1/sites").status_code == 401
    User.objects.update(is_active=True)
    api_keys.withdraw(row, NOW)
    assert Program(key).get("/api/v1/sites").status_code == 401


def test_a_homeowners_program_sees_its_own_home_alone(programs: dict[Who, Program], home: Site) -> None:
    PlanFactory(slot=FilterSlotFactory(name="next door"))
    own = programs[Who.HOMEOWNER]
    assert [row["name"] for row in own.get("/api/v1/sites").json()["rows"]] == [home.name]
    assert [row["filter_slot"] for row in own.get("/api/v1/filters").json()["rows"]] == ["hall"]
    assert own.get("/api/v1/filters/next%20door").status_code == 404
    assert own.post("/api/v1/filters/next%20door/changes", {"changed_on": "2026-05-01"}).status_code == 404
    assert programs[Who.MANAGER].get("/api/v1/filters").json()["count"] == 2


def test_lists_are_narrowed_and_paged(programs: dict[Who, Program], hall: FilterSlot) -> None:
    ask = programs[Who.MANAGER]
    for n in range(5):
        ReadingFactory(slot=hall, taken_at=NOW - timedelta(days=n + 1))
    FilterChangeFactory(slot=hall, changed_on=TODAY - timedelta(days=50))
    page = ask.get("/api/v1/readings?limit=2&offset=3").json()
    assert (page["count"], len(page["rows"])) == (5, 2)
    assert [row["filter_slot"] for row in page["rows"]] == ["hall", "hall"]
    since = (TODAY - timedelta(days=2)).isoformat()
    assert ask.get(f"/api/v1/readings?since={since}").json()["count"] == 2
    assert ask.get("/api/v1/changes?filter_slot=hall").json()["count"] == 1
    (row,) = ask.get(f"/api/v1/filters?due_until={TODAY + timedelta(days=9)}").json()["rows"]
    assert row["plan"]["due_on"] == (TODAY + timedelta(days=9)).isoformat()
    assert ask.get(f"/api/v1/filters?due_until={TODAY}").json()["count"] == 0
    refused = ask.get("/api/v1/readings?limit=100000")
    assert refused.status_code == 422
    assert refused["Content-Type"] == "application/problem+json"
    assert refused.json()["faults"][0]["at"].endswith("limit")


def test_what_a_program_has_already_is_not_sent_again(programs: dict[Who, Program], hall: FilterSlot) -> None:
    ask = programs[Who.MANAGER]
    first = ask.get("/api/v1/filters")
    again = ask.get("/api/v1/filters", **{"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    FilterSlot.objects.update(location="elsewhere")
    assert ask.get("/api/v1/filters", **{"If-None-Match": first["ETag"]}).status_code == 200


def test_a_write_that_names_itself_is_done_once(programs: dict[Who, Program], hall: FilterSlot) -> None:
    ask, told = programs[Who.TECHNICIAN], {"changed_on": "2026-05-11"}
    address = "/api/v1/filters/hall/changes"
    first = ask.post(address, told, **{"Idempotency-Key": "one"})
    again = ask.post(address, told, **{"Idempotency-Key": "one"})
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert again["Idempotent-Replay"] == "true"
    assert FilterChange.objects.count() == 1
    other = ask.post(address, {"changed_on": "2026-05-12"}, **{"Idempotency-Key": "one"})
    assert other.status_code == 422
    # The same name of somebody else's is another one, and a refusal is kept as well.
    theirs = programs[Who.MANAGER].post(address, told, **{"Idempotency-Key": "one"})
    assert (theirs.status_code, theirs.json()["detail"]) == (
        422,
        "A change on that day is already on record.",
    )
    assert KeptAnswer.objects.count() == 2


def test_an_answer_is_kept_for_two_days(programs: dict[Who, Program], hall: FilterSlot, at_noon: Any) -> None:
    ask, name = programs[Who.TECHNICIAN], {"Idempotency-Key": "one"}
    ask.post("/api/v1/filters/hall/changes", {"changed_on": "2026-05-11"}, **name)
    assert api_keys.forget_answers(NOW + timedelta(days=1)) == 0
    assert api_keys.forget_answers(NOW + timedelta(days=2)) == 1
    at_noon.move_to(NOW + timedelta(days=3), tick=False)
    # The name is free again: this is another write, and it is refused as any second change of a day.
    again = ask.post("/api/v1/filters/hall/changes", {"changed_on": "2026-05-11"}, **name)
    assert (again.status_code, "Idempotent-Replay" in again) == (422, False)


def test_a_change_a_reading_and_a_visit_as_the_pages_would(
    programs: dict[Who, Program], hall: FilterSlot, home: Site
) -> None:
    ask = programs[Who.MANAGER]
    changed = ask.post("/api/v1/filters/hall/changes", {"changed_on": "2026-05-10"})
    assert changed.status_code == 201
    assert changed.json()["plan"]["due_on"] > "2026-09-01"
    read = ask.post("/api/v1/filters/hall/readings", DROP)
    assert (read.status_code, read.json()["filter_drop_inwc"]) == (201, 0.2)
    assert Reading.objects.get().filter_drop_pa == pytest.approx(49.8, abs=0.1)
    assert ask.post("/api/v1/filters/hall/readings", DROP).status_code == 422
    TechnicianFactory(name="Ada Reed", start_latitude=41.9, start_longitude=-88.0)
    day = (TODAY + timedelta(days=2)).isoformat()
    booking = {
        "site": home.name,
        "filter_slots": ["hall"],
        "technician": "Ada Reed",
        "day": day,
        "sure": True,
    }
    booked = ask.post("/api/v1/visits", booking)
    assert (booked.status_code, booked.json()["state"]) == (201, "scheduled")
    assert Visit.objects.get().jobs.get().slot == hall
    assert ask.get(f"/api/v1/visits?first_day={day}").json()["count"] == 1
    for wrong in ({"site": "nowhere"}, {"filter_slots": ["attic"]}, {"technician": "Nobody"}):
        assert ask.post("/api/v1/visits", booking | wrong).status_code == 422


def test_a_technicians_program_sees_that_technicians_visits(programs: dict[Who, Program]) -> None:
    VisitFactory(technician=TechnicianFactory(), day=TODAY, state="scheduled")
    assert programs[Who.TECHNICIAN].get("/api/v1/visits").json()["count"] == 0
    assert programs[Who.MANAGER].get("/api/v1/visits").json()["count"] == 1


def test_a_device_posts_late_twice_and_wrong_and_each_row_is_told(
    programs: dict[Who, Program], hall: FilterSlot
) -> None:
    batch = {
        "runtime": [{"day": "2026-05-10", "fan_hours": 7.5}, {"day": "2027-01-01", "fan_hours": 7.5}],
        "readings": [
            DROP,
            {"taken_at": "2026-05-01T08:00:00-05:00", "filter_drop_pa": 40, "airflow_cfm": 400},
        ],
    }
    told = programs[Who.DEVICE].post("/api/v1/devices/batch", batch).json()
    assert (told["stored"], [(one["of"], one["row"]) for one in told["refused"]]) == (3, [("runtime", 1)])
    again = programs[Who.DEVICE].post("/api/v1/devices/batch", batch).json()
    assert (again["stored"], again["known"]) == (0, 3)
    assert (RuntimeDay.objects.count(), Reading.objects.count()) == (1, 2)


@pytest.mark.parametrize(
    "row",
    [
        {"taken_at": "2026-05-11T15:00:00", "filter_drop_pa": 1},
        {"taken_at": "2026-05-11T15:00:00Z"},
        {"taken_at": "2026-05-11T15:00:00Z", "filter_drop_pa": 1, "filter_drop_inwc": 1},
        {"taken_at": "2026-05-11T15:00:00Z", "filter_drop_pa": "NaN"},
        {"taken_at": "yesterday", "filter_drop_pa": 1},
    ],
)
def test_a_reading_that_cannot_be_read_is_refused_with_its_place(
    programs: dict[Who, Program], row: dict[str, object]
) -> None:
    told = programs[Who.DEVICE].post("/api/v1/devices/batch", {"readings": [DROP, row]})
    assert told.status_code == 422
    assert "readings/1" in told.json()["faults"][0]["at"]
    assert not Reading.objects.exists()


def test_what_is_no_json_is_said_to_be_none(programs: dict[Who, Program]) -> None:
    answer = programs[Who.DEVICE].client.generic(
        "POST", "/api/v1/devices/batch", "{", "application/json",
        headers={"Authorization": f"Bearer {programs[Who.DEVICE].key}"},
    )  # fmt: skip
    assert answer.status_code in (400, 422)
    assert answer["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize("address", ["/api/v1/filters/a%00b", "/api/v1/readings?filter_slot=%00"])
def test_the_sign_that_no_text_has_is_refused(programs: dict[Who, Program], address: str) -> None:
    assert programs[Who.MANAGER].get(address).status_code == 422
    told = programs[Who.DEVICE].post("/api/v1/devices/batch", {"readings": [DROP | {"filter_slot": "\0"}]})
    assert told.status_code == 422


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("/api/v1/filters/hall/readings", {"taken_at": "0001-01-01T00:00:00+23:59", "filter_drop_pa": 1}),
        ("/api/v1/filters/hall/changes", {"changed_on": "9999-12-31"}),
        ("/api/v1/visits", {"site": "x", "tasks": [2**63]}),
        ("/api/v1/visits", {"site": "x", "window_from": "10:00:00+05:00", "window_to": "11:00:00"}),
    ],
)
def test_days_hours_and_keys_that_no_record_has_are_refused(
    programs: dict[Who, Program], address: str, told: dict[str, object]
) -> None:
    answer = programs[Who.MANAGER].post(address, told)
    assert (answer.status_code, bool(answer.json()["faults"])) == (422, True)


def test_a_write_that_names_itself_is_kept_of_keys_alone(hall: FilterSlot, manager_user: User) -> None:
    for program in (Program(), Program("none-of-ours")):
        answer = program.post("/api/v1/visits", {"site": "home"}, **{"Idempotency-Key": "a"})
        assert answer.status_code == 401
    assert not KeptAnswer.objects.exists()
    row, key = api_keys.make(manager_user, "a script", NOW)
    program = Program(key)
    told = {"changed_on": "2026-05-01"}
    assert program.post("/api/v1/filters/hall/changes", told, **{"Idempotency-Key": "b"}).status_code == 201
    api_keys.withdraw(row, NOW)
    assert program.post("/api/v1/filters/hall/changes", told, **{"Idempotency-Key": "b"}).status_code == 401


def test_a_write_that_was_never_finished_is_said_to_be_so(hall: FilterSlot, manager_user: User) -> None:
    program, told = program_of(manager_user), {"changed_on": "2026-05-01"}
    program.post("/api/v1/filters/hall/changes", told, **{"Idempotency-Key": "c"})
    KeptAnswer.objects.update(status=0, at=NOW - timedelta(minutes=5))
    soon = program.post("/api/v1/filters/hall/changes", told, **{"Idempotency-Key": "c"})
    assert (soon.status_code, soon.json()["title"]) == (409, "The same write is being done just now")
    KeptAnswer.objects.update(at=NOW - timedelta(hours=5))
    late = program.post("/api/v1/filters/hall/changes", told, **{"Idempotency-Key": "c"})
    assert (late.status_code, late.json()["title"]) == (409, "The same write was never finished")
