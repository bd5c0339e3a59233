"""Plans written over: by whoever comes in time, and once."""

from datetime import datetime, timedelta

import pytest
from django.db import OperationalError

from equipment import bulk
from equipment.models import FilterChange, FilterSlot, Reading
from equipment.record import Told, record_change, record_reading
from schedules import due, plan_store
from schedules.left_out import left_out
from schedules.models import DateBefore, Plan
from tests.factories import FilterSlotFactory, SystemFactory

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


@pytest.mark.parametrize("count", [5, 60])
def test_a_plan_that_the_database_does_not_take_holds_up_no_others(
    count: int, now: datetime, caplog: pytest.LogCaptureFixture
) -> None:
    """Few are written one by one, many copied."""
    system = SystemFactory()
    began = (now - timedelta(days=30)).date()
    slots = [FilterSlotFactory(system=system, fitted_on=began, facts_changed_at=now) for _ in range(count)]
    day = due.today(now)
    dated = list(due.dated(day, now, due.prior_of_the_day(day, now)))
    spoilt = dated[count // 2]
    spoilt.plan.reason = None
    assert plan_store.store(dated).written == count - 1
    assert {slot.pk for slot in slots} - set(Plan.objects.values_list("slot", flat=True)) == {spoilt.slot.pk}
    assert left_out([system.site_id, system.site_id + 1]) == {system.site_id}
    told = f"the plan of filter {spoilt.slot.pk} in home {system.site_id} cannot be stored and is left out"
    assert [record.getMessage() for record in caplog.records if record.levelname == "ERROR"] == [told]
    assert plan_store.store(dated).written == 0


def test_a_database_that_is_gone_loses_no_plan(
    home_slot: FilterSlot, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_args: object) -> None:
        raise OperationalError("server closed the connection")

    FilterSlot.objects.update(fitted_on=(now - timedelta(days=60)).date())
    with monkeypatch.context() as broken:
        broken.setattr(bulk, "put", gone)
        with pytest.raises(OperationalError):
            due.replan(now)
    assert left_out([home_slot.system.site_id]) == set()
    assert due.replan_stale(now) == 1
