"""Findings among readings: found where one was put in, silent on filters that only load."""

from datetime import date

import numpy as np
import pytest

from schedules.planning.facts import FleetFacts, Settings
from schedules.planning.fan import fan_hours
from schedules.planning.forecast import forecast
from schedules.planning.loading import HIGHEST_PA, METER_PA, METHOD_SHARE
from schedules.planning.oddities import OddKind, Screened, screen
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot
from tests.schedules.planning.lives import (
    as_read,
    days_to_double,
    fleet_of,
    normal_lives,
    true_drop,
    with_readings,
)


def screened(facts: FleetFacts) -> Screened:
    fan = fan_hours(facts.as_of, facts.weather, facts.systems)
    return screen(facts, fan, facts.slots.airflow_m3s / facts.slots.area_m2)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_filters_that_only_load_give_no_finding(seed: int) -> None:
    facts = normal_lives(np.random.default_rng(seed), 300)
    found = screened(facts)
    assert len(found.odd) <= 3  # one in a hundred; two are allowed
    if not found.odd:
        assert found.facts is facts


def hidden_changes(rng: np.random.Generator, count: int) -> tuple[FleetFacts, np.ndarray]:
    """Filters that load fast enough to tell, each with a change that nobody wrote down."""
    days_in = rng.uniform(200, 400, count)
    doubling = np.minimum(days_to_double(rng, count), 150)
    cut = days_in * rng.uniform(0.4, 0.7, count)
    readings = []
    for row in range(count):
        age = np.sort(np.append(rng.uniform(1, days_in[row], 4), [cut[row] * 0.97, cut[row] * 1.1 + 3]))
        passed = np.where(age < cut[row], age, age - cut[row])
        drops = as_read(rng, true_drop(passed, doubling[row]))
        readings.append(list(zip((days_in[row] - age).tolist(), drops.tolist(), strict=True)))
    return fleet_of(count, days_in, readings), AS_OF + 1.0 - days_in + cut


def test_a_change_that_nobody_wrote_down_is_found_between_the_two_readings() -> None:
    facts, changed = hidden_changes(np.random.default_rng(7), 200)
    falls = {odd.slot: odd for odd in screened(facts).odd if odd.kind is OddKind.FALL}
    assert len(falls) >= 170
    within = [odd.at <= changed[slot] <= odd.until for slot, odd in falls.items()]
    assert np.mean(within) > 0.95
    assert all(odd.at <= odd.began < odd.until for odd in falls.values())


def test_a_hidden_change_begins_a_life_of_unknown_start() -> None:
    facts = one_slot(days_in=300.0, readings=[(200, 35.0), (120, 62.0), (60, 27.0), (10, 33.0)])
    found = screened(facts)
    assert [odd.kind for odd in found.odd] == [OddKind.FALL]
    slots, lives = found.facts.slots, found.facts.lives
    assert AS_OF + 1 - 120 <= slots.began[0] < AS_OF + 1 - 60
    assert not slots.began_known[0]
    assert lives.current.tolist() == [False, True]
    assert found.facts.readings.life.tolist() == [0, 0, 1, 1]
    assert found.odd[0].present


def test_a_past_life_that_hides_a_change_keeps_the_readings_before_it() -> None:
    facts = one_slot(
        days_in=50.0,
        readings=[(10, 28.0)],
        past=[(350.0, [(250, 35.0), (170, 62.0), (110, 27.0), (60, 33.0)])],
    )
    found = screened(facts)
    assert [(odd.kind, odd.present) for odd in found.odd] == [(OddKind.FALL, False)]
    assert found.facts.lives.current.tolist() == [False, False, True]
    assert found.facts.readings.life.tolist() == [0, 0, 2]
    assert found.facts.slots.began[0] == facts.slots.began[0]


def test_a_high_reading_between_others_that_go_on_is_a_jump_and_left_out() -> None:
    facts = one_slot(days_in=300.0, readings=[(240, 27.0), (180, 30.0), (120, 61.0), (60, 35.0), (5, 37.0)])
    found = screened(facts)
    assert [(odd.kind, odd.seen_pa) for odd in found.odd] == [(OddKind.JUMP, 61.0)]
    assert 28 < found.odd[0].beside_pa < 38
    assert 61.0 not in found.facts.readings.drop_pa
    assert len(found.facts.readings.drop_pa) == 4


