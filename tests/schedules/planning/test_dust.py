"""Dust of a day: what a spell and fine dust do to the factor, and the factor to the dates."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedules.planning.curve import life_path
from schedules.planning.dust import Spell, air_factors, counting, day_factors
from schedules.planning.facts import FleetFacts, Settings
from schedules.planning.forecast import FleetForecast, forecast
from schedules.planning.interval import NEVER, YearAhead
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot

LOG_DAYS = 400
FIRST = AS_OF + 1 - LOG_DAYS
WHEN = st.integers(min_value=-200, max_value=200)
FACTOR = st.floats(min_value=1.0, max_value=20.0)


def dusty(facts: FleetFacts, *spells: Spell) -> FleetForecast:
    past = day_factors(spells, FIRST, LOG_DAYS)[None, :]
    ahead = day_factors(spells, AS_OF + 1, 365)[None, :]
    return forecast(replace(facts, systems=replace(facts.systems, dust=past, dust_ahead=ahead)), Settings())


def days_of(result: FleetForecast) -> list[int]:
    return [int(value[0]) for value in (result.due, result.p10, result.p50, result.p90)]


def smoke(first: int, last: int, factor: float = 3.0) -> Spell:
    return Spell("smoke", AS_OF + first, AS_OF + last, factor)


def test_a_factor_of_one_changes_no_bit() -> None:
    facts = one_slot(readings=[(30.0, 1.3 * CLEAN_PA)])
    plain, ones = forecast(facts, Settings()), dusty(facts)
    for name in ("due", "reason", "p10", "p50", "p90", "drop_now_pa", "run_hours", "used_m"):
        assert getattr(plain, name).tobytes() == getattr(ones, name).tobytes()


@settings(max_examples=40)
@given(start=st.integers(min_value=-59, max_value=0), length=st.integers(0, 30), factor=FACTOR)
def test_dust_while_the_filter_was_in_makes_no_date_later(start: int, length: int, factor: float) -> None:
    facts = one_slot()
    plain, moved = forecast(facts, Settings()), dusty(facts, smoke(start, start + length, factor))
    assert all(one <= other for one, other in zip(days_of(moved), days_of(plain), strict=True))
    assert moved.drop_now_pa[0] >= plain.drop_now_pa[0]
    assert moved.run_hours[0] == plain.run_hours[0]


@settings(max_examples=40)
@given(start=st.integers(min_value=1, max_value=400), length=st.integers(0, 60), factor=FACTOR)
def test_announced_dust_makes_no_date_later(start: int, length: int, factor: float) -> None:
    facts = one_slot()
    plain, moved = forecast(facts, Settings()), dusty(facts, smoke(start, start + length, factor))
    assert all(one <= other for one, other in zip(days_of(moved), days_of(plain), strict=True))
    assert moved.drop_now_pa[0] == plain.drop_now_pa[0]


def test_three_times_the_dust_for_all_its_life_is_three_times_the_air_passed() -> None:
    facts = one_slot()
    plain, moved = forecast(facts, Settings()), dusty(facts, smoke(-80, 0))
    assert moved.used_m[0] == pytest.approx(3 * plain.used_m[0])


def test_dust_before_the_filter_went_in_leaves_its_load_and_dates_alone() -> None:
    facts = one_slot()
    plain, moved = forecast(facts, Settings()), dusty(facts, smoke(-200, -120, 10.0))
    assert days_of(moved) == days_of(plain)
    assert moved.drop_now_pa[0] == pytest.approx(plain.drop_now_pa[0], rel=1e-9)


def test_dust_far_after_the_filter_is_full_leaves_its_dates_alone() -> None:
    facts = one_slot(readings=[(0.5, 1.9 * CLEAN_PA)])
    plain, moved = forecast(facts, Settings()), dusty(facts, smoke(350, 364, 10.0))
    assert plain.p90[0] < AS_OF + 340
    assert days_of(moved) == days_of(plain)


def test_a_drop_explained_by_smoke_does_not_make_the_house_a_dusty_one() -> None:
    """The same reading after a smoky month leaves more days than after a usual one."""
    facts = one_slot(readings=[(0.5, 1.6 * CLEAN_PA)])
    plain, moved = forecast(facts, Settings()), dusty(facts, smoke(-40, -10, 5.0))
    assert moved.p50[0] > plain.p50[0]


def test_the_day_it_was_past_comes_earlier_by_the_smoke_before_it() -> None:
    full = one_slot(days_in=300.0, readings=[(0.5, 2.6 * CLEAN_PA)], limit_pa=1.3 * CLEAN_PA)
    plain = forecast(full, Settings())
    assert plain.due[0] < AS_OF
    moved = dusty(full, smoke(-299, -250, 8.0))
    assert moved.due[0] < plain.due[0]


def test_announced_dust_adds_to_the_first_year_alone() -> None:
    usual = np.cumsum(np.full((1, 365), 2.0), axis=1)
    surplus = np.cumsum(np.where(np.arange(365) < 10, 4.0, 0.0))[None, :]
    days = np.array([[0, 5, 10, 365, 730, 3650]])
    assert YearAhead(usual, surplus).until(days).tolist() == [[0, 30, 60, 770, 1500, 7340]]


def test_the_drawn_path_ends_and_begins_where_the_forecast_does() -> None:
    facts = one_slot()
    past = day_factors([smoke(-20, 40)], FIRST, LOG_DAYS)[None, :]
    ahead = day_factors([smoke(-20, 40)], AS_OF + 1, 365)[None, :]
    facts = replace(facts, systems=replace(facts.systems, dust=past, dust_ahead=ahead))
    result = forecast(facts, Settings())
    path = life_path(facts, result, 0, int(result.p90[0]))
    now = np.flatnonzero(path.days == AS_OF + 1.0)[0]
    assert path.middle[now] == pytest.approx(result.drop_now_pa[0], rel=1e-6)
    assert path.middle[0] == pytest.approx(CLEAN_PA)
    assert (np.diff(path.middle) >= -1e-9).all()


def test_no_factor_in_reach_makes_a_date_impossible() -> None:
    facts = one_slot(days_in=1.0)
    for factor in (0.1, 20.0):
        result = dusty(facts, smoke(-399, 364, factor))
        assert all(AS_OF <= day <= AS_OF + 3652 or day == NEVER for day in days_of(result))
        assert np.isfinite(result.drop_now_pa).all()


def test_two_words_for_one_smoke_count_once_and_kinds_multiply() -> None:
    spells = [
        smoke(0, 4, 3.0),
        smoke(2, 6, 2.0),
        Spell("renovation", AS_OF + 4, AS_OF + 5, 4.0),
    ]
    found = day_factors(spells, AS_OF, 8)
    assert found == pytest.approx([3, 3, 3, 3, 12, 8, 2, 1])


def test_less_dust_than_usual_is_a_factor_too_and_all_stays_within_bounds() -> None:
    kinds = [Spell(kind, AS_OF, AS_OF, 10.0) for kind in ("smoke", "pollen", "renovation")]
    assert day_factors(kinds, AS_OF, 1) == pytest.approx([20])
    assert day_factors([smoke(0, 0, 0.5)], AS_OF, 2) == pytest.approx([0.5, 1])


def test_a_spell_out_of_sight_is_no_spell() -> None:
    spells = [smoke(-50, -40), smoke(90, 99)]
    assert day_factors(spells, AS_OF, 20).tolist() == [1.0] * 20


def test_only_days_above_twice_the_median_count_and_in_part_only() -> None:
    pm = np.full(100, 10.0)
    pm[:4] = [20.0, 21.0, 40.0, 500.0]
    pm[50] = np.nan
    found = air_factors(pm)
    assert found[:4] == pytest.approx([1.0, 1 + 0.3 * 0.1, 1 + 0.3 * 2, 4.0])
    assert found[4:].tolist() == [1.0] * 96


def test_neither_a_day_more_of_a_young_station_nor_a_little_more_smoke_makes_a_jump() -> None:
    told = [air_factors(np.array([10.0] * days + [60.0]))[-1] for days in range(20, 120)]
    assert np.abs(np.diff(told)).max() < 0.03
    assert (told[0], told[-1]) == pytest.approx((1.0, 1 + 0.3 * 4))
    smoke = [air_factors(np.array([10.0] * 99 + [pm]))[-1] for pm in np.arange(15.0, 30.0, 0.1)]
    assert np.abs(np.diff(smoke)).max() < 0.01


def test_too_few_days_or_clean_air_say_nothing() -> None:
    assert air_factors(np.array([1.0] * 29 + [900.0])).tolist() == [1.0] * 30
    assert air_factors(np.array([0.0] * 99 + [3.9])).tolist() == [1.0] * 100
    assert air_factors(np.zeros(0)).tolist() == []


def test_measured_and_told_smoke_of_one_day_count_once() -> None:
    measured = {"smoke": np.array([1.0, 2.5, 2.5])}
    assert day_factors([smoke(1, 1, 3.0)], AS_OF, 3, measured) == pytest.approx([1, 3, 2.5])


def test_what_another_of_its_kind_covers_is_not_told() -> None:
    smoke, weaker, longer = (
        Spell("smoke", 10, 40, 3.0),
        Spell("smoke", 12, 20, 2.0),
        Spell("smoke", 12, 50, 2.0),
    )
    pollen, again = Spell("pollen", 12, 20, 2.0), Spell("smoke", 10, 40, 3.0)
    assert counting([weaker, smoke, longer, pollen, again]) == [smoke, longer, pollen]
    whole = day_factors([weaker, smoke, longer, pollen, again], 1, 60)
    assert (day_factors(counting([weaker, smoke, longer, pollen, again]), 1, 60) == whole).all()
