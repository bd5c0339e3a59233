"""Many rows read at once: what the models say, the driver says, on either database."""

from datetime import date, timedelta

import numpy as np
import pytest
from django.db import DatabaseError, connection, models
from django.forms import model_to_dict
from django.test.utils import CaptureQueriesContext

from equipment import bulk, bulk_read
from equipment.fan_log import fan_log
from equipment.models import Customer, FilterChange, FilterSlot, RuntimeDay, Site, Station, System
from schedules.models import Plan
from tests.factories import (
    FilterChangeFactory,
    FilterSlotFactory,
    PlanFactory,
    RuntimeDayFactory,
    StationFactory,
    SystemFactory,
)
from tests.factories.clock import TODAY

pytestmark = pytest.mark.django_db


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


@pytest.mark.parametrize("model", [FilterSlot, System, Site, Customer, Station])
def test_rows_as_models_are_those_of_the_models(model: type[models.Model]) -> None:
    """JSON, numbers with a point, days, instants and what is not known among them."""
    station = StationFactory()
    system = SystemFactory(blower_table=[[0.3, 125.0], [0.4, 75.0]], site__station=station)
    FilterSlotFactory.create_batch(2, system=system, fitted_on=TODAY)
    rows = model._default_manager.order_by("pk")
    told, expected = bulk_read.objects(rows), list(rows)
    assert expected
    assert [vars_of(row) for row in told] == [vars_of(row) for row in expected]
    assert not any(row.get_deferred_fields() or row._state.adding for row in told)


def vars_of(row: models.Model) -> dict[str, object]:
    """A model's own columns."""
    return {field.attname: getattr(row, field.attname) for field in row._meta.concrete_fields} | {
        "form": model_to_dict(row)
    }


def test_values_are_those_of_the_query() -> None:
    plans = PlanFactory.create_batch(3, notes=["no_log", "readings:1"], findings=[{"kind": "x", "on": "y"}])
    FilterChangeFactory(slot=plans[0].slot)
    for rows in (
        Plan.objects.order_by("pk").values_list(
            "slot_id", "due_on", "notes", "findings", "facts_at", "weather_at"
        ),
        FilterChange.objects.values_list("slot_id", "changed_on", "changed_at", "media_id"),
    ):
        assert bulk_read.tuples(rows) == list(rows)
        assert bulk_read.tuples(rows)


def test_only_rows_of_the_numbers_asked_for_come() -> None:
    slots = FilterSlotFactory.create_batch(3)
    rows = bulk_read.among(FilterSlot.objects.order_by("pk"), "id", [slots[2].pk, slots[0].pk, 10**12])
    assert bulk_read.objects(rows) == [slots[0], slots[2]]
    assert bulk_read.objects(bulk_read.among(FilterSlot.objects.all(), "id", [])) == []


def test_what_the_database_refuses_is_told_as_its_error() -> None:
    """So that a lost connection is known for one, and made anew."""
    with pytest.raises(DatabaseError):
        bulk_read.tuples(Plan.objects.extra(where=["nowhere = 1"]).values_list("pk"))
