"""The nightly pass beside the least that any pass must do: write every plan anew in the database."""

import time
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import connection
from django.db.models import F

from equipment.models import FilterSlot
from schedules import due, night
from schedules.models import Plan
from servicedesk.invented.rows import Size, invent
from tests.factories.clock import NOW, TODAY

pytestmark = [pytest.mark.django_db, pytest.mark.benchmark, pytest.mark.long]
FILTERS = 5000


def a_night(days: int) -> tuple[float, int]:
    """Seconds, and how many filters were looked at."""
    now = NOW + timedelta(days=days)
    night.begin(now)
    began, filters = time.perf_counter(), 0
    while (part := night.do_next(lambda: now, "one")) is not None:
        filters += part.filters
    return time.perf_counter() - began, filters


def test_nights_of_a_desk(
    ratio: Callable[[str, float, float], float], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(due, "LARGE", 0)
    *_, stored = invent(Size(FILTERS), TODAY - timedelta(days=1), NOW)
    due.replan(NOW)
    began = time.perf_counter()
    Plan.objects.update(drop_now_pa=F("drop_now_pa") + 0.0, p50_on=F("p50_on"), due_on=F("due_on"))
    yardstick_s = time.perf_counter() - began
    every = NOW + timedelta(days=1)
    FilterSlot.objects.update(facts_changed_at=every)
    all_s, looked_at = a_night(1)
    assert looked_at == stored
    FilterSlot.objects.filter(pk__in=FilterSlot.objects.values("pk")[: stored // 100]).update(
        facts_changed_at=NOW + timedelta(days=2)
    )
    few_s, few = a_night(2)
    assert stored // 100 <= few < stored
    which = f"{stored} filters on {connection.vendor}"
    ratio(f"night of {which}, all changed, against one UPDATE of their plans", all_s, yardstick_s)
    ratio(f"night of {which}, {few} of them looked at, against the same", few_s, yardstick_s)
