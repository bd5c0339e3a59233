"""The chance of being past the limit against draws of the same law, and against itself as days go by."""

from functools import cache

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import ndtr

from schedules.planning.chance import (
    HOLDS_ON,
    HOURS_SPREAD,
    LASTING_SPREAD,
    WANDER_OF_LIVES,
    Scatter,
    crossing,
    pace,
    reach,
)
from schedules.planning.interval import YearAhead, outlook
from schedules.planning.loading import SHAPES, Prior, dose_at, growth
from schedules.planning.pooling import Law
from tests.schedules.planning.test_interval import shifted
from tests.schedules.planning.test_loading import learned, read_at

ONE = np.array([0])
DAILY_M = 3e4
LOGGED = Scatter(np.zeros(1), Prior().life)
LEARNED = {
    "nothing": learned([]),
    "one reading": learned(read_at(0.3, 0.7, 0.5)),
    "past lives": learned(read_at(0.4, 0.7, 0.5, 0.9), read_at(0.2, 0.7, 0.7), []),
    "unlike its past": learned(read_at(0.9, 0.7, 0.5, 0.9), read_at(-0.4, 0.7, 0.3, 0.5)),
}
COUNT = 400_000


Drawn = tuple[np.ndarray, np.ndarray, np.ndarray]


@cache
def drawn_of(name: str) -> Drawn:
    return drawn(LEARNED[name])


def drawn(one: Law) -> Drawn:
    """Supposition, log pace so far and log pace to come of so many filters, drawn one by one."""
    rng = np.random.default_rng(3)
    shape = rng.choice(one.weight.shape[1], COUNT, p=one.weight[0] / one.weight[0].sum())
    both = np.stack(
        [
            rng.multivariate_normal(
                [one.now[0, k], one.house[0, k]],
                [
                    [one.now_var[0, k], one.covariance[0, k]],
                    [one.covariance[0, k], one.house_var[0, k]],
                ],
                COUNT,
            )
            for k in range(one.weight.shape[1])
        ]
    )
    now, house = both[shape, np.arange(COUNT)].T
    return shape, now, (1 - HOLDS_ON) * house + HOLDS_ON * now


@pytest.mark.parametrize("name", sorted(LEARNED))
@pytest.mark.parametrize("used", [1e4, 1e6, 3e6, 8e6])
@pytest.mark.parametrize("days", [0, 7, 60, 365])
def test_the_chance_is_the_share_of_drawn_filters_past_the_limit(name: str, used: float, days: int) -> None:
    one, ratio = LEARNED[name], 2.0
    shape, so_far, to_come = drawn_of(name)
    spread = float(LOGGED.over(np.array([days]), ONE)[0])
    scatter = np.exp(spread * np.random.default_rng(4).standard_normal(COUNT))
    dose = np.exp(so_far) * used + np.exp(to_come) * days * DAILY_M * scatter
    past = float(np.mean(dose >= dose_at(np.array(ratio), SHAPES)[shape]))
    where = reach(one, np.array([ratio]), np.array([used]))
    told = where.after(np.array([days * DAILY_M]), np.array([spread]), ONE) if days else where.past
    # Two thousandths are the draws' own scatter; the rest is the sum of two lognormals taken for one.
    assert float(told[0]) == pytest.approx(past, abs=0.012)


@pytest.mark.parametrize("name", sorted(LEARNED))
def test_the_ratio_now_is_the_middle_of_the_drawn_ones(name: str) -> None:
    one, used = LEARNED[name], 2e6
    shape, so_far, _ = drawn_of(name)
    middle = np.median(growth(np.exp(so_far) * used, SHAPES[shape]))
    assert float(pace(one, np.array([used])).present.ratio(0.5)[0]) == pytest.approx(middle, rel=0.005)


