"""Fan hours that are written over leave what they were, when and by what; those written once nothing."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.device_posts import DayPosted, take
from equipment.fan_fold import fold
from equipment.models import Device, RuntimeBefore, RuntimeDay
from tests.conftest import Importing
from tests.factories import NOW, TODAY, DeviceFactory, RuntimeDayFactory, SystemFactory

pytestmark = pytest.mark.django_db
YESTERDAY = TODAY - timedelta(days=1)


@pytest.fixture
def device() -> Device:
    found: Device = DeviceFactory(name="logger on the wall")
    return found


def traces() -> list[tuple[object, ...]]:
    return list(RuntimeBefore.objects.order_by("pk").values_list("day", "fan_hours", "at", "source"))


def test_a_day_that_a_device_lets_grow_keeps_each_value_that_stood(device: Device) -> None:
    later, last = NOW + timedelta(hours=1), NOW + timedelta(hours=2)
    take(device, [DayPosted(TODAY, 2.0), DayPosted(YESTERDAY, 9.0)], [], NOW)
    assert traces() == []
    take(device, [DayPosted(TODAY, 3.0), DayPosted(YESTERDAY, 9.0)], [], later)
    take(device, [DayPosted(TODAY, 3.0)], [], later)
    take(device, [DayPosted(TODAY, 3.5), DayPosted(YESTERDAY, 8.0)], [], last)
    name = "logger on the wall"
    assert traces()[0] == (TODAY, 2.0, later, name)
    assert set(traces()[1:]) == {(YESTERDAY, 9.0, last, name), (TODAY, 3.0, last, name)}
    assert RuntimeDay.objects.get(day=TODAY).fan_hours == 3.5


def test_a_sheet_leaves_what_it_writes_over_and_nothing_else(importing: Importing) -> None:
    system = SystemFactory(name="air")
    for days in range(30):
        RuntimeDayFactory(system=system, day=TODAY - timedelta(days=days), fan_hours=5.0)
    rows = [
        {"system": "air", "date": day, "fan_hours": 6.5 if day in (TODAY, YESTERDAY) else 5.0}
        for day in (TODAY - timedelta(days=days) for days in range(40))
    ]
    assert importing(runtime=rows).stored
    assert set(traces()) == {(day, 5.0, NOW, "runtime.csv") for day in (YESTERDAY, TODAY)}
    assert RuntimeDay.objects.count() == 40
    assert importing(runtime=rows).stored
    assert RuntimeBefore.objects.count() == 2


def test_a_refused_sheet_leaves_no_trace(importing: Importing) -> None:
    row = RuntimeDayFactory(system=SystemFactory(name="air"))
    good = {"system": "air", "date": row.day, "fan_hours": 7}
    assert not importing(runtime=[good, {**good, "system": "nowhere"}]).stored
    assert traces() == []


def test_the_record_page_names_who_wrote_it_over_and_lets_nobody_change_a_trace(manager: Client) -> None:
    row = RuntimeDayFactory(fan_hours=5.0)
    form = {"system": row.system_id, "day": row.day, "fan_hours": 6}
    manager.post(reverse("admin:equipment_runtimeday_change", args=[row.pk]), form)
    manager.post(reverse("admin:equipment_runtimeday_change", args=[row.pk]), form)
    trace = RuntimeBefore.objects.get()
    assert (trace.day, trace.fan_hours, trace.source) == (row.day, 5.0, "manager")
    for name in ("change", "delete"):
        page = reverse(f"admin:equipment_runtimebefore_{name}", args=[trace.pk])
        assert manager.post(page, {"fan_hours": 1, "post": "yes"}).status_code == 403
    assert manager.get(reverse("admin:equipment_runtimebefore_changelist")).status_code == 200
    assert manager.get(reverse("admin:equipment_runtimebefore_add")).status_code == 403


def test_a_folded_day_that_the_record_page_writes_over_leaves_its_trace(manager: Client) -> None:
    row = RuntimeDayFactory(fan_hours=5.0, day=TODAY - timedelta(days=90))
    fold([row.system_id], TODAY)
    form = {"system": row.system_id, "day": row.day, "fan_hours": 6}
    manager.post(reverse("admin:equipment_runtimeday_add"), form)
    assert RuntimeDay.objects.get().fan_hours == 6
    assert [(day, hours) for day, hours, _at, _source in traces()] == [(row.day, 5.0)]


def test_many_days_are_traced_in_one_statement(device: Device) -> None:
    def asked(count: int, hours: float) -> int:
        days = [DayPosted(TODAY - timedelta(days=n), hours) for n in range(count)]
        with CaptureQueriesContext(connection) as queries:
            take(device, days, [], NOW)
        return len(queries)

    asked(200, 1.0)
    assert asked(2, 2.0) == asked(200, 3.0)
    assert RuntimeBefore.objects.count() == 202
