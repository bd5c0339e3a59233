"""Homes and vans for a season's plan, and a plan of it worked out in no time."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest

from equipment.models import FilterSlot
from schedules import season_routes
from schedules.models import SeasonPlan, Technician
from schedules.planning.routing import Iterations, solve
from tests.factories import NOW, FilterSlotFactory, PlanFactory, SiteFactory, SystemFactory, TechnicianFactory

MONDAY = date(2026, 5, 18)


def a_home(due: date, *, life: int = 90, **place: Any) -> FilterSlot:
    """A home with one filter that a technician changes, put in ``life`` days before it is due."""
    site = SiteFactory(**{"latitude": 41.9, "longitude": -87.8} | place)
    slot: FilterSlot = FilterSlotFactory(system=SystemFactory(site=site), changed_by="technician")
    PlanFactory(slot=slot, due_on=due, life_began_on=due - timedelta(days=life))
    return slot


def homes(count: int, *, weeks: int = 8) -> list[FilterSlot]:
    """Homes on a grid of four columns, due one after another through the weeks."""
    return [
        a_home(
            MONDAY + timedelta(days=4 + n * (7 * weeks - 5) // count),
            latitude=41.8 + n % 4 / 40,
            longitude=-87.9 + n * 7 % count / 100,
        )
        for n in range(count)
    ]


def a_van(**more: Any) -> Technician:
    """Somebody who starts from a place of their own."""
    who: Technician = TechnicianFactory(**{"start_latitude": 41.88, "start_longitude": -87.75} | more)
    return who


def a_plan(**more: Any) -> SeasonPlan:
    """A plan of four weeks, not yet stored."""
    return SeasonPlan(**{"first_day": MONDAY, "weeks": 4, "seconds": 5, "asked_at": NOW} | more)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """A few tries a week in place of seconds; the rule is still told of."""
    real: Callable[..., Any] = solve
    monkeypatch.setattr(
        season_routes, "solve", lambda problem, rule, seed: real(problem, Iterations(30), seed)
    )