@pytest.mark.parametrize("name", ["nothing", "one reading", "past lives"])
@pytest.mark.parametrize("log", [-0.3, 0.0, 0.3, 0.6])
def test_a_day_told_stands_as_it_comes_nearer_where_nothing_new_is_read(name: str, log: float) -> None:
    """A household told "in five weeks" is not told the same a month later."""
    one = shifted(LEARNED[name], log)
    ahead = YearAhead(np.cumsum(np.full((1, 365), DAILY_M), axis=1))

    def due(after: int, used: float) -> int:
        where = reach(one, np.array([2.0]), np.array([used + after * DAILY_M]))
        return after + int(outlook(where, ahead, LOGGED).until(0.2)[0])

    # Begin where the day lies some five weeks ahead.
    begin = (due(0, 1e4) - 35) * DAILY_M
    first = due(0, begin)
    told = [due(after, begin) for after in range(0, first, 3)]
    assert max(abs(day - first) for day in told) <= 6


def test_a_share_of_the_way_is_where_the_chance_was_reached() -> None:
    one, used = LEARNED["past lives"], np.array([9e6])
    share = reach(one, np.array([2.0]), used).share(np.array([0.2]))
    assert 0 < share[0] < 1
    assert reach(one, np.array([2.0]), used * share).past[0] == pytest.approx(0.2, abs=1e-6)


@pytest.mark.parametrize("chance", [0.02, 0.2, 0.5, 0.9])
def test_a_crossing_is_where_scipy_finds_the_root(chance: float) -> None:
    """Of mixtures of two normals that lie apart, one of them narrow; brentq is scipy's."""
    rng = np.random.default_rng(7)
    middle, spread, part = rng.normal(0, 1, (2, 40)), rng.uniform(0.1, 1.0, (2, 40)), rng.uniform(0, 1, 40)

    def by(at: np.ndarray) -> np.ndarray:
        first, second = ndtr((at - middle) / spread)
        return np.asarray(part * first + (1 - part) * second)

    found = crossing(by, chance, np.full(40, -5.0), np.full(40, 5.0), steps=19)
    wanted = [brentq(lambda at, k=k: by(np.full(40, at))[k] - chance, -5, 5) for k in range(40)]
    assert found == pytest.approx(wanted, abs=1e-3)


def test_a_crossing_beyond_the_ends_is_the_nearer_end() -> None:
    assert crossing(ndtr, 0.9, np.array([-1.0]), np.array([1.0]), steps=40) == pytest.approx([1.0], abs=1e-6)
    assert crossing(ndtr, 0.1, np.array([-1.0]), np.array([1.0]), steps=40) == pytest.approx([-1.0], abs=1e-6)


def test_a_limit_at_or_below_clean_is_passed_at_once() -> None:
    where = reach(LEARNED["nothing"], np.array([0.8]), np.array([0.0]))
    assert where.past[0] == pytest.approx(1.0)


def test_what_wanders_averages_out_and_what_is_not_logged_stays() -> None:
    """The mean over T days of what wanders with a memory of 30: 2 x (1 - x (1 - exp(-1/x))), x = 30/T,
    held to a walk drawn day by day."""
    rng, days, lives = np.random.default_rng(8), 90, 0.3
    keep = np.exp(-1 / 30.0)
    walk = np.empty((20_000, days))
    walk[:, 0] = rng.standard_normal(len(walk))
    for day in range(1, days):
        walk[:, day] = keep * walk[:, day - 1] + np.sqrt(1 - keep**2) * rng.standard_normal(len(walk))
    drawn_spread = WANDER_OF_LIVES * lives * walk.mean(axis=1).std()
    logged, none = (
        float(Scatter(np.array([part]), lives).over(np.array([days]), ONE)[0]) for part in (0.0, 1.0)
    )
    assert np.sqrt(logged**2 - LASTING_SPREAD**2) == pytest.approx(drawn_spread, rel=0.03)
    assert np.sqrt(none**2 - logged**2) == pytest.approx(HOURS_SPREAD)


def test_lives_that_differ_more_make_wider_dates() -> None:
    days = np.array([60])
    near, far = (float(Scatter(np.zeros(1), lives).over(days, ONE)[0]) for lives in (0.15, 0.5))
    assert near < far
