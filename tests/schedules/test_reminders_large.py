"""Reminders of a large desk: some homes a sweep, and a call list that looks only at homes it may name."""

from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.models import FilterSlot
from schedules import due, reminders
from schedules.models import Notice, NoticeSlot, Plan, Policy, RestedAddress, Visit
from tests.factories import (
    FilterSlotFactory,
    NoticeFactory,
    PersonFactory,
    PlanFactory,
    SiteRoleFactory,
    SystemFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db


def home(email: str | None = "", notes: list[str] | None = None, *, wants: bool = True) -> FilterSlot:
    """A home with a filter that is due in four days and its changer; None for no changer."""
    slot: FilterSlot = FilterSlotFactory(system=SystemFactory())
    if email is not None:
        person = PersonFactory(email=email, wants_filter_mail=wants)
        SiteRoleFactory(site=slot.system.site, person=person, role="filter_changer")
    PlanFactory(slot=slot, due_on=date(2026, 5, 16), reason=Plan.Reason.RISK, notes=notes or [])
    return slot


def written_to(slot: FilterSlot, kind: str, state: str, sent_at: datetime | None) -> None:
    """A letter about the filter now in the slot."""
    person = slot.system.site.roles.get().person
    notice = NoticeFactory(site=slot.system.site, person=person, kind=kind, state=state, sent_at=sent_at)
    NoticeSlot.objects.create(notice=notice, slot=slot, kind=kind, life="first", person=person)


@pytest.fixture
def content() -> FilterSlot:
    """A home that nobody needs to ring."""
    return home("jo@home.example")


@pytest.fixture
def to_ring(now: datetime) -> set[int]:
    """Homes to ring, one for every reason."""
    RestedAddress.objects.create(email="rested@home.example", since=now, why="gone")
    failed, twice, asked = home("a@home.example"), home("b@home.example"), home("c@home.example")
    written_to(failed, Notice.Kind.FILTERS_DUE, Notice.State.FAILED, None)
    written_to(twice, Notice.Kind.FOLLOW_UP, Notice.State.SENT, now - timedelta(days=90))
    visit = VisitFactory(site=asked.system.site, state=Visit.State.DUE, day=None, technician=None)
    VisitJobFactory(visit=visit, slot=asked, task=None)
    others = [
        home(), home(None), home("d@home.example", wants=False), home("Rested@home.example"),
        home("e@home.example", ["nothing_left"]),
    ]  # fmt: skip
    return {slot.system.site_id for slot in [failed, twice, asked, *others]}


def test_a_large_desk_rings_whom_a_small_one_does_and_looks_at_no_others(
    to_ring: set[int], content: FilterSlot, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    small = [(row.site.pk, row.why_not, row.slots) for row in reminders.call_list(now)]
    assert {site for site, _why, _slots in small} == to_ring
    monkeypatch.setattr(due, "LARGE", 0)
    assert [(row.site.pk, row.why_not, row.slots) for row in reminders.call_list(now)] == small
    looked_at = reminders.to_tell(now, Policy.the(), reminders.may_be_rung(now, Policy.the()))
    assert content.system.site_id not in {row.site.pk for row in looked_at}


@pytest.fixture
def by_twos(monkeypatch: pytest.MonkeyPatch) -> None:
    """A large desk that looks at two homes a sweep."""
    monkeypatch.setattr(due, "LARGE", 0)
    monkeypatch.setattr(reminders, "HOMES_A_SWEEP", 2)


def told() -> list[int]:
    """The home of each letter that was written."""
    return sorted(pk for pk in Notice.objects.values_list("site", flat=True) if pk)


def reached() -> int:
    return Policy.the().reminders_reached


@pytest.mark.parametrize("minutes_between", [1, 2, 6, 45])
def test_dropped_minutes_leave_no_home_of_a_large_desk_out(
    now: datetime, by_twos: None, minutes_between: int
) -> None:
    homes = [home(f"p{n}@home.example").system.site_id for n in range(8)]
    gap = timedelta(minutes=minutes_between)
    written = [reminders.write_due(now + gap * n) for n in range(4)]
    assert written == [2, 2, 2, 2]
    assert told() == homes


def test_past_the_last_home_it_goes_on_with_the_first_and_tells_nobody_twice(
    now: datetime, by_twos: None
) -> None:
    homes = [home(f"p{n}@home.example").system.site_id for n in range(3)]
    assert [reminders.write_due(now + timedelta(minutes=n)) for n in range(2)] == [2, 1]
    assert reached() == 0
    new = home("new@home.example").system.site_id
    assert [reminders.write_due(now + timedelta(minutes=n)) for n in range(2, 4)] == [0, 1]
    assert told() == [*homes, new]


def test_homes_that_are_gone_meanwhile_end_the_turn(now: datetime, by_twos: None) -> None:
    slot = home("jo@home.example")
    Policy.the()
    Policy.objects.update(reminders_reached=slot.system.site_id + 100)
    assert [reminders.write_due(now), reminders.write_due(now)] == [0, 1]


def test_two_workers_with_the_same_homes_write_once_and_go_on_to_the_next_ones(
    now: datetime, by_twos: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other one is done with all of it just when this one has read whom nobody wrote to yet."""
    homes = [home(f"p{n}@home.example").system.site_id for n in range(4)]
    read, written = reminders._Letters, []

    def overtaken(of: list[reminders.ToTell]) -> reminders._Letters:
        found = read(of)
        monkeypatch.setattr(reminders, "_Letters", read)
        written.append(reminders.write_due(now))
        return found

    monkeypatch.setattr(reminders, "_Letters", overtaken)
    assert (reminders.write_due(now), written) == (0, [2])
    assert reached() == homes[1]
    assert reminders.write_due(now) == 2
    assert told() == homes


def test_homes_that_cannot_be_read_do_not_keep_the_others_waiting(
    now: datetime, by_twos: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    homes = [home(f"p{n}@home.example").system.site_id for n in range(4)]
    with monkeypatch.context() as broken:
        broken.setattr(reminders, "Rested", lambda _people: 1 / 0)
        with pytest.raises(ZeroDivisionError):
            reminders.write_due(now)
    assert reminders.write_due(now) == 2
    assert told() == homes[2:]


def test_a_sweep_of_a_large_desk_asks_as_often_however_many_homes_it_has(
    now: datetime, by_twos: None, django_assert_num_queries: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    for n in range(2):
        home(f"p{n}@home.example", notes=["nothing_left"])
    reminders.write_due(now)  # makes the desk's own rows
    Policy.objects.update(reminders_reached=0)
    with CaptureQueriesContext(connection) as few:
        reminders.write_due(now)
    for n in range(2, 12):
        home(f"p{n}@home.example", notes=["nothing_left"])
    Policy.objects.update(reminders_reached=0)
    monkeypatch.setattr(reminders, "HOMES_A_SWEEP", 10)
    with django_assert_num_queries(len(few)):
        reminders.write_due(now)
