"""Many rows at once: what goes in comes out, on either database."""

from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment import bulk
from equipment.fan_log import fan_log
from equipment.models import RuntimeDay, Site
from schedules.models import Plan
from tests.factories import CustomerFactory, PlanFactory, RuntimeDayFactory, SystemFactory
from tests.factories.clock import TODAY

pytestmark = pytest.mark.django_db


def test_rows_hold_what_was_given_and_their_defaults() -> None:
    customer = CustomerFactory()
    assert (
        bulk.insert(Site, {"name": ["a\tb", "c\\n"], "customer_id": [customer.pk] * 2, "pets": [True, None]})
        == 2
    )
    rows = Site.objects.order_by("pk").values_list("name", "pets", "street", "vacant_since")
    assert list(rows) == [("a\tb", True, "", None), ("c\\n", None, "", None)]


def test_a_column_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match="has no column colour"):
        bulk.insert(Site, {"name": ["a"], "colour": ["red"]})


@pytest.mark.parametrize("count", [0, 3, 1200])
def test_fan_hours_come_out_as_arrays(count: int) -> None:
    systems = [system.pk for system in SystemFactory.create_batch(3)]
    days = [TODAY - timedelta(days=n) for n in range(count)]
    for pk in systems[:2]:
        bulk.insert(
            RuntimeDay,
            {"system_id": [pk] * count, "day": days, "fan_hours": [n / 7 % 5 for n in range(count)]},
        )
    log = fan_log(systems, TODAY - timedelta(days=1))
    expected = RuntimeDay.objects.filter(day__lt=TODAY).values_list("system", "day", "fan_hours")
    told = zip(log.system.tolist(), log.day.tolist(), log.hours.tolist(), strict=True)
    assert sorted(told) == sorted((pk, day.toordinal(), hours) for pk, day, hours in expected)


def test_arrays_of_nobody_are_empty_and_of_many_are_whole() -> None:
    row = RuntimeDayFactory()
    assert fan_log([], TODAY).hours.dtype == np.float64
    assert fan_log([*range(10_000, 13_000), row.system_id], date.max).day.tolist() == [row.day.toordinal()]


def test_queries_can_be_counted_around_it() -> None:
    with CaptureQueriesContext(connection):
        bulk.insert(RuntimeDay, {"system_id": [SystemFactory().pk], "day": [TODAY], "fan_hours": [3.0]})
        assert len(fan_log(list(RuntimeDay.objects.values_list("system", flat=True)), TODAY).hours) == 1


@pytest.mark.parametrize("count", [2, 60])
def test_a_row_of_newer_facts_stays(count: int) -> None:
    """By single rows and, on PostgreSQL, by a table between."""
    plans = PlanFactory.create_batch(count)
    newer = plans[0].facts_at + timedelta(minutes=1)
    Plan.objects.filter(pk=plans[0].pk).update(facts_at=newer, reason="risk")
    fields = [
        Plan._meta.get_field(name)
        for name in ("slot", "reason", "as_of", "facts_at", "made_at", "notes", "findings", "finding_count")
    ]
    for plan in plans:
        plan.reason = "cost"
    bulk.put(Plan, "slot_id", fields, plans, ("facts_at",))
    reasons = list(Plan.objects.order_by("pk").values_list("reason", flat=True))
    assert reasons == ["risk", *["cost"] * (count - 1)]
