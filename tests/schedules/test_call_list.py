"""Who is to be rung: the longest due first, off the list once told, back with something new."""

from datetime import date, datetime, timedelta

import pytest

from equipment.models import FilterSlot, Person, User
from equipment.record import Told, record_change
from schedules import call_list
from schedules.models import Plan, Rung
from tests.factories import FilterSlotFactory, PersonFactory, PlanFactory, SiteRoleFactory, SystemFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def mailless(home_slot: FilterSlot, homeowner_person: Person) -> Plan:
    """The homeowner has no mail and a filter that is due in four days."""
    Person.objects.update(email="")
    return PlanFactory(slot=home_slot, due_on=date(2026, 5, 16), reason=Plan.Reason.RISK, run_hours=700)


def another_home(due_on: date) -> Plan:
    """Somebody else without mail."""
    slot = FilterSlotFactory(system=SystemFactory())
    SiteRoleFactory(site=slot.system.site, person=PersonFactory(email=""), role="filter_changer")
    return PlanFactory(slot=slot, due_on=due_on, reason=Plan.Reason.RISK)


def test_the_longest_due_comes_first(mailless: Plan, now: datetime) -> None:
    overdue = another_home(date(2026, 2, 1))
    assert [call.on for call in call_list.calls(now)] == [overdue.due_on, mailless.due_on]


def test_whoever_was_tried_in_vain_today_comes_last_and_tomorrow_no_more(
    mailless: Plan, now: datetime, manager_user: User
) -> None:
    overdue = another_home(date(2026, 2, 1))
    first = call_list.calls(now)[0]
    call_list.write_call(first.key, False, "engaged", manager_user, now)
    today, tomorrow = call_list.calls(now), call_list.calls(now + timedelta(days=1))
    assert [call.on for call in today] == [mailless.due_on, overdue.due_on]
    assert [call.on for call in tomorrow] == [overdue.due_on, mailless.due_on]
    (tried,) = today[1].tries
    assert (tried.note, tried.by) == ("engaged", manager_user)


def test_a_home_that_was_told_returns_only_with_another_filter_or_another_life(
    mailless: Plan, now: datetime
) -> None:
    call_list.write_call(call_list.calls(now)[0].key, True, "", None, now)
    assert call_list.calls(now + timedelta(days=3)) == []
    told = Told("technician", "technician")
    record_change(mailless.slot, date(2026, 5, 11), None, told, now)
    assert len(call_list.calls(now)) == 1


def test_a_call_of_a_home_that_is_settled_is_refused_and_nothing_is_stored(
    mailless: Plan, now: datetime
) -> None:
    key = call_list.calls(now)[0].key
    Plan.objects.update(due_on=date(2026, 12, 1))
    with pytest.raises(call_list.NotToRing, match="settled meanwhile"):
        call_list.write_call(key, True, "", None, now)
    assert not Rung.objects.exists()
