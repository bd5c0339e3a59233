"""Nobody opened: the home is rung about, with how often, until somebody is to come again or was let in."""

from datetime import datetime, timedelta

import pytest

from equipment.models import FilterChange, FilterSlot, Site
from equipment.record import NotRecordable, Told, record_change
from schedules import call_list, visits
from schedules.models import Visit
from schedules.no_access import shut_doors
from tests.factories import PlanFactory, TechnicianFactory, VisitFactory, VisitJobFactory

pytestmark = pytest.mark.django_db


def nobody_opened(slot: FilterSlot, now: datetime) -> Visit:
    visit: Visit = VisitFactory(
        site=slot.system.site, technician=TechnicianFactory(), day=now.date(), state="scheduled"
    )
    VisitJobFactory(visit=visit, slot=slot)
    return visits.no_access(visit, "dog in the yard", now)


def test_a_shut_door_is_rung_about_with_how_often_it_was_shut(home_slot: FilterSlot, now: datetime) -> None:
    PlanFactory(slot=home_slot, due_on=(now + timedelta(days=200)).date())
    nobody_opened(home_slot, now)
    (call,) = call_list.calls(now)
    assert call.why == "nobody opened on 12 May 2026: agree on a day"
    assert call.slots == [home_slot]
    later = now + timedelta(days=3)
    nobody_opened(home_slot, later)
    (call,) = call_list.calls(later)
    assert "on 15 May 2026, 2 times in a row" in call.why
    assert [door.times for door in shut_doors(later)] == [2]


def test_it_is_settled_by_a_visit_to_come_or_one_that_was_let_in(
    home_slot: FilterSlot, now: datetime
) -> None:
    nobody_opened(home_slot, now)
    coming = VisitFactory(site=home_slot.system.site)
    assert shut_doors(now) == []
    visits.cancel(coming, "")
    assert len(shut_doors(now)) == 1
    VisitFactory(site=home_slot.system.site, state="completed", completed_at=now + timedelta(days=1))
    assert shut_doors(now + timedelta(days=1)) == []
    assert shut_doors(now + timedelta(days=60)) == []


def test_nothing_waits_where_the_household_changed_it_or_nobody_lives(
    home_slot: FilterSlot, now: datetime
) -> None:
    nobody_opened(home_slot, now)
    record_change(home_slot, now.date(), None, Told("occupant", "occupant"), now + timedelta(hours=5))
    assert shut_doors(now + timedelta(hours=6)) == []
    FilterChange.objects.update(undone_at=now)
    assert len(shut_doors(now + timedelta(hours=6))) == 1
    Site.objects.update(vacant_since=now.date())
    assert shut_doors(now + timedelta(hours=6)) == []


def test_nobody_can_have_stood_at_a_door_before_the_day(now: datetime) -> None:
    visit = VisitFactory(
        state="scheduled", technician=TechnicianFactory(), day=(now + timedelta(days=9)).date()
    )
    with pytest.raises(NotRecordable, match="still to come"):
        visits.no_access(visit, "", now)
