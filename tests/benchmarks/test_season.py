"""The season over a hundred thousand filters: its queries, and its time beside reading the same rows."""

import time
from collections.abc import Callable
from datetime import timedelta

import numpy as np
import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from equipment.models import Customer, FilterChange, FilterSlot, Media, Site, System
from schedules import season_rows
from schedules.models import MaintenanceTask, Plan
from schedules.season import Facts, Narrow, facts, outlook, season
from schedules.season_jobs import WhatIf
from tests.factories import NOW, TODAY, DepotFactory, MediaFactory, TechnicianFactory

pytestmark = [pytest.mark.benchmark, pytest.mark.long, pytest.mark.django_db]
A_HOME = 2


def fill(first: int, count: int, media: Media) -> None:
    """Homes of two filters, each with a plan and a change, and a task for every other home."""
    rng, homes = np.random.default_rng(first), range(first, first + count // A_HOME)
    customers = Customer.objects.bulk_create(Customer(name=f"Family {n}") for n in homes)
    sites = Site.objects.bulk_create(
        Site(
            name=f"place {n}", customer=customer, latitude=41 + rng.random(), longitude=-91 + rng.random()
        )
        for n, customer in zip(homes, customers, strict=True)
    )  # fmt: skip
    systems = System.objects.bulk_create(
        System(name=f"air {n}", site=site) for n, site in zip(homes, sites, strict=True)
    )
    sides = {"nominal_size": "16x25x1", "short_m": 0.4064, "long_m": 0.635, "depth_m": 0.0254}
    slots = FilterSlot.objects.bulk_create(
        FilterSlot(
            name=f"code {n}-{at}", system=system, facts_changed_at=NOW, changed_by="technician", **sides
        )
        for n, system in zip(homes, systems, strict=True)
        for at in range(A_HOME)
    )  # fmt: skip
    FilterChange.objects.bulk_create(
        FilterChange(slot=slot, changed_on=TODAY, changed_at=NOW, media=media) for slot in slots
    )
    Plan.objects.bulk_create(a_plan(slot, rng) for slot in slots)
    MaintenanceTask.objects.bulk_create(
        MaintenanceTask(
            system=system, name="check", interval_days=365, skill=("gas", "")[n % 2],
            due_on=TODAY + timedelta(days=int(rng.integers(0, 365))),
        )
        for n, system in enumerate(systems[::2])
    )  # fmt: skip


def a_plan(slot: FilterSlot, rng: np.random.Generator) -> Plan:
    due = TODAY + timedelta(days=int(rng.integers(-20, 180)))
    low, high = (timedelta(days=int(days)) for days in rng.integers(5, 40, 2))
    return Plan(
        slot=slot, due_on=due, reason=("risk", "calendar")[int(rng.integers(2))], p10_on=due,
        p50_on=due + low, p90_on=due + low + high, life_began_on=due - timedelta(days=150), as_of=TODAY,
        facts_at=NOW, made_at=NOW,
    )  # fmt: skip


def timed(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def bare() -> None:
    """The same rows of filters and tasks, as the database hands them over."""
    list(season_rows._filter_rows(0.0, TODAY).values_list(*season_rows._FILTER))
    list(season_rows._task_rows().values_list(*season_rows._TASK))


def read() -> tuple[Facts, int]:
    with CaptureQueriesContext(connection) as caught:
        known = facts(NOW)
    return known, len(caught)


@pytest.mark.parametrize("slots", [5_000, 100_000])
def test_the_season_of_many_filters(
    ratio: Callable[[str, float, float], float], manager: Client, slots: int
) -> None:
    for latitude in (41.2, 41.8):
        depot = DepotFactory(latitude=latitude, longitude=-90.5)
        for skills in (["gas"], [], []):
            TechnicianFactory(depot=depot, skills=skills)
    media = MediaFactory(price=12)
    fill(0, 200, media)
    read()
    _known, few = read()
    fill(200, slots - 200, media)
    known, many = read()
    assert many == few
    assert len(known.rows.filters.site) == slots
    bare_s = min(timed(bare) for _ in range(2))
    ratio(f"season's facts of {slots} filters, against their rows alone", timed(lambda: facts(NOW)), bare_s)
    ahead = outlook(known, 26)
    ratio("load of 26 weeks, against the same", timed(lambda: outlook(known, 26)), bare_s)
    ratio("capacity and what to move, against the same", timed(lambda: season(known, ahead)), bare_s)
    smoke = WhatIf(smoke_weeks=2, smoke_from=3)
    ratio("load with two weeks of smoke, against the same", timed(lambda: outlook(known, 26, smoke)), bare_s)
    with time_machine.travel(NOW, tick=False):
        for name, asked in (("as it stands", ""), ("with a what-if beside it", "&risk=40")):
            page_s = timed(lambda asked=asked: manager.get(f"/season/?weeks=26{asked}"))
            ratio(f"the page of 26 weeks {name}, against the same", page_s, bare_s)
    parts = [season(known, ahead, Narrow(branch)) for branch in range(2)]
    assert sum(part.load.sum() for part in parts) == pytest.approx(season(known, ahead).load.sum())
