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


def lots(expected: list[float], kind: list[int], size: list[int] | None = None) -> stock.Lots:
    sizes = np.ones(len(kind), dtype=np.int64) if size is None else np.array(size)
    return stock.Lots(np.array(kind), np.array(expected), sizes)


def test_each_kind_by_itself() -> None:
    some = lots([0.5, 1.0, 0.5, 0.0], [2, 0, 2, 1])
    assert stock.enough_of_each(some, 4, 0.9).tolist() == [1, 0, 2, 0]
    assert stock.enough_of_each(some, 4, np.array([0.9, 0.9, 0.7, 0.9])).tolist() == [1, 0, 1, 0]


def test_lots_of_several_are_wanted_together() -> None:
    """By hand: two at once with one half, three at once with one fifth."""
    told = stock.count_chances(np.array([0.5, 0.2]), np.array([2, 3]))
    assert told == pytest.approx([0.4, 0.0, 0.4, 0.1, 0.0, 0.1])
    assert stock.enough(np.array([0.5, 0.2]), 0.8, np.array([2, 3])) == 2
    assert stock.enough(np.array([0.5, 0.2]), 0.91, np.array([2, 3])) == 5


@given(chances, st.integers(1, 4))
def test_lots_of_one_size_are_so_many_times_their_count(expected: list[float], size: int) -> None:
    told = stock.count_chances(np.array(expected), np.full(len(expected), size))
    assert told[::size] == pytest.approx(stock.count_chances(np.array(expected)), abs=1e-9)
    assert told.sum() == pytest.approx(1.0)


@given(
    st.lists(st.tuples(st.integers(0, 3), st.floats(0.0, 1.0)), min_size=1, max_size=20), st.integers(0, 30)
)
def test_a_vans_room_is_kept_and_filled_with_the_likeliest(some: list[tuple[int, float]], room: int) -> None:
    told = lots([chance for _, chance in some], [kind for kind, _ in some])
    wanted = stock.enough_of_each(told, 4, 0.9)
    (one,) = stock.shared_out([stock.shelf(told, wanted)], [room], np.full(4, np.inf))
    kept = one.counts(4)
    assert kept.sum() == min(wanted.sum(), room)
    assert (kept <= wanted).all()


def test_a_second_common_filter_goes_before_the_first_of_a_rare_one() -> None:
    """By hand: two or more of the common one are wanted with 0.81, the rare one with 0.3."""
    told = lots([0.9, 0.9, 0.3], [0, 0, 1])
    whole = stock.shelf(told, np.array([2, 1]))
    for room, held in ((2, [2, 0]), (3, [2, 1])):
        (one,) = stock.shared_out([whole], [room], np.full(2, np.inf))
        assert one.counts(2).tolist() == held


def test_what_there_is_goes_to_the_shelves_that_are_likeliest_to_use_it() -> None:
    """By hand: one shelf's filters are used with 0.9 and 0.5, the other's 0.7 and 0.1; three are there."""
    one, other = (
        stock.Shelf(np.array([0, 0]), np.array([0.9, 0.5])),
        stock.Shelf(np.array([0, 0, 1]), np.array([0.7, 0.1, 0.2])),
    )
    shared = stock.shared_out([one, other], [9, 9], np.array([3.0, np.inf]))
    assert [part.counts(2).tolist() for part in shared] == [[2, 0], [1, 1]]
    none = stock.shared_out([one, other], [9, 9], np.zeros(2))
    assert [part.counts(2).tolist() for part in none] == [[0, 0], [0, 0]]
    assert stock.shared_out([], [], np.zeros(2)) == []
    # Room that is not filled by what is not there is filled by what is.
    full = stock.Shelf(np.array([0, 0, 1, 1]), np.array([1.0, 1.0, 0.4, 0.2]))
    (held,) = stock.shared_out([full], [2], np.array([0.0, np.inf]))
    assert held.counts(2).tolist() == [0, 2]


@pytest.mark.parametrize("level", [0.0, 1.0, -1.0])
def test_a_level_is_a_share(level: float) -> None:
    with pytest.raises(ValueError, match="share"):
        stock.enough(np.array([0.5]), level)


def test_senseless_figures_are_refused() -> None:
    with pytest.raises(ValueError, match="nothing"):
        stock.count_chances(np.array([-0.1]))
    with pytest.raises(ValueError, match="prices"):
        stock.critical_ratio(0.0, 0.0)
