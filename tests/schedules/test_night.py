"""The nightly pass of a large desk: parts, claims, turns, and plans equal to those of one sweep."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.contrib import admin
from django.contrib.messages.storage.fallback import FallbackStorage
from django.core.cache import cache
from django.test import RequestFactory

from equipment.fan_fold import WHOLE_DAYS
from equipment.fan_log import fan_log
from equipment.models import FanYear, FilterSlot, Reading, RuntimeDay, Site
from equipment.record import record_reading
from schedules import due, night, plan_store
from schedules.admin import PolicyAdmin
from schedules.models import FleetPrior, Night, NightPart, Plan, Policy
from schedules.planning.loading import Prior
from tests.factories import (
    FilterSlotFactory,
    MediaFactory,
    MediaPointFactory,
    NightPartFactory,
    PlanFactory,
    RuntimeDayFactory,
)
from tests.factories.clock import NOW, TODAY

pytestmark = pytest.mark.django_db
HOMES = 7
LATER = NOW + timedelta(days=1)


@pytest.fixture
def slots(monkeypatch: pytest.MonkeyPatch) -> list[FilterSlot]:
    """A desk of seven homes that counts as large, its dates up to date."""
    monkeypatch.setattr(due, "LARGE", 0)
    monkeypatch.setattr(night, "HOMES_A_PART", 3)
    media = MediaFactory()
    for airflow in (0.2, 0.4):
        MediaPointFactory(media=media, airflow_m3s=airflow, clean_drop_pa=100 * airflow)
    days = timedelta(days=30)
    slots = [FilterSlotFactory(first_media=media, fitted_on=TODAY - n * days) for n in range(HOMES)]
    due.replan(NOW)
    return slots


def whole_night(now: datetime) -> list[NightPart]:
    """All parts, one after the other."""
    night.begin(now)
    done = []
    while (part := night.do_next(lambda: now, "one")) is not None:
        done.append(part)
    return done


def plans() -> dict[int, list[Any]]:
    return {slot: values for slot, *values in Plan.objects.values_list("slot", *plan_store.COMPARED)}


def homes(found: Iterable[FilterSlot]) -> set[int]:
    return {slot.pk for slot in found}


def test_parts_cover_every_home_once(slots: list[FilterSlot]) -> None:
    night.begin(LATER)
    covered = [
        pk
        for part in NightPart.objects.all()
        for pk in Site.objects.filter(pk__range=(part.first_site, part.last_site)).values_list(
            "pk", flat=True
        )
    ]
    assert sorted(covered) == sorted(Site.objects.values_list("pk", flat=True))


def test_the_night_is_begun_once_a_day(slots: list[FilterSlot]) -> None:
    assert night.begin(LATER) == night.begin(LATER)
    parts = NightPart.objects.count()
    night.begin(LATER + timedelta(hours=1))
    assert (Night.objects.count(), NightPart.objects.count()) == (1, parts)


def test_a_small_desk_has_no_night(slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(due, "LARGE", 20_000)
    assert night.begin(LATER) is None
    assert due.replan_stale(LATER) == HOMES


def test_a_night_comes_to_the_plans_of_one_sweep(slots: list[FilterSlot]) -> None:
    FilterSlot.objects.update(facts_changed_at=LATER)
    done = whole_night(LATER)
    assert sum(part.filters for part in done) == HOMES
    assert Night.objects.get().finished_at == LATER
    by_night = plans()
    Plan.objects.all().delete()
    due.replan(LATER)
    assert plans() == by_night


def test_a_night_done_again_changes_nothing(slots: list[FilterSlot]) -> None:
    whole_night(LATER)
    before = plans()
    NightPart.objects.update(done_at=None, claimed_at=None)
    assert sum(part.changed for part in whole_night(LATER)) == 0
    assert plans() == before


def test_a_new_day_is_the_nights_and_a_new_fact_the_sweeps(slots: list[FilterSlot]) -> None:
    assert due.replan_stale(LATER) == 0
    record_reading(Reading(slot=slots[2], taken_at=LATER, filter_drop_pa=31.0), LATER)
    assert due.replan_stale(LATER) == 1
    assert Plan.objects.get(slot=slots[2]).as_of == TODAY + timedelta(days=1)


def test_a_part_has_one_worker_until_that_one_is_lost(slots: list[FilterSlot]) -> None:
    night.begin(LATER)
    NightPart.objects.exclude(pk=NightPart.objects.earliest("first_site").pk).delete()
    NightPart.objects.update(claimed_at=LATER)
    assert night.do_next(lambda: LATER, "two") is None
    late = LATER + night.LOST_AFTER + timedelta(seconds=1)
    part = night.do_next(lambda: late, "two")
    assert part is not None
    assert (part.claimed_by, part.tries) == ("two", 1)


def test_a_part_in_trouble_is_tried_again_after_longer_and_longer_pauses_and_then_left(
    slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_args: Any) -> tuple[int, int]:
        raise ConnectionError("the database is gone")

    night.begin(LATER)
    monkeypatch.setattr(night, "_do", fails)
    parts, tried = NightPart.objects.count(), []
    for minute in range(40):
        at = LATER + timedelta(minutes=minute)
        while night.free_parts(at).exists():
            with pytest.raises(ConnectionError):
                night.do_next(lambda at=at: at, "one")  # type: ignore[misc]
            tried.append(minute)
    assert tried == [minute for minute in (0, 1, 3, 7, 15) for _ in range(parts)]
    assert set(NightPart.objects.values_list("trouble", flat=True)) == {
        "ConnectionError: the database is gone"
    }
    assert Night.objects.get().finished_at is None


@pytest.mark.parametrize(
    ("off", "nights"),
    [(-40, 7), (-9, 3), (0, 1), (9, 1), (15, 2), (25, 3), (45, 5), (55, 6), (300, 7), (None, 7)],
)
def test_a_date_is_looked_at_the_less_often_the_further_off_it_is(off: int | None, nights: int) -> None:
    slot = FilterSlotFactory(facts_changed_at=NOW)
    PlanFactory(
        slot=slot, as_of=date(2030, 1, 1), due_on=None if off is None else TODAY + timedelta(days=off)
    )
    turns = 0
    for day in range(nights * 3):
        # Looked at on the day before, so that only its turn counts.
        Plan.objects.update(as_of=TODAY + timedelta(days=day - 1))
        if off is not None:
            Plan.objects.update(due_on=TODAY + timedelta(days=day + off))
        turns += night.to_look_at(TODAY + timedelta(days=day)).exists()
    assert turns == 3


def test_no_date_waits_longer_than_a_week() -> None:
    slot = FilterSlotFactory(facts_changed_at=NOW)
    PlanFactory(slot=slot, due_on=TODAY + timedelta(days=300), as_of=TODAY - timedelta(days=7))
    assert homes(night.to_look_at(TODAY)) == {slot.pk}


def test_an_older_plan_is_not_written_over_a_newer_one(slots: list[FilterSlot]) -> None:
    """A slot touched while its part is at work: the sweep's plan of the newer fact stays."""
    began = list(due.dated(due.today(LATER), LATER, due.prior_of_the_day(due.today(LATER), LATER)))
    record_reading(Reading(slot=slots[2], taken_at=LATER, filter_drop_pa=31.0), LATER)
    due.replan_stale(LATER)
    swept = Plan.objects.get(slot=slots[2])
    plan_store.store(began)
    kept = Plan.objects.get(slot=slots[2])
    assert (kept.facts_at, kept.notes) == (swept.facts_at, swept.notes)
    assert "readings:1" in kept.notes
    assert Plan.objects.get(slot=slots[0]).as_of == due.today(LATER)


