"""Plans written over: by whoever comes in time, and once."""

from datetime import datetime, timedelta

import pytest

from equipment.models import FilterChange, FilterSlot, Reading
from equipment.record import Told, record_change, record_reading
from schedules import due, plan_store
from schedules.models import DateBefore, Plan

pytestmark = pytest.mark.django_db


def test_a_fact_that_was_begun_earlier_and_stored_later_is_planned_once(
    home_slot: FilterSlot, now: datetime
) -> None:
    """A long import stamps with the moment at which it began, and another's clock may be behind."""
    later = now + timedelta(minutes=5)
    record_reading(Reading(slot=home_slot, taken_at=now - timedelta(days=2), filter_drop_pa=30.0), later)
    assert due.replan_stale(later) == 1
    record_reading(Reading(slot=home_slot, taken_at=now - timedelta(days=1), filter_drop_pa=31.0), now)
    assert due.replan_stale(later) == 1
    plan = Plan.objects.get(slot=home_slot)
    assert plan.facts_at == now
    assert "readings:2" in plan.notes
    assert due.replan_stale(later) == 0


def test_a_desk_whose_zone_was_moved_west_takes_up_what_is_told_on_the_day_before(
    home_slot: FilterSlot, now: datetime
) -> None:
    due.replan(now + timedelta(days=1))
    assert due.replan_stale(now) == 0
    told = now + timedelta(minutes=5)
    record_reading(Reading(slot=home_slot, taken_at=now - timedelta(days=1), filter_drop_pa=31.0), told)
    assert due.replan_stale(told) == 1
    assert "readings:1" in Plan.objects.get(slot=home_slot).notes
    assert due.replan_stale(told) == 0


def test_a_plan_that_comes_too_late_moves_no_date(home_slot: FilterSlot, now: datetime) -> None:
    FilterSlot.objects.update(fitted_on=(now - timedelta(days=60)).date())
    due.replan(now)
    began = list(due.dated(due.today(now), now, due.prior_of_the_day(due.today(now), now)))
    later = now + timedelta(minutes=5)
    record_change(home_slot, due.today(now), None, Told(FilterChange.Told.OCCUPANT, "occupant"), later)
    due.replan_stale(later)
    moved = DateBefore.objects.count()
    swept = Plan.objects.get(slot=home_slot)
    assert plan_store.store(began).written == 0
    assert DateBefore.objects.count() == moved
    assert Plan.objects.get(slot=home_slot).due_on == swept.due_on != began[0].plan.due_on
