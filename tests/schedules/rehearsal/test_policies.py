"""Policies lived through: what must hold whatever the fleet is."""

from datetime import date

import numpy as np
import pytest

from schedules.planning.arrays import BoolArray
from schedules.rehearsal.desk import DeskRecord
from schedules.rehearsal.filters import INWC
from schedules.rehearsal.fleet import Fleet, simulate
from schedules.rehearsal.policies import (
    FixedDays,
    KnowsAll,
    LeastRegret,
    Ours,
    Outcome,
    RunHours,
    at_same,
    live,
)
from schedules.rehearsal.policy_drawing import drawing

DAYS = 250


@pytest.fixture(scope="module")
def fleet() -> Fleet:
    return simulate(41, 60, date(2026, 5, 10))


@pytest.fixture(scope="module")
def logged(fleet: Fleet) -> BoolArray:
    return np.arange(len(fleet.plant.systems.slots)) % 3 > 0


@pytest.fixture(scope="module")
def never(fleet: Fleet, logged: BoolArray) -> Outcome:
    return live(fleet, logged, FixedDays(1e9), DAYS)


def test_who_never_changes_is_past_the_limit_the_longest(
    fleet: Fleet, logged: BoolArray, never: Outcome
) -> None:
    often, seldom = (live(fleet, logged, FixedDays(days), DAYS) for days in (30.0, 120.0))
    assert never.changes == 0
    assert often.days_past < seldom.days_past < never.days_past < 365.25
    assert often.changes > seldom.changes
    assert often.thrown_away > seldom.thrown_away


def test_nobody_does_better_than_the_one_who_knows_all(fleet: Fleet, logged: BoolArray) -> None:
    best = live(fleet, logged, KnowsAll(0.0), DAYS)
    # A filter is past its limit on the one day on which it is taken out, and nothing is thrown away.
    assert best.days_past == pytest.approx(best.changes)
    assert best.thrown_away < 0.1
    assert live(fleet, logged, FixedDays(365.25 / best.changes), DAYS).days_past > 2 * best.days_past


def test_a_month_means_a_change_a_month(fleet: Fleet, logged: BoolArray) -> None:
    # The first change comes at once where a filter was older; then one every thirty days.
    assert live(fleet, logged, FixedDays(30.0), DAYS).changes * DAYS / 365.25 == pytest.approx(8.5, abs=0.8)


def test_the_dearer_a_late_change_the_more_often_one_changes_and_the_less_is_past(
    fleet: Fleet, logged: BoolArray, never: Outcome
) -> None:
    calm, careful = (live(fleet, logged, LeastRegret(late, shortest_days=14), DAYS) for late in (1.5, 6.0))
    assert careful.changes > calm.changes > 0
    assert careful.days_past < calm.days_past < never.days_past


def test_more_hours_are_fewer_changes(fleet: Fleet, logged: BoolArray) -> None:
    few, many = (live(fleet, logged, RunHours(hours), DAYS) for hours in (300.0, 900.0))
    assert few.changes > many.changes > 0


def test_a_filter_just_put_in_does_not_go_by_the_date_of_the_one_before(
    fleet: Fleet, logged: BoolArray
) -> None:
    record, ours, day = DeskRecord.of(fleet, logged, 20), Ours(0.2), fleet.as_of + 1
    share = np.zeros(fleet.count)
    out = ours.due(day, record, share)
    assert out.any()
    for slot in np.flatnonzero(out).tolist():
        record.add_life(slot, day + 1.0)
    assert not (ours.due(day + 1, record, share) & out).any()


@pytest.mark.long
def test_fewer_days_that_weigh_as_a_change_are_more_changes(fleet: Fleet, logged: BoolArray) -> None:
    careful, calm = (
        live(fleet, logged, Ours(late_days=days, shortest_days=14), DAYS) for days in (5.0, 20.0)
    )
    assert careful.changes > calm.changes
    assert careful.days_past < calm.days_past


@pytest.mark.long
def test_a_higher_accepted_risk_is_fewer_changes_and_more_days_past(fleet: Fleet, logged: BoolArray) -> None:
    careful, bold = (live(fleet, logged, Ours(risk, shortest_days=30), DAYS) for risk in (0.1, 0.5))
    assert careful.changes > bold.changes
    assert careful.days_past < bold.days_past


def test_the_record_holds_no_fact_after_its_day(fleet: Fleet, logged: BoolArray) -> None:
    record = DeskRecord.of(fleet, logged, 10)
    before = record.facts(fleet.as_of - 200)
    record.add_life(0, fleet.as_of - 100.0)
    record.add_reading(0, fleet.as_of - 150.0, 0.3, np.nan)
    after = record.facts(fleet.as_of - 200)
    assert np.array_equal(before.lives.began, after.lives.began)
    assert np.array_equal(before.readings.drop_pa, after.readings.drop_pa)
    assert before.systems.hours.shape[1] == fleet.as_of - 200 - fleet.start + 1


def test_a_reading_belongs_to_the_life_it_was_taken_in(fleet: Fleet, logged: BoolArray) -> None:
    record = DeskRecord.of(fleet, logged, 10)
    record.read_slot, record.read_at, record.read_pa = [], [], []
    record.add_life(3, fleet.as_of - 5.0)
    record.add_reading(3, fleet.as_of - 5.5, 0.31, np.nan)
    record.add_reading(3, fleet.as_of - 4.5, 0.11, np.nan)
    facts = record.facts(fleet.as_of)
    old, new = facts.readings.life
    assert (facts.lives.slot[old], facts.lives.slot[new]) == (3, 3)
    assert (facts.lives.current[old], facts.lives.current[new]) == (False, True)
    assert facts.readings.drop_pa.min() >= 0.11 * INWC


def test_between_two_settings_lies_what_would_be_between_them() -> None:
    rows = [Outcome("fixed days", n, n, 10.0 * n, 0.0, 0.0) for n in (1.0, 3.0)]
    assert at_same(rows, "fixed days", "changes", 2.0, "days_past") == 20.0
    assert np.isnan(at_same(rows, "fixed days", "changes", 4.0, "days_past"))
    assert np.isnan(at_same(rows, "ours", "changes", 2.0, "days_past"))
    picture = drawing(rows)
    assert picture.count("<circle") == 2
    assert "fixed days" in picture
