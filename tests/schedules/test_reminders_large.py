"""Reminders of a large desk: some homes a sweep, and a call list that looks only at homes it may name."""

from datetime import date, datetime, timedelta

import pytest

from equipment.models import FilterSlot, Site
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


def home(
    email: str | None = "", notes: list[str] | None = None, *, wants: bool = True, **of_the_site: object
) -> FilterSlot:
    """A home with a filter that is due in four days and its changer; None for no changer."""
    slot: FilterSlot = FilterSlotFactory(system=SystemFactory(**of_the_site))
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


def test_each_home_of_a_large_desk_is_told_once_when_its_turn_comes(
    now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Small numbers, whatever the database has given out before: each turn of them is a minute.
    homes = [home(f"p{n}@home.example", site__pk=n) for n in range(1, 8)]
    monkeypatch.setattr(due, "LARGE", 0)
    monkeypatch.setattr(reminders, "HOMES_A_SWEEP", 2)
    turns = Site.objects.order_by("-pk")[0].pk // 2 + 1
    minutes = [now + timedelta(minutes=n) for n in range(2 * turns)]
    written = [reminders.write_due(minute) for minute in minutes]
    assert sum(written) == len(homes)
    assert max(written) <= 2
    assert set(Notice.objects.values_list("site", flat=True)) == {slot.system.site_id for slot in homes}
