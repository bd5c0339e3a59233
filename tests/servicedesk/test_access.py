"""Every address and method against every role, from the list of addresses itself."""

import itertools
from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from equipment.models import FilterSlot, Site
from schedules.models import Feed, Visit
from servicedesk.access import TABLE, Who
from shared import signing
from shared.signing import Purpose
from tests.factories import (
    TODAY,
    AbsenceFactory,
    AirRecordFactory,
    DefectFactory,
    DepotFactory,
    DustEpisodeFactory,
    FeedFactory,
    FieldEntryFactory,
    NoticeFactory,
    PhotographFactory,
    PlanFactory,
    RestedAddressFactory,
    RoundPlanFactory,
    SeasonPlanFactory,
    TagFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
ROLES = {
    "stranger": Who.STRANGER,
    "homeowner": Who.HOMEOWNER,
    "technician": Who.TECHNICIAN,
    "manager": Who.MANAGER,
}


A_ROUND = {
    "technician": 0, "name": "Nobody", "day": "2026-05-13", "start": [41.9, -87.8], "depart": "08:00:00",
    "back": "08:00:00", "stops": [],
}  # fmt: skip


def names(patterns: list[URLPattern | URLResolver]) -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from ["admin"] if pattern.app_name == "admin" else names(pattern.url_patterns)
        else:
            yield pattern.name or ""


def test_every_address_has_a_row_and_every_row_an_address() -> None:
    assert set(names(get_resolver().url_patterns)) == set(TABLE)


@pytest.fixture
def addresses(
    home: Site, home_slot: FilterSlot, homeowner_user: object, technician_user: object
) -> dict[str, str]:
    """An address for every row, of things that exist and belong to the named people."""
    technician = technician_user.technician  # type: ignore[attr-defined]
    PlanFactory(slot=home_slot)
    visit = VisitFactory(site=home, technician=technician, day=TODAY, state=Visit.State.SCHEDULED)
    VisitJobFactory(visit=visit, slot=home_slot)
    notice = NoticeFactory(site=home, person=homeowner_user.person, html="<p>x</p>", text="x")  # type: ignore[attr-defined]
    feed: Feed = FeedFactory(site=home)
    arguments: dict[str, list[object]] = {
        "filter": [home_slot.pk],
        "what-fits": [home_slot.pk],
        "for-a-while": [home_slot.pk],
        "filter-change": [home_slot.pk],
        "filter-sent": [home_slot.pk],
        "filter-height": [home_slot.pk],
        "site-answer": [home_slot.system.site_id],
        "household-wishes": [home_slot.system.site_id],
        "filter-reading": [home_slot.pk],
        "air-side": [home_slot.system_id],
        "air-measured": [home_slot.system_id],
        "air-papers": [home_slot.system_id],
        "site": [home.pk],
        "site-event": [home.pk],
        "site-person": [home.pk],
        "site-visit": [home.pk],
        "site-dust": [home.pk],
        "dust-close": [DustEpisodeFactory(site=home).pk],
        "card": [home.pk],
        "tags": [home.pk],
        "photograph": [PhotographFactory(slot=home_slot).pk],
        "photograph-gone": [PhotographFactory(slot=home_slot).pk],
        "tag": [TagFactory(slot=home_slot).code],
        "feed-new": [home.pk],
        "message": [notice.pk],
        "message-look": [notice.pk],
        "letter-judged": [notice.pk],
        "address-lifted": [RestedAddressFactory().pk],
        "answer": [signing.make(Purpose.ANSWER, f"site:{home.pk}")],
        "stop-mail": [signing.make(Purpose.STOP_MAIL, str(homeowner_user.person.pk))],  # type: ignore[attr-defined]
        "times": [signing.make(Purpose.TIMES, str(visit.pk))],
        "air-withdrawn": [home_slot.system_id, AirRecordFactory(system=home_slot.system).pk],
        "feed": [feed.secret],
        "day": [technician.pk, TODAY.isoformat()],
        "round": [RoundPlanFactory(proposal={"days": [A_ROUND]}).pk],
        "absence-ends": [AbsenceFactory().pk],
        "absence-free": [AbsenceFactory().pk],
        "depot": [DepotFactory().pk],
        "depot-closed": [DepotFactory().pk],
        "technician-back": [TechnicianFactory(gone_on=TODAY).pk],
        "technician": [technician.pk],
        "technician-gone": [technician.pk],
        "home-hours": [home.pk],
        "van-feed": [technician.pk],
        "day-order": [technician.pk, TODAY.isoformat()],
        "van": [technician.pk, TODAY.isoformat()],
        "defect-settled": [DefectFactory(visit=visit).pk],
        "entry-judged": [FieldEntryFactory(visit=visit, state="to_judge").pk],
    }
    arguments["round-stop"] = arguments["round-take"] = arguments["round"]
    arguments["season-plan"] = arguments["season-plan-stop"] = [SeasonPlanFactory().pk]
    arguments["round-file"] = [*arguments["round"], "gpx"]
    for part in ("book", "complete", "no-access", "cancel", "hold", "times", "arrived", "displaced"):
        arguments[f"visit-{part}"] = [visit.pk]
    arguments["visit"] = [visit.pk]
    return {
        name: reverse("admin:index") if name == "admin" else reverse(name, args=arguments.get(name, []))
        for name in TABLE
    }


@pytest.mark.once
@pytest.mark.parametrize("role", ROLES)
def test_every_cell_of_the_table_holds(
    role: str, addresses: dict[str, str], request: pytest.FixtureRequest
) -> None:
    client: Client = request.getfixturevalue(role)
    wrong = []
    for name, method in itertools.product(sorted(TABLE), METHODS):
        # What one cell changed is taken back before the next is tried.
        with transaction.atomic():
            answer = client.generic(method, addresses[name])
            if fault := _fault(name, role, method, answer):
                wrong.append(f"{method} {name}: {fault}")
            transaction.set_rollback(True)
        if role != "stranger" and "_auth_user_id" not in client.session:
            client = _in_again(role, request)
    assert wrong == []


def _in_again(role: str, request: pytest.FixtureRequest) -> Client:
    """Signing out is one of the cells; the next one wants the visitor back."""
    client = Client()
    client.force_login(request.getfixturevalue(f"{role}_user"), backend="sesame.backends.ModelBackend")
    return client


def _fault(name: str, role: str, method: str, answer: Any) -> str:
    """What is wrong with the answer to one cell; empty where it is as the table says."""
    may, status = TABLE[name].get("GET" if method == "HEAD" else method), answer.status_code
    sent_to_sign_in = status == 302 and answer["Location"].startswith(reverse("sign-in") + "?")
    if may is None:
        good = status == 405
    elif ROLES[role] & may:
        good = status not in (403, 404, 405) and status < 500 and not sent_to_sign_in
    elif role == "stranger" and method in ("GET", "HEAD"):
        good = sent_to_sign_in or (method == "HEAD" and status == 403)
    else:
        good = status == 403
    return "" if good else f"{status} for {role}"


@pytest.mark.parametrize("name", ["filter", "site", "card"])
def test_a_homeowner_does_not_see_another_home(name: str, homeowner: Client) -> None:
    plan = PlanFactory()
    slot = plan.slot
    target = slot.pk if name == "filter" else slot.system.site.pk
    assert homeowner.get(reverse(name, args=[target])).status_code == 404


@pytest.mark.parametrize("name", ["filter-change", "feed-new"])
def test_a_homeowner_does_not_touch_another_home(name: str, homeowner: Client) -> None:
    slot = PlanFactory().slot
    target = slot.pk if name == "filter-change" else slot.system.site.pk
    assert homeowner.post(reverse(name, args=[target]), {"on": "2026-05-01"}).status_code == 404


def test_a_homeowner_who_moved_out_sees_the_home_no_more(homeowner: Client, home: Site) -> None:
    assert homeowner.get(reverse("site", args=[home.pk])).status_code == 200
    home.roles.update(until=TODAY)
    assert homeowner.get(reverse("site", args=[home.pk])).status_code == 404


def test_a_technician_does_not_see_a_colleagues_day_or_visit(technician: Client) -> None:
    from_colleague = VisitFactory()
    assert technician.get(reverse("visit", args=[from_colleague.pk])).status_code == 404


def test_an_address_without_a_row_is_shut(manager: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(TABLE, "due-list")
    assert manager.get(reverse("due-list")).status_code == 403
