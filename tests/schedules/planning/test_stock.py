"""Stock levels, against scipy's distributions and by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, poisson_binom

from schedules.planning import stock

chances = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=40)


@given(chances)
def test_the_counts_are_those_of_scipys_poisson_binomial(expected: list[float]) -> None:
    """scipy.stats.poisson_binom, which takes at most some sixty chances."""
    told = stock.count_chances(np.array(expected))
    whole = np.zeros(len(expected) + 1)
    whole[: len(told)] = told
    fair = poisson_binom(expected).pmf(np.arange(len(expected) + 1))
    assert whole == pytest.approx(fair, abs=1e-9)
    assert told.sum() == pytest.approx(1.0)


@pytest.mark.parametrize("level", [0.5, 0.9, 0.95, 0.99])
@pytest.mark.parametrize(("n", "p"), [(12, 0.25), (300, 0.1), (1400, 0.03)])
def test_equal_chances_are_a_binomial(n: int, p: float, level: float) -> None:
    """scipy.stats.binom.ppf."""
    assert stock.enough(np.full(n, p), level) == binom.ppf(level, n, p)


def test_what_is_expected_more_than_once_is_sure_so_often() -> None:
    told = stock.count_chances(np.array([2.25, 1.0, 0.0]))
    assert told == pytest.approx([0.0, 0.0, 0.0, 0.75, 0.25])
    assert stock.enough(np.array([2.25, 1.0]), 0.7) == 3
    assert stock.enough(np.array([2.25, 1.0]), 0.8) == 4


@pytest.mark.parametrize("level", [0.95, 0.999])
@pytest.mark.parametrize(("n", "p"), [(1600, 0.003), (9000, 0.01)])
def test_many_filters_are_as_exact(n: int, p: float, level: float) -> None:
    """scipy.stats.binom.ppf, where a normal approximation is one short."""
    assert stock.enough(np.full(n, p), level) == binom.ppf(level, n, p)


def test_the_newsvendors_rule_finds_the_cheapest_stock() -> None:
    """Worked by hand and by trying every stock: one short costs 30, one over costs 2."""
    expected = np.array([0.9, 0.5, 0.5, 0.2, 0.1])
    level = stock.critical_ratio(30.0, 2.0)
    assert level == pytest.approx(0.9375)
    chance = stock.count_chances(expected)
    demand = np.arange(len(chance))

    def price(held: int) -> float:
        return float((chance * (30 * np.maximum(demand - held, 0) + 2 * np.maximum(held - demand, 0))).sum())

    assert stock.enough(expected, level) == min(range(6), key=price)


def test_each_kind_by_itself() -> None:
    expected, kind = np.array([0.5, 1.0, 0.5, 0.0]), np.array([2, 0, 2, 1])
    assert stock.enough_of_each(expected, kind, 4, 0.9).tolist() == [1, 0, 2, 0]


@given(st.lists(st.integers(0, 40), min_size=1, max_size=12), st.integers(0, 90))
def test_a_vans_room_is_kept_and_filled(wanted: list[int], room: int) -> None:
    kept = stock.share_room(np.array(wanted), room)
    assert kept.sum() == min(sum(wanted), room)
    assert (kept <= np.array(wanted)).all()
    assert (kept >= 0).all()


@pytest.mark.parametrize("level", [0.0, 1.0, -1.0])
def test_a_level_is_a_share(level: float) -> None:
    with pytest.raises(ValueError, match="share"):
        stock.enough(np.array([0.5]), level)


def test_senseless_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="nothing"):
        stock.count_chances(np.array([-0.1]))
    with pytest.raises(ValueError, match="prices"):
        stock.critical_ratio(0.0, 0.0)
