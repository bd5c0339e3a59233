"""The last date before a change is kept beside the day of the change."""

from datetime import date, datetime, timedelta

import pytest

from equipment.models import FilterChange, FilterSlot
from equipment.record import Told, record_change, undo_change
from schedules import due
from schedules.look_back import look_back
from schedules.models import KeptDate, Plan
from tests.factories import MediaFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)


@pytest.fixture
def slot(home_slot: FilterSlot, now: datetime) -> FilterSlot:
    home_slot.first_media = MediaFactory(name="pleat")
    home_slot.fitted_on = date(2025, 11, 20)
    home_slot.save()
    due.replan(now)
    return home_slot


def test_a_change_keeps_the_date_that_stood_before_it(slot: FilterSlot, now: datetime) -> None:
    was = Plan.objects.get()
    record_change(slot, TODAY, None, Told(FilterChange.Told.OCCUPANT, "occupant"), now)
    due.replan(now)
    row = KeptDate.objects.get()
    assert (row.began_on, row.due_on, row.ended_on) == (date(2025, 11, 20), was.due_on, TODAY)
    assert row.reason == was.reason
    due.replan(now + timedelta(days=1))
    assert KeptDate.objects.count() == 1


def test_a_change_that_is_taken_back_ended_no_date(slot: FilterSlot, now: datetime) -> None:
    change = record_change(slot, TODAY, None, Told(FilterChange.Told.OCCUPANT, "occupant"), now)
    due.replan(now)
    undo_change(change, now)
    due.replan(now)
    assert not KeptDate.objects.exists()


def test_a_date_that_moves_ends_nothing(slot: FilterSlot, now: datetime) -> None:
    slot.fitted_on = date(2025, 11, 10)
    slot.facts_changed_at = now + timedelta(minutes=1)
    slot.save()
    due.replan(now + timedelta(minutes=1))
    slot.fitted_on = date(2025, 11, 25)
    slot.facts_changed_at = now + timedelta(minutes=2)
    slot.save()
    due.replan(now + timedelta(minutes=2))
    assert Plan.objects.get().life_began_on == date(2025, 11, 25)
    assert not KeptDate.objects.exists()


def test_a_record_older_than_its_dates_is_held_to_those_of_then(slot: FilterSlot, now: datetime) -> None:
    """A change on the first of a month is held to the month before, the next to its own."""
    for on in (date(2026, 4, 1), date(2026, 4, 20)):
        FilterChange.objects.create(
            slot=slot, changed_on=on, changed_at=now - timedelta(days=(TODAY - on).days), told="sheet"
        )
    assert look_back(now) == 2
    told = {(row.as_of, row.began_on, row.ended_on) for row in KeptDate.objects.all()}
    april = (date(2026, 4, 1), date(2026, 4, 1), date(2026, 4, 20))
    assert told == {(date(2026, 3, 1), date(2025, 11, 20), date(2026, 4, 1)), april}
    assert look_back(now) == 0
