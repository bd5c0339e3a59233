"""Grille readings, drops beyond the blower, silent logs: found where they are, silent elsewhere."""

import numpy as np
import pytest

from schedules.planning.visit_rules import (
    beyond_blower,
    grille_readings,
    high_when_new,
    highest_static,
    log_stopped,
)
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA
from tests.schedules.planning.lives import as_read, days_to_double, true_drop

GRILLE_PA = 45.0


def marked(life: np.ndarray, age: np.ndarray, drop: np.ndarray, clean: float) -> np.ndarray:
    return grille_readings(life, age, drop, np.full(len(life), clean))


def visits(rng: np.random.Generator, extra_pa: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Two or three lives of one slot, each read soon after its change and once or twice later."""
    doubling = float(days_to_double(rng, 1)[0])
    life, age, drop = [], [], []
    for number in range(int(rng.integers(2, 4))):
        longest = min(180.0, 1.3 * doubling + 10)
        ages = np.sort(np.append(rng.uniform(1, 6), rng.uniform(10, longest, rng.integers(1, 3))))
        said = as_read(rng, 1.05 * true_drop(ages, doubling, 1.3) + extra_pa)
        life += [number] * len(ages)
        age += ages.tolist()
        drop += said.tolist()
    return np.array(life), np.array(age), np.array(drop)


def test_filters_read_rightly_are_hardly_ever_taken_for_grilles() -> None:
    rng = np.random.default_rng(21)
    assert sum(marked(*visits(rng, 0.0), CLEAN_PA).any() for _ in range(500)) < 10


def test_a_grille_read_with_the_filter_is_found_at_nearly_every_slot() -> None:
    rng = np.random.default_rng(22)
    assert sum(marked(*visits(rng, GRILLE_PA), CLEAN_PA).any() for _ in range(200)) > 190


def test_all_readings_of_such_a_slot_are_marked() -> None:
    life, age = np.array([0, 0, 1, 1]), np.array([3.0, 90.0, 2.0, 60.0])
    assert marked(life, age, np.array([72.0, 84.0, 70.0, 78.0]), CLEAN_PA).all()


def test_one_high_first_reading_with_lower_ones_after_it_is_no_grille() -> None:
    age = np.array([3.0, 60.0, 120.0])
    assert not marked(np.zeros(3, int), age, np.array([72.0, 30.0, 34.0]), CLEAN_PA).any()


def test_readings_that_stay_the_same_from_young_to_old_hold_more_than_a_filter() -> None:
    age = np.array([20.0, 90.0, 170.0])
    assert marked(np.zeros(3, int), age, np.array([74.0, 77.0, 73.0]), CLEAN_PA).all()


def test_one_reading_alone_is_never_a_grille() -> None:
    assert not marked(np.zeros(1, int), np.array([3.0]), np.array([90.0]), CLEAN_PA).any()


@pytest.mark.parametrize("clean", [np.nan, 0.0])
def test_without_a_clean_drop_nothing_is_judged(clean: float) -> None:
    assert not marked(np.zeros(2, int), np.array([3.0, 9.0]), np.array([90.0, 95.0]), clean).any()


def test_the_blower_table_goes_before_the_rating() -> None:
    assert highest_static([[0.2, 180.0], [0.4, 120.0]], 125.0) == 180.0
    assert highest_static([], 125.0) == pytest.approx(187.5)
    assert highest_static([], None) == np.inf


def test_a_drop_beyond_the_blower_is_one_that_the_meter_cannot_excuse() -> None:
    assert beyond_blower(np.array([150.0, 181.0, 194.0, 250.0]), 180.0).tolist() == [
        False, False, True, True,
    ]  # fmt: skip
    assert not beyond_blower(np.array([9000.0]), np.inf).any()


def test_a_log_that_stopped_a_fortnight_ago_is_told_and_a_gap_of_thirteen_days_is_not() -> None:
    last = np.array([AS_OF - 14, AS_OF - 13])
    assert log_stopped(np.array([87, 88]), last, AS_OF).tolist() == [True, False]


def test_a_system_that_never_kept_a_log_has_none_that_stopped() -> None:
    assert not log_stopped(np.array([0, 20]), np.array([0, AS_OF - 40]), AS_OF).any()


def test_a_reading_repeated_in_the_same_visit_is_no_second_witness() -> None:
    age = np.array([0.001, 0.002])
    assert not marked(np.zeros(2, int), age, np.array([90.0, 90.0]), CLEAN_PA).any()


def test_lives_read_rightly_when_new_are_never_taken_for_grille_readings() -> None:
    life, age = np.array([0, 0, 1, 1]), np.array([1.0, 170.0, 2.0, 60.0])
    drop = np.array([CLEAN_PA, 80.0, 75.0, 82.0])
    assert marked(life, age, drop, CLEAN_PA).tolist() == [False, False, True, True]


def test_a_new_filter_far_above_clean_is_told_at_once() -> None:
    age, drop = np.array([0.01, 0.01]), np.array([1.05, 1.6]) * CLEAN_PA
    told = high_when_new(np.array([0, 1]), age, drop, np.full(2, CLEAN_PA))
    assert told.tolist() == [False, True]


def test_a_filter_is_high_when_new_only_in_its_first_week_and_while_nothing_lower_follows() -> None:
    life, clean = np.zeros(2, int), np.full(2, CLEAN_PA)
    old, followed = np.array([20.0, 30.0]), np.array([1.0, 30.0])
    drop = np.array([1.8, 1.1]) * CLEAN_PA
    assert not high_when_new(life, old, drop, clean).any()
    assert not high_when_new(life, followed, drop, clean).any()


def test_filters_read_rightly_are_hardly_ever_high_when_new() -> None:
    rng, high, fresh = np.random.default_rng(23), 0, 0
    for _ in range(500):
        life, age, drop = visits(rng, 0.0)
        high += int(high_when_new(life, age, drop, np.full(len(life), CLEAN_PA)).sum())
        fresh += int((age <= 7).sum())
    assert fresh > 1000
    assert high < 0.01 * fresh
