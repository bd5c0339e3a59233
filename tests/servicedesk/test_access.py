"""Every address and method against every role, from the list of addresses itself."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from pytest_django.fixtures import Settings

from equipment.models import FilterSlot, Site, User
from servicedesk.access import API_TABLE, TABLE, Who
from shared.one_row import OneRow
from tests.addresses import addresses_of
from tests.factories import TODAY, PlanFactory, VisitFactory

METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
ROLES = {
    "stranger": Who.STRANGER,
    "homeowner": Who.HOMEOWNER,
    "technician": Who.TECHNICIAN,
    "manager": Who.MANAGER,
}


def names(patterns: list[URLPattern | URLResolver]) -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            yield from ["admin"] if pattern.app_name == "admin" else names(pattern.url_patterns)
        else:
            yield pattern.name or ""


def test_every_address_has_a_row_and_every_row_an_address() -> None:
    assert set(names(get_resolver().url_patterns)) == set(TABLE) | set(API_TABLE)


@pytest.fixture
def addresses(
    home: Site, home_slot: FilterSlot, homeowner_user: User, technician_user: User, settings: Settings
) -> dict[str, str]:
    settings.METRICS_TOKEN = "without one there is no such page"
    # Else each cell, which is taken back, would make them anew.
    for table in OneRow.__subclasses__():
        table.the()
    return addresses_of(home, home_slot, homeowner_user, technician_user)


@pytest.mark.once
@pytest.mark.parametrize("role", ROLES)
def test_every_cell_of_the_table_holds(
    role: str, addresses: dict[str, str], request: pytest.FixtureRequest
) -> None:
    cells = [(name, method) for name in sorted(TABLE) for method in METHODS if _of_get(method) in TABLE[name]]
    assert _wrong(role, cells, addresses, request) == []


@pytest.mark.once
@pytest.mark.parametrize(
    "role",
    [
        "stranger",
        "manager",
        *(pytest.param(role, marks=pytest.mark.long) for role in ("homeowner", "technician")),
    ],
)
def test_what_the_table_does_not_hold_is_refused(
    role: str, addresses: dict[str, str], request: pytest.FixtureRequest
) -> None:
    cells = [
        (name, method) for name in sorted(TABLE) for method in METHODS if _of_get(method) not in TABLE[name]
    ]
    assert _wrong(role, cells, addresses, request) == []


def _of_get(method: str) -> str:
    return "GET" if method == "HEAD" else method


def _wrong(
    role: str, cells: list[tuple[str, str]], addresses: dict[str, str], request: pytest.FixtureRequest
) -> list[str]:
    client: Client = request.getfixturevalue(role)
    wrong = []
    for name, method in cells:
        # What one cell changed is taken back before the next is tried.
        with transaction.atomic():
            answer = client.generic(method, addresses[name])
            if fault := _fault(name, role, method, answer):
                wrong.append(f"{method} {name}: {fault}")
            transaction.set_rollback(True)
        if role != "stranger" and "_auth_user_id" not in client.session:
            client = _in_again(role, request)
    return wrong


def _in_again(role: str, request: pytest.FixtureRequest) -> Client:
    """Signing out is one of the cells; the next one wants the visitor back."""
    client = Client()
    client.force_login(request.getfixturevalue(f"{role}_user"), backend="sesame.backends.ModelBackend")
    return client


def _fault(name: str, role: str, method: str, answer: Any) -> str:
    """What is wrong with the answer to one cell; empty where it is as the table says."""
    may, status = TABLE[name].get(_of_get(method)), answer.status_code
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
