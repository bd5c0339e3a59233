"""Devices: keys shown once, posts stored once, whatever comes late, twice or wrong."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from equipment import devices
from equipment.device_posts import DayPosted, Outcome, ReadingPosted, take
from equipment.models import Device, FilterSlot, Reading, RuntimeDay
from shared.keys import key_print
from tests.factories import NOW, TODAY, DeviceFactory, FilterSlotFactory, SystemFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def device() -> Device:
    made: Device = DeviceFactory()
    FilterSlotFactory(system=made.system, name="attic")
    return made


def ago(hours: float) -> datetime:
    return NOW - timedelta(hours=hours)


def counts(told: Outcome) -> tuple[int, int, int, int]:
    return told.stored, told.changed, told.known, len(told.refused)


def test_a_key_is_shown_once_and_opens_its_own_system() -> None:
    system = SystemFactory()
    made, key = devices.make(system, " hall logger ", None, NOW)
    assert made.name == "hall logger"
    assert key not in str(vars(Device.objects.get()))
    assert made.key_print == key_print(key)
    assert devices.device_of(key) == made
    assert devices.device_of(key[:-1]) is None
    other = devices.turn(made, NOW)
    assert (devices.device_of(key), devices.device_of(other)) == (None, made)
    devices.withdraw(made, NOW)
    assert devices.device_of(other) is None
    with pytest.raises(devices.NotADevice, match="withdrawn"):
        devices.turn(made, NOW)
    with pytest.raises(devices.NotADevice, match="name"):
        devices.make(system, "  ", None, NOW)


def test_a_replaced_systems_device_is_shut() -> None:
    _made, key = devices.make(SystemFactory(replaced_on=TODAY), "logger", None, NOW)
    assert devices.device_of(key) is None


def test_a_batch_is_stored_and_the_same_again_changes_nothing(device: Device) -> None:
    days = [DayPosted(TODAY - timedelta(days=n), 6.0 + n / 10) for n in range(5)]
    readings = [ReadingPosted(ago(n), 40.0 + n, 0.2) for n in range(1, 4)]
    assert counts(take(device, days[::-1], readings, NOW)) == (8, 0, 0, 0)
    stamp = FilterSlot.objects.get().facts_changed_at
    later = NOW + timedelta(hours=1)
    assert counts(take(device, days, readings, later)) == (0, 0, 8, 0)
    assert FilterSlot.objects.get().facts_changed_at == stamp == NOW
    assert (RuntimeDay.objects.count(), Reading.objects.count()) == (5, 3)
    device.refresh_from_db()
    assert device.heard_at == later


def test_a_day_grows_while_it_lasts_and_a_reading_is_not_put_right_unseen(device: Device) -> None:
    take(device, [DayPosted(TODAY, 3.0)], [ReadingPosted(ago(2), 40.0)], NOW)
    told = take(device, [DayPosted(TODAY, 5.5)], [ReadingPosted(ago(2), 60.0)], NOW)
    assert counts(told) == (0, 1, 0, 1)
    assert RuntimeDay.objects.get().fan_hours == 5.5
    assert Reading.objects.get().filter_drop_pa == 40.0
    assert "that very moment" in told.refused[0].why


def test_each_wrong_row_is_told_and_the_good_ones_are_kept(device: Device) -> None:
    FilterSlotFactory(system=device.system, name="hall")
    days = [DayPosted(TODAY + timedelta(days=2), 1.0), DayPosted(TODAY, 24.5), DayPosted(TODAY, -1.0)]
    readings = [
        ReadingPosted(ago(1), 40.0),
        ReadingPosted(ago(1), 40.0, slot="nowhere"),
        ReadingPosted(ago(-1), 40.0, slot="hall"),
        ReadingPosted(ago(1), 1e6, slot="hall"),
        ReadingPosted(ago(1), 40.0, 1e9, slot="hall"),
        ReadingPosted(ago(1), 40.0, slot="hall"),
    ]
    told = take(device, [*days, DayPosted(TODAY, 4.0)], readings, NOW)
    assert counts(told) == (2, 0, 0, 8)
    assert [(one.of, one.row) for one in told.refused] == [
        *(("runtime", row) for row in range(3)),
        *(("readings", row) for row in range(5)),
    ]
    assert all(one.why for one in told.refused)


def test_a_day_of_twenty_five_hours_is_one_on_which_the_clocks_go_back(device: Device) -> None:
    now = datetime(2026, 11, 20, 15, tzinfo=UTC)
    told = take(device, [DayPosted(date(2026, 11, 1), 25.0), DayPosted(date(2026, 11, 2), 25.0)], [], now)
    assert (told.stored, [one.row for one in told.refused]) == (1, [1])


def test_nothing_reaches_another_systems_filters(device: Device) -> None:
    FilterSlotFactory(name="next door")
    told = take(device, [], [ReadingPosted(ago(1), 40.0, slot="next door")], NOW)
    assert (told.stored, len(told.refused)) == (0, 1)
    assert not Reading.objects.exists()


def test_a_long_batch_takes_no_more_queries(device: Device) -> None:
    def asked(first: int, count: int) -> int:
        days = [DayPosted(TODAY - timedelta(days=first + n), 5.0) for n in range(count)]
        readings = [ReadingPosted(ago(first + n + 1), 40.0) for n in range(count)]
        with CaptureQueriesContext(connection) as caught:
            take(device, days, readings, NOW)
        return len(caught)

    asked(0, 2)
    # SQLite takes so many values at once: the history of ninety goes in two parts.
    assert asked(20, 90) <= asked(10, 2) + 1


class TestOrders(TestCase):
    """Batches in any order, cut anywhere, sent any number of times, leave the same record."""

    @settings(max_examples=25, deadline=None)
    @given(st.permutations(range(8)), st.lists(st.integers(0, 7), max_size=6))
    def test_any_order_leaves_the_same(self, order: list[int], again: list[int]) -> None:
        device = DeviceFactory()
        FilterSlotFactory(system=device.system)
        for n in (*order, *again):
            take(
                device,
                [DayPosted(TODAY - timedelta(days=n), float(n))],
                [ReadingPosted(ago(n + 1), 40.0 + n)],
                NOW,
            )
        rows = dict(RuntimeDay.objects.filter(system=device.system).values_list("day", "fan_hours"))
        assert rows == {TODAY - timedelta(days=n): float(n) for n in range(8)}
        drops = Reading.objects.filter(slot__system=device.system).values_list("filter_drop_pa", flat=True)
        assert sorted(drops) == [40.0 + n for n in range(8)]
