"""Whether work fits those who can do it: by hand, and against the flow as a linear program."""

import numpy as np
import pytest
from scipy.optimize import linprog

from schedules.planning.season_capacity import MOST_CLASSES, collections, fewer_classes, fit

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
