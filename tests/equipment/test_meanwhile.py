"""A filter for a while: in today, looked at early, out by its day, the usual one back."""

from datetime import date, datetime, timedelta

import pytest

from equipment.meanwhile import ForAWhile, fit_for_a_while, for_now, next_media, standing
from equipment.models import FilterChange, FilterSlot, Meanwhile, Media, Reading
from equipment.record import NotRecordable, Told, record_change, record_reading, undo_change
from schedules import due
from schedules.emails import filter_lines
from schedules.explain import explain
from schedules.models import Policy
from tests.factories import NOW, TODAY, MediaFactory, MediaPointFactory

pytestmark = pytest.mark.django_db
HOUSEHOLD = Told(FilterChange.Told.OCCUPANT, FilterSlot.ChangedBy.OCCUPANT)
TECHNICIAN = Told(FilterChange.Told.TECHNICIAN, FilterSlot.ChangedBy.TECHNICIAN)
LOOK, OUT = TODAY + timedelta(days=10), TODAY + timedelta(days=20)


@pytest.fixture
def usual(home_slot: FilterSlot) -> Media:
    medium: Media = MediaFactory(name="Usual 8", merv=8)
    FilterSlot.objects.filter(pk=home_slot.pk).update(first_media=medium, fitted_on=date(2026, 4, 1))
    return medium


@pytest.fixture
def finer() -> Media:
    medium: Media = MediaFactory(name="Finer 13", merv=13, max_days=None)
    MediaPointFactory(media=medium)
    return medium


def fit(
    slot: FilterSlot, medium: Media, now: datetime = NOW, look: date = LOOK, out: date = OUT
) -> Meanwhile:
    fresh = FilterSlot.objects.select_related("system__site", "first_media").get(pk=slot.pk)
    return fit_for_a_while(fresh, ForAWhile(medium, look, out, "smoke"), TECHNICIAN, now)


def plan_of(slot: FilterSlot, now: datetime = NOW) -> FilterSlot:
    due.replan(now)
    return FilterSlot.objects.select_related("plan", "system__site", "first_media").get(pk=slot.pk)


def test_it_comes_out_by_its_day_and_the_reason_is_said(
    home_slot: FilterSlot, usual: Media, finer: Media
) -> None:
    fit(home_slot, finer)
    slot = plan_of(home_slot)
    assert slot.plan.due_on == OUT
    assert "comes out again" in explain(slot, slot.plan, TODAY, Policy.the()).why
    assert slot.plan.findings == []


def test_what_goes_in_next_is_the_usual_one(home_slot: FilterSlot, usual: Media, finer: Media) -> None:
    fit(home_slot, finer)
    slot = plan_of(home_slot)
    assert next_media([slot], NOW, for_now([slot], NOW)) == {slot.pk: usual}
    (line,) = filter_lines([slot], NOW, "ip")
    assert line.media == usual
    assert line.for_now == ("In there until 1 June 2026: Finer 13, MERV 13; we look at it by 22 May 2026.")


def test_whoever_ends_it_and_names_no_filter_puts_the_usual_one_back(
    home_slot: FilterSlot, usual: Media, finer: Media
) -> None:
    fit(home_slot, finer)
    later = NOW + timedelta(days=15)
    slot = plan_of(home_slot)
    change = record_change(slot, later.date(), None, HOUSEHOLD, later)
    assert change.media == usual
    assert not standing([slot.pk], later.date()).exists()
    assert "out_again" not in plan_of(home_slot, later).plan.notes
    undo_change(change, later)
    assert standing([slot.pk], later.date()).exists()
    assert plan_of(home_slot, later).plan.due_on == OUT


def test_nobody_looked_is_a_finding_until_somebody_reads_it(
    home_slot: FilterSlot, usual: Media, finer: Media
) -> None:
    fit(home_slot, finer)
    later = NOW + timedelta(days=11)
    slot = plan_of(home_slot, later)
    assert [finding["kind"] for finding in slot.plan.findings] == ["look_due"]
    record_reading(Reading(slot=slot, taken_at=later, filter_drop_pa=30.0), later)
    assert "look_due" not in [finding["kind"] for finding in plan_of(home_slot, later).plan.findings]


def test_told_again_its_days_move_and_no_second_change_is_written(
    home_slot: FilterSlot, usual: Media, finer: Media
) -> None:
    fit(home_slot, finer)
    later = NOW + timedelta(days=5)
    fit(home_slot, finer, later, LOOK + timedelta(days=9), OUT + timedelta(days=30))
    assert FilterChange.objects.count() == 1
    assert plan_of(home_slot, later).plan.due_on == OUT + timedelta(days=30)


def test_another_for_a_while_keeps_the_usual_one_in_mind(
    home_slot: FilterSlot, usual: Media, finer: Media
) -> None:
    fit(home_slot, finer)
    other = MediaFactory(name="Other 11", merv=11)
    later = NOW + timedelta(days=5)
    assert fit(home_slot, other, later, LOOK, OUT).usual == usual
    assert list(standing([home_slot.pk], later.date()).values_list("media__name", flat=True)) == ["Other 11"]


@pytest.mark.parametrize(
    ("look", "out", "why"),
    [
        (TODAY, OUT, "after today"),
        (OUT, LOOK, "after today"),
        (LOOK, TODAY + timedelta(days=400), "earlier day"),
    ],
)
def test_days_in_the_wrong_order_are_refused(
    home_slot: FilterSlot, usual: Media, finer: Media, look: date, out: date, why: str
) -> None:
    with pytest.raises(NotRecordable, match=why):
        fit(home_slot, finer, NOW, look, out)
    assert not FilterChange.objects.exists()