def test_a_low_reading_between_others_that_go_on_is_a_dip() -> None:
    facts = one_slot(days_in=300.0, readings=[(240, 40.0), (180, 47.0), (120, 20.0), (60, 62.0), (5, 71.0)])
    assert [odd.kind for odd in screened(facts).odd] == [OddKind.DIP]


def test_most_jumps_in_normal_lives_are_found_and_no_other_reading_is_taken() -> None:
    facts = normal_lives(np.random.default_rng(11), 200)
    drop, put = facts.readings.drop_pa.copy(), {}
    for life in range(200):
        rows = np.flatnonzero(facts.readings.life == life)
        put[life] = rows[len(rows) // 2 - 1]
        drop[put[life]] *= 1.9
    odd = screened(with_readings(facts, drop)).odd
    right = [one for one in odd if one.at == facts.readings.at[put[one.slot]]]
    assert len({one.slot for one in right}) >= 130
    assert len(odd) - len(right) <= 20


def test_a_hidden_change_does_not_drag_the_date() -> None:
    """The last two readings come from a filter some ninety days old; its change told is the yardstick."""
    read = [(200, 35.0), (120, 62.0), (60, 27.0), (10, 33.0)]
    unreported = forecast(one_slot(days_in=300.0, readings=read), Settings())
    told = forecast(one_slot(days_in=90.0, readings=read[2:], past=[(300.0, read[:2])]), Settings())
    as_dated = date.fromordinal(int(unreported.p50[0]))
    assert abs((as_dated - date.fromordinal(int(told.p50[0]))).days) < 60
    assert unreported.began[0] > AS_OF - 120
    assert unreported.run_hours[0] == pytest.approx(300 * 6.0)


def test_a_thousand_readings_in_a_day_are_no_trouble() -> None:
    rng = np.random.default_rng(3)
    read = [(1.0 - row / 1001, float(30 + 2 * rng.standard_normal())) for row in range(1000)]
    found = screened(one_slot(readings=read))
    assert len(found.odd) <= 6


def test_readings_without_a_clean_drop_are_not_judged() -> None:
    facts = one_slot(clean_pa=np.nan, days_in=300.0, readings=[(120, 62.0), (60, 27.0), (10, 33.0)])
    assert screened(facts).odd == []


def test_what_a_life_would_explain_is_no_more_than_a_blower_moves() -> None:
    """The last of five readings lies far along the steep curve that the others leave."""
    read = [(827.0, 179.2), (514.0, 155.0), (318.0, 379.4), (240.0, 285.3), (11.0, 172.1)]
    [odd] = [odd for odd in screened(one_slot(days_in=1200.0, readings=read)).odd if odd.at > AS_OF - 30]
    assert odd.kind is OddKind.DIP
    assert odd.seen_pa < odd.beside_pa <= HIGHEST_PA


@pytest.mark.parametrize(
    ("times", "kind"), [(1.15, OddKind.FALL), (1.24, OddKind.UNDER_EARLIER), (1.5, None)]
)
def test_no_fall_beyond_the_meters_scatter_is_swallowed(times: float, kind: OddKind | None) -> None:
    readings = [(ago, CLEAN_PA * ratio) for ago, ratio in ((40.0, 1.6), (20.0, 1.8), (5.0, times))]
    odd = screened(one_slot(readings=readings, days_in=100.0)).odd
    assert [one.kind for one in odd] == ([kind] if kind else [])
    if kind is OddKind.UNDER_EARLIER:
        assert (odd[0].at, odd[0].seen_pa) == (AS_OF - 4.0, pytest.approx(times * CLEAN_PA))
        assert odd[0].beside_pa == pytest.approx(1.7 * CLEAN_PA)


@pytest.mark.parametrize("count", [4, 26, 180])
def test_one_of_many_readings_that_lies_low_is_no_finding(count: int) -> None:
    rng, told = np.random.default_rng(count), 0
    ago = np.linspace(90.0, 0.5, count)
    for _ in range(60):
        drop = CLEAN_PA * (1.0 + (100.0 - ago) / 100.0)
        seen = drop * (1.0 + METHOD_SHARE * rng.standard_normal(count)) + METER_PA * rng.standard_normal(
            count
        )
        facts = one_slot(readings=list(zip(ago.tolist(), seen.tolist(), strict=True)), days_in=100.0)
        told += sum(one.kind is OddKind.UNDER_EARLIER for one in screened(facts).odd)
    assert told <= 2
