"""Whether work fits those who can do it: by hand, and against the flow as a linear program."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import linprog

from schedules.planning.season_capacity import (
    MOST_CLASSES,
    carried,
    chance_past,
    collections,
    done_of,
    fewer_classes,
    fit,
    left_for,
)

GAS, COLD = 1, 2


def test_a_skill_counts_only_those_who_have_it() -> None:
    # 300 minutes of gas, one of two technicians has it: 60 short, though 480 minutes are there.
    found = fit(np.array([GAS, 0]), np.array([[300.0], [100.0]]), np.array([GAS, 0]), np.full((2, 1), 240.0))
    assert found.short[0] == pytest.approx(60)
    assert found.fullest[0] == pytest.approx(300 / 240)
    assert found.holds[0].tolist() == [True, False]


def test_all_work_together_may_be_the_tightest() -> None:
    found = fit(np.array([GAS, 0]), np.array([[200.0], [300.0]]), np.array([GAS, 0]), np.full((2, 1), 240.0))
    assert found.short[0] == pytest.approx(20)
    assert found.holds[0].tolist() == [True, True]


def test_two_skills_that_one_person_has_fill_that_person_together() -> None:
    needs, has = np.array([GAS, COLD]), np.array([GAS | COLD, 0])
    found = fit(needs, np.array([[150.0], [150.0]]), has, np.full((2, 1), 240.0))
    assert found.short[0] == pytest.approx(60)
    assert found.holds[0].tolist() == [True, True]


def test_nobody_at_all() -> None:
    found = fit(np.array([GAS]), np.array([[30.0, 0.0]]), np.zeros(0, dtype=np.int64), np.zeros((0, 2)))
    assert found.short.tolist() == [30, 0]
    assert found.fullest.tolist() == [np.inf, 0]


def unserved(needs: np.ndarray, work: np.ndarray, has: np.ndarray, there: np.ndarray) -> float:
    """What the best assignment leaves, by the flow from classes to technicians."""
    pairs = [(k, m) for k in range(len(needs)) for m in range(len(has)) if not needs[k] & ~has[m]]
    if not pairs:
        return float(work.sum())
    rows = [[float(pair[0] == k) for pair in pairs] for k in range(len(needs))]
    rows += [[float(pair[1] == m) for pair in pairs] for m in range(len(has))]
    best = linprog(-np.ones(len(pairs)), A_ub=rows, b_ub=[*work, *there], method="highs")
    return float(work.sum() + best.fun)


@pytest.mark.parametrize("seed", range(30))
def test_what_is_short_is_what_the_best_assignment_leaves(seed: int) -> None:
    rng = np.random.default_rng(seed)
    needs = rng.choice(8, size=rng.integers(1, 6), replace=False).astype(np.int64)
    has = rng.integers(0, 8, size=rng.integers(0, 5)).astype(np.int64)
    work, there = rng.uniform(0, 500, len(needs)), rng.uniform(0, 500, len(has))
    found = fit(needs, work[:, None], has, there[:, None])
    assert found.short[0] == pytest.approx(unserved(needs, work, has, there), abs=1e-6)


def test_too_many_sets_of_skills_are_refused_and_can_be_made_fewer() -> None:
    needs = np.arange(20, dtype=np.int64)
    with pytest.raises(ValueError, match="too many"):
        collections(needs, needs)
    few = fewer_classes(needs, np.arange(20.0)[:, None])
    assert len(np.unique(few)) <= MOST_CLASSES
    assert set(few[10:]) == set(range(10, 20))


def greatest_flow(wanted: np.ndarray, there: np.ndarray, needs: np.ndarray, has: np.ndarray) -> float:
    """By scipy.optimize.linprog, minutes of every class to every kind that can do it."""
    able = (needs[:, None] & ~has[None, :]) == 0
    pairs = [(k, m) for k in range(len(needs)) for m in range(len(has)) if able[k, m]]
    if not pairs:
        return 0.0
    limits = np.zeros((len(needs) + len(has), len(pairs)))
    for column, (k, m) in enumerate(pairs):
        limits[k, column] = limits[len(needs) + m, column] = 1.0
    told = linprog(-np.ones(len(pairs)), A_ub=limits, b_ub=[*wanted, *there], method="highs")
    return float(-told.fun)


@settings(max_examples=40)
@given(st.data())
def test_done_and_left_are_those_of_the_greatest_flow(data: st.DataObject) -> None:
    needs = np.array(data.draw(st.lists(st.integers(0, 7), min_size=1, max_size=5, unique=True)))
    has = np.array(data.draw(st.lists(st.integers(0, 7), min_size=1, max_size=4)))
    some = st.integers(0, 200)
    wanted = np.array(data.draw(st.lists(some, min_size=len(needs), max_size=len(needs))), dtype=float)
    there = np.array(data.draw(st.lists(some, min_size=len(has), max_size=len(has))), dtype=float)
    done = done_of(collections(needs, has), wanted, there)
    best = greatest_flow(wanted, there, needs, has)
    assert done.sum() == pytest.approx(best, abs=1e-6)
    assert ((done >= 0) & (done <= wanted + 1e-9)).all()
    need = 8
    skilled = has | data.draw(st.sampled_from([0, 8])) * (np.arange(len(has)) % 2)
    left = left_for(need, needs, wanted[:, None], skilled, there[:, None])
    both = greatest_flow(np.append(wanted, there.sum()), there, np.append(needs, need), skilled)
    assert left[0] == pytest.approx(both - greatest_flow(wanted, there, needs, skilled), abs=1e-6)


def test_what_waits_is_carried_by_hand() -> None:
    """Two of fifty minutes, one with gas; plain work 51 and gas 150: a hundred are done, 101 wait."""
    needs, has = np.array([0, 1]), np.array([1, 0])
    minutes = np.array([[51.0, 0.0, 0.0], [150.0, 0.0, 0.0]])
    there = np.full((2, 3), 50.0)
    told = carried(needs, minutes, np.zeros_like(minutes), has, there)
    assert told[:, :2].tolist() == [[0.0, 0.0], [0.0, 101.0]]
    # Of the gas 90 stand on their day: they are too many there, and wait for no other week.
    told = carried(needs, minutes, np.array([[0.0, 0.0, 0.0], [90.0, 0.0, 0.0]]), has, there)
    assert told[:, 1].tolist() == [1.0, 60.0]
    # A week of booked gas, and plain work that has no time beside it: all of the plain work waits.
    one = carried(needs, np.array([[44.0, 0.0], [60.0, 0.0]]), np.array([[0.0, 0.0], [60.0, 0.0]]),
                  np.array([1]), np.full((1, 2), 60.0))  # fmt: skip
    assert one[:, 1].tolist() == [44.0, 0.0]


def test_the_chance_of_a_week_is_that_of_its_tightest_class() -> None:
    """By hand and scipy: gas wants 40 +- 10 of 50 minutes, all together 90 +- 10 of 150."""
    needs, has = np.array([0, 1]), np.array([1, 0, 0])
    minutes, variance = np.array([[50.0], [40.0]]), np.array([[0.0], [100.0]])
    chance = chance_past(needs, minutes, variance, has, np.full((3, 1), 50.0))
    assert chance[0] == pytest.approx(stats.norm.sf(1.0), abs=1e-4)
    certain = chance_past(needs, np.array([[0.0], [120.0]]), np.zeros((2, 1)), has, np.full((3, 1), 60.0))
    assert certain[0] == pytest.approx(1.0)
    assert chance_past(needs, np.zeros((2, 1)), variance, has, np.zeros((3, 1)))[0] == 0.0
    assert chance_past(needs[:0], minutes[:0], variance[:0], has, np.zeros((3, 1)))[0] == 0.0
    # Wood and plain beside it: what the one with gas cannot do takes nothing of them.
    left = left_for(
        1, np.array([2, 0]), np.array([[300.0], [50.0]]), np.array([1, 2]), np.full((2, 1), 100.0)
    )
    assert left.tolist() == [50.0]
