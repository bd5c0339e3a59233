"""Plans as stored: a home's slots are planned together."""

from datetime import datetime, timedelta

import pytest

from equipment.models import FilterChange, FilterSlot, Reading, System
from equipment.record import Told, record_change, record_reading
from schedules import due
from schedules.models import DateBefore, Plan, Policy
from shared.units import M3S_PER_CFM, PA_PER_INWC
from tests.factories import (
    FilterSlotFactory,
    MediaFactory,
    MediaPointFactory,
    ReadingFactory,
    SystemFactory,
)

pytestmark = pytest.mark.django_db


def test_a_reading_moves_the_date_of_the_slot_beside_it_too(
    home_slot: FilterSlot, home_system: System, now: datetime
) -> None:
    neighbour = FilterSlotFactory(system=SystemFactory(site=home_system.site))
    medium = MediaFactory()
    for cfm, inwc in ((400, 0.10), (800, 0.25)):
        MediaPointFactory(media=medium, airflow_m3s=cfm * M3S_PER_CFM, clean_drop_pa=inwc * PA_PER_INWC)
    FilterSlot.objects.update(fitted_on=(now - timedelta(days=60)).date(), first_media=medium)
    System.objects.update(design_airflow_m3s=0.19)
    due.replan(now)
    before = Plan.objects.get(slot=neighbour).p50_on
    clean = Plan.objects.get(slot=home_slot).clean_drop_pa
    assert before is not None
    assert clean is not None
    for days, ratio in ((20, 1.5), (10, 1.7), (0, 1.9)):
        at = now - timedelta(days=days)
        record_reading(Reading(slot=home_slot, taken_at=at, filter_drop_pa=ratio * clean), now)
    due.replan(now, FilterSlot.objects.filter(pk=home_slot.pk))
    after = Plan.objects.get(slot=neighbour).p50_on
    assert after is not None
    assert after < before


def test_no_home_is_parted_between_two_batches(
    home_system: System, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(4):
        ReadingFactory(slot=FilterSlotFactory(system=SystemFactory(site=home_system.site)), taken_at=now)
        ReadingFactory(taken_at=now)
    due.replan(now)
    whole = dict(Plan.objects.values_list("slot", "due_on"))
    monkeypatch.setattr(due, "BATCH_SYSTEMS", 2)
    Plan.objects.all().delete()
    due.replan(now)
    assert dict(Plan.objects.values_list("slot", "due_on")) == whole


def test_a_date_that_moves_leaves_what_it_was_and_what_moved_it(home_slot: FilterSlot, now: datetime) -> None:
    FilterSlot.objects.update(fitted_on=(now - timedelta(days=60)).date())
    due.replan(now)
    first = Plan.objects.get(slot=home_slot)
    due.replan(now)
    assert not DateBefore.objects.exists()
    later = now + timedelta(hours=2)
    record_change(home_slot, due.today(now), None, Told(FilterChange.Told.OCCUPANT, "occupant"), later)
    due.replan(later, FilterSlot.objects.filter(pk=home_slot.pk))
    row = DateBefore.objects.get()
    assert (row.slot, row.due_on, row.reason, row.until) == (home_slot, first.due_on, first.reason, later)
    assert row.moved == DateBefore.Moved.FACT
    assert Plan.objects.get(slot=home_slot).due_on != first.due_on


def test_another_rule_of_the_desk_gives_each_filter_its_own_risk_and_takes_it_back(
    home_slot: FilterSlot, now: datetime
) -> None:
    medium = MediaFactory()
    MediaPointFactory(media=medium, airflow_m3s=400 * M3S_PER_CFM, clean_drop_pa=0.1 * PA_PER_INWC)
    FilterSlot.objects.update(fitted_on=(now - timedelta(days=60)).date(), first_media=medium)
    System.objects.update(design_airflow_m3s=0.19)
    for late_days in (None, 9.0, None):
        policy = Policy.the()
        policy.late_days = late_days
        policy.save()
        due.replan(now)
        risk = Plan.objects.get(slot=home_slot).accepted_risk
        assert (risk is None) == (late_days is None)
        assert risk is None or 0.0 < risk < 1.0
