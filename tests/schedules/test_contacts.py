"""Technicians reach the people of homes that they go to about now; of others what fits is read."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client

from equipment import api_keys
from equipment.models import FilterSlot, Site, User
from schedules.contacts import Contacts
from schedules.models import Feed, Visit
from servicedesk.access import API_TABLE, TABLE, Who
from tests.addresses import addresses_of
from tests.factories import (
    NOW,
    TODAY,
    CalendarEventFactory,
    LifeEventFactory,
    ReplyFactory,
    RungFactory,
    TechnicianFactory,
    VisitFactory,
)
from tests.servicedesk.test_api import ADDRESSES

pytestmark = pytest.mark.django_db
PHONE, MAIL, SENDER = "+1 555 010 7788", "robin@home.example", "cousin@away.example"
CALL, EVENT, TRY = "she said ring after six", "moved in with the sister", "the neighbour has been unfriendly"
SECRETS = {PHONE, MAIL, SENDER, CALL, EVENT, TRY}
# From today: whether that visit makes the home's people known.
DAYS = {-2: False, -1: True, 0: True, 1: True, 4: True, 5: False, 30: False}


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def places(home: Site, home_slot: FilterSlot, homeowner_user: User, technician_user: User) -> dict[str, str]:
    """Every address, with everything on record that tells how people are reached."""
    person = homeowner_user.person
    assert person is not None
    person.phone = PHONE
    person.save()
    places = addresses_of(home, home_slot, homeowner_user, technician_user)
    visit = Visit.objects.get(jobs__slot=home_slot)
    CalendarEventFactory(visit=visit, site=home)
    ReplyFactory(visit=visit, sender=SENDER)
    RungFactory(site=home, person=person, note=CALL)
    LifeEventFactory(site=home, note=EVENT)
    shut = Visit.State.NO_ACCESS
    VisitFactory(site=home, state=shut, completed_at=NOW - timedelta(days=9), day=None, note=TRY)
    return places | {"look-up": "/find/?q=linden"}


def told(client: Client, places: dict[str, str], names: list[str]) -> dict[str, set[str]]:
    found = {}
    for name in names:
        answer = client.get(places[name])
        text = answer.getvalue().decode("utf-8", "replace")
        if seen := {secret for secret in SECRETS if secret in text or secret.replace("+", "&#x2B;") in text}:
            found[name] = seen
    return found


def readable() -> list[str]:
    """What a technician opens by being one; a signed link opens its own page to whoever holds it."""
    rows = {name: row.get("GET", Who(0)) for name, row in TABLE.items()}
    return [name for name, may in rows.items() if may & Who.TECHNICIAN and not may & Who.STRANGER]


@pytest.mark.once
@pytest.mark.parametrize(
    "days", [-2, -1, 4, 5, *(pytest.param(days, marks=pytest.mark.long) for days in (0, 1, 30))]
)
def test_every_page_that_a_technician_opens(days: int, places: dict[str, str], technician: Client) -> None:
    day = TODAY + timedelta(days=days)
    Visit.objects.filter(day=TODAY).update(day=day)
    here = places | {"day": places["day"].replace(TODAY.isoformat(), day.isoformat())}
    everywhere = {
        "site": {PHONE, MAIL, CALL, EVENT},
        "visit": {PHONE, SENDER, TRY},
        "day": {PHONE, TRY},
    }
    assert told(technician, here, readable()) == (everywhere if DAYS[days] else {})
    assert 'class="size"' in technician.get("/find/?q=linden").text


@pytest.mark.once
@pytest.mark.parametrize("days", [0, 30])
def test_every_answer_to_a_technicians_program(
    days: int, places: dict[str, str], technician_user: User
) -> None:
    Visit.objects.filter(day=TODAY).update(day=TODAY + timedelta(days=days))
    key = {"Authorization": f"Bearer {api_keys.make(technician_user, 'a script', NOW)[1]}"}
    for name, row in API_TABLE.items():
        if row.get("GET", Who(0)) & Who.TECHNICIAN:
            text = Client().get(ADDRESSES[name].replace("hall", "home-hall"), headers=key).text
            assert not {secret for secret in SECRETS if secret in text}, name


@pytest.mark.parametrize("days", DAYS)
def test_a_visits_note_by_program(days: int, home: Site, technician_user: User, manager_user: User) -> None:
    own = technician_user.technician
    visit = VisitFactory(site=home, technician=own, day=TODAY + timedelta(days=days), note=TRY)

    def note(user: User) -> str:
        key = {"Authorization": f"Bearer {api_keys.make(user, 'a script', NOW)[1]}"}
        told: str = Client().get(f"/api/v1/visits/{visit.pk}", headers=key).json()["note"]
        return told

    assert note(technician_user) == (TRY if DAYS[days] else "")
    assert note(manager_user) == TRY


def test_a_manager_reads_all_of_it_always(places: dict[str, str], manager: Client) -> None:
    Visit.objects.filter(day=TODAY).update(day=TODAY + timedelta(days=30))
    found = told(manager, places, ["site", "visit"])
    assert found == {"site": {PHONE, MAIL, CALL, EVENT}, "visit": {PHONE, SENDER, TRY}}


def test_the_look_up_tells_no_telephone_by_trying(
    places: dict[str, str], technician: Client, manager: Client
) -> None:
    whole, end = "555-010-7788", "7788"
    for typed in (whole, end, "0107788"):
        assert "12 Linden" in technician.get("/find/", {"q": typed}).text, typed
    Visit.objects.update(day=TODAY + timedelta(days=30))
    for typed in (whole, end, "0107788"):
        assert "12 Linden" not in technician.get("/find/", {"q": typed}).text, typed
        assert "12 Linden" in manager.get("/find/", {"q": typed}).text, typed


def test_the_calendar_of_a_home_is_turned_by_whoever_reaches_its_people(
    places: dict[str, str], technician: Client
) -> None:
    technician.post(places["feed-new"])
    Visit.objects.update(day=TODAY + timedelta(days=30))
    before = set(Feed.objects.values_list("pk", "withdrawn_at"))
    assert len(before) == 2
    technician.post(places["feed-new"])
    assert set(Feed.objects.values_list("pk", "withdrawn_at")) == before


def test_a_colleagues_visit_one_called_off_or_one_without_a_day_counts_for_nothing(
    home: Site, technician_user: User, homeowner_user: User, manager_user: User
) -> None:
    own = technician_user.technician

    def near(state: str, day: date | None = TODAY, who: Any = own) -> bool:
        Visit.objects.all().delete()
        VisitFactory(site=home, technician=who, day=day, state=state)
        return home.pk in Contacts(technician_user, NOW)

    assert [state for state in Visit.State.values if near(state)] == [
        state for state in Visit.State.values if state != Visit.State.CANCELLED
    ]
    assert not near(Visit.State.DUE, None)
    assert not near(Visit.State.SCHEDULED, who=TechnicianFactory())
    assert home.pk in Contacts(manager_user, NOW)
    assert home.pk not in Contacts(homeowner_user, NOW)
