"""The clock stands still where pages are looked at; a slot to put media to."""

from collections.abc import Iterator

import pytest
import time_machine

from equipment.models import FilterSlot, Media, System
from shared.units import M3S_PER_CFM, PA_PER_INWC
from tests.factories import NOW


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def slot(home_slot: FilterSlot) -> FilterSlot:
    """A slot of 16x25x1 at 800 cfm whose return leaves 0.25 in. w.c. for the filter."""
    System.objects.filter(pk=home_slot.system_id).update(
        design_airflow_m3s=800 * M3S_PER_CFM, capacity_w=None, blower="constant_airflow",
        return_budget_pa=0.35 * PA_PER_INWC, return_static_pa=0.10 * PA_PER_INWC,
        rated_external_static_pa=None, supply_static_pa=None, blower_table=[], kind="conventional",
    )  # fmt: skip
    Media.objects.all().update(short_m=1.0, long_m=1.0)
    return FilterSlot.objects.get(pk=home_slot.pk)