def test_a_slow_worker_is_not_lost_while_it_is_heard_of_and_gives_way_once_it_was(
    slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(night, "HOMES_A_PART", HOMES)
    monkeypatch.setattr(due, "BATCH_SYSTEMS", 2)
    FilterSlot.objects.update(facts_changed_at=LATER)
    night.begin(LATER)
    minutes, others = iter(range(0, 60, 2)), []

    def clock() -> datetime:
        now = LATER + timedelta(minutes=next(minutes))
        others.append(night.free_parts(now).exists())
        return now

    part = night.do_next(clock, "slow")
    assert part is not None
    assert part.done_at is not None
    assert len(others) > 3
    assert not any(others[1:])
    NightPart.objects.update(done_at=None, claimed_at=None)
    Plan.objects.all().delete()

    def lost() -> datetime:
        NightPart.objects.update(claimed_by="another", tries=4)
        return LATER

    part = night.do_next(lost, "slow")
    assert part is not None
    assert part.done_at is None
    assert Plan.objects.count() < HOMES
    assert NightPart.objects.get().claimed_by == "another"


def test_all_parts_are_reckoned_from_what_the_fleet_had_taught_at_the_beginning(
    slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch
) -> None:
    FilterSlot.objects.update(facts_changed_at=LATER)
    night.begin(LATER)
    numbers = Night.objects.get().prior
    FleetPrior.objects.update(numbers=numbers | {"house": 5.0, "life": 2.0})
    used = []
    dated = due.dated_by_batch

    def noted(as_of: date, now: datetime, prior: Prior, *rest: Any) -> Any:
        used.append(prior.house)
        return dated(as_of, now, prior, *rest)

    monkeypatch.setattr(due, "dated_by_batch", noted)
    while night.do_next(lambda: LATER, "one") is not None:
        pass
    assert set(used) == {numbers["house"]}


def test_a_sweep_of_many_slots_teaches_a_large_desk_nothing_by_day(
    slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(due, "MANY_SLOTS", 1)
    learned = FleetPrior.objects.get(day=TODAY).made_at
    FilterSlot.objects.update(facts_changed_at=NOW + timedelta(minutes=5))
    assert due.replan_stale(NOW + timedelta(minutes=6)) == HOMES
    assert FleetPrior.objects.get(day=TODAY).made_at == learned
    monkeypatch.setattr(due, "LARGE", 20_000)
    FilterSlot.objects.update(facts_changed_at=NOW + timedelta(minutes=7))
    assert due.replan_stale(NOW + timedelta(minutes=8)) == HOMES
    assert FleetPrior.objects.get(day=TODAY).made_at == NOW + timedelta(minutes=8)


def test_what_a_part_changed_are_dates_that_moved(slots: list[FilterSlot]) -> None:
    """A new day alone writes every plan anew and moves few dates."""
    FilterSlot.objects.update(facts_changed_at=LATER)
    before = dict(Plan.objects.values_list("slot", "due_on"))
    done = whole_night(LATER)
    moved = sum(before[slot] != due_on for slot, due_on in Plan.objects.values_list("slot", "due_on"))
    assert sum(part.changed for part in done) == moved < sum(part.filters for part in done)
    assert set(Plan.objects.values_list("as_of", flat=True)) == {TODAY + timedelta(days=1)}


def test_parts_of_another_day_are_left_alone(slots: list[FilterSlot]) -> None:
    NightPartFactory(night__day=TODAY)
    assert night.do_next(lambda: LATER, "one") is None


def test_old_fan_hours_are_folded_within_four_weeks(slots: list[FilterSlot]) -> None:
    system = slots[0].system
    for days in (20, 61, 62, 200):
        RuntimeDayFactory(system=system, day=TODAY - timedelta(days=days), fan_hours=days / 10)
    log = fan_log([system.pk], date.max).by_day()
    for days in range(1, night.FOLD_EVERY_DAYS + 1):
        whole_night(NOW + timedelta(days=days))
    assert FanYear.objects.exists()
    last = due.today(NOW) + timedelta(days=night.FOLD_EVERY_DAYS)
    kept = RuntimeDay.objects.earliest("day").day
    assert last - timedelta(days=WHOLE_DAYS + night.FOLD_EVERY_DAYS) <= kept
    assert fan_log([system.pk], date.max).by_day() == log


def test_between_two_full_looks_a_large_desk_looks_at_what_was_touched_just_now(
    slots: list[FilterSlot],
) -> None:
    now = NOW + timedelta(hours=2)
    long_ago, just_now = now - due.JUST_NOW - timedelta(minutes=1), now - timedelta(minutes=1)
    FilterSlot.objects.filter(pk=slots[0].pk).update(facts_changed_at=long_ago)
    assert due.replan_stale(now) == 1
    FilterSlot.objects.filter(pk=slots[1].pk).update(facts_changed_at=long_ago)
    FilterSlot.objects.filter(pk=slots[2].pk).update(facts_changed_at=just_now)
    assert due.replan_stale(now) == 1
    assert Plan.objects.get(slot=slots[2]).facts_at == just_now
    # Whoever only counts what is left takes no full look from the sweep.
    cache.clear()
    assert [due.to_sweep(now).count() for _ in range(2)] == [1, 1]
    assert due.replan_stale(now) == 1


def test_other_rules_are_a_large_desks_nights_and_a_small_ones_own_moment(
    slots: list[FilterSlot], monkeypatch: pytest.MonkeyPatch, rf: RequestFactory
) -> None:
    request = rf.post("/")
    request.session = {}  # type: ignore[assignment]
    said = FallbackStorage(request)
    request._messages = said  # type: ignore[attr-defined]
    rules = PolicyAdmin(Policy, admin.site)
    before = dict(Plan.objects.values_list("slot", "made_at"))
    rules.save_model(request, Policy.the(), None, True)
    assert dict(Plan.objects.values_list("slot", "made_at")) == before
    assert ["by night" in str(one) for one in said] == [True]
    monkeypatch.setattr(due, "LARGE", 20_000)
    rules.save_model(request, Policy.the(), None, True)
    assert set(Plan.objects.values_list("as_of", flat=True)) != {TODAY}
