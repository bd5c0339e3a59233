"""The due list and the look-up over ten thousand slots: their queries, and how long they take."""

import time
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from equipment.models import Customer, FilterSlot, Person, Site, SiteRole, System
from schedules.models import Plan
from tests.factories import NOW, TODAY

pytestmark = [pytest.mark.benchmark, pytest.mark.long, pytest.mark.django_db]
STREETS = ("Elm", "Ash", "Mill", "Quarry", "Linden")
PAGES = {
    "due list": "/due/",
    "due list narrowed": "/due/?find=mill+street&until=2026-09-01",
    "look-up by size": "/find/?q=16x25x1",
    "look-up by street": "/find/?q=77+mill+street",
    "look-up by phone": "/find/?q=555-0077",
}


def fill(first: int, count: int) -> None:
    """Homes of one slot and one plan each."""
    numbers = range(first, first + count)
    customers = Customer.objects.bulk_create(Customer(name=f"Family {n}") for n in numbers)
    sites = Site.objects.bulk_create(
        Site(name=f"place {n}", customer=customer, street=f"{n} {STREETS[n % 5]} Street", city="Springfield")
        for n, customer in zip(numbers, customers, strict=True)
    )
    people = Person.objects.bulk_create(Person(name=f"Person {n}", phone=f"(555) {n:04d}") for n in numbers)
    SiteRole.objects.bulk_create(
        SiteRole(site=site, person=person, role=SiteRole.Role.OCCUPANT)
        for site, person in zip(sites, people, strict=True)
    )
    systems = System.objects.bulk_create(
        System(name=f"air {n}", site=site) for n, site in zip(numbers, sites, strict=True)
    )
    sides = {"nominal_size": "16x25x1", "short_m": 0.4064, "long_m": 0.635, "depth_m": 0.0254}
    slots = FilterSlot.objects.bulk_create(
        FilterSlot(name=f"code {n}", system=system, facts_changed_at=NOW, **sides)
        for n, system in zip(numbers, systems, strict=True)
    )
    Plan.objects.bulk_create(
        Plan(slot=slot, due_on=due(n), reason="calendar", as_of=TODAY, facts_at=NOW, made_at=NOW)
        for n, slot in zip(numbers, slots, strict=True)
    )


def due(number: int) -> date:
    return TODAY + timedelta(days=number * 7919 % 400 - 20)


def queries(client: Client, address: str) -> int:
    client.get(address)
    with CaptureQueriesContext(connection) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


def seconds(work: Callable[[], object]) -> float:
    """The shortest of five."""
    taken = []
    for _ in range(5):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return min(taken)


@pytest.mark.parametrize("slots", [2_000, 10_000])
def test_many_slots_cost_no_more_queries_than_three_hundred(
    manager: Client, ratio: Callable[[str, float, float], float], slots: int
) -> None:
    # Past the sixty rows of a page and the fifty of a look-up, so that both counts are of full pages.
    fill(0, 300)
    few = {name: queries(manager, address) for name, address in PAGES.items()}
    fill(300, slots - 300)
    bare_s = seconds(lambda: list(Plan.objects.order_by("due_on").values_list("pk", "due_on")[:60]))
    for name, address in PAGES.items():
        page_s = seconds(lambda address=address: manager.get(address))
        ratio(f"{name}, {slots} slots, against a bare query by an index", page_s, bare_s)
    assert {name: queries(manager, address) for name, address in PAGES.items()} == few
