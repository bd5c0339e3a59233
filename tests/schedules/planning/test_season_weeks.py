"""A season dealt to weeks: small ones by trying everything, large ones by their limits."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.planning import season_weeks
from schedules.planning.season_weeks import (
    CHURN_MINUTES,
    LATE_MINUTES,
    OVER_DEAR,
    PROVED,
    Limits,
    SeasonTrips,
    areas,
    deal,
    way_minutes,
)
from schedules.season_skills import PeopleMinutes, skilled_limits


def trips(first: list[int], last: list[int], minutes: float = 60.0, **more: object) -> SeasonTrips:
    n = len(first)
    usual: dict[str, object] = {
        "branch": np.zeros(n, dtype=np.int64),
        "area": np.zeros(n, dtype=np.int64),
        "waste": np.zeros(n),
        "before": np.full(n, -1),
        "held": np.zeros(n, dtype=np.bool_),
    }
    return SeasonTrips(
        np.array(first, dtype=int), np.array(last, dtype=int), np.full(n, minutes), **{**usual, **more}
    )  # type: ignore[arg-type]


def price(of: SeasonTrips, week: np.ndarray, hours: np.ndarray, period: int, saving: float) -> float:
    """What a dealing costs, by the words of the module."""
    cost = (np.maximum(of.last - week, 0) * of.waste).sum() + saving * ((week - of.area) % period != 0).sum()
    cost += LATE_MINUTES * np.maximum(week - of.last, 0).sum()
    cost += CHURN_MINUTES * ((of.before >= 0) & (of.before != week)).sum()
    for branch, at in np.ndindex(hours.shape):
        proved = of.minutes[(of.branch == branch) & (of.before == at)].sum()
        there = max(hours[branch, at], min(proved, PROVED * hours[branch, at]))
        used = of.minutes[(of.branch == branch) & (week == at)].sum()
        cost += OVER_DEAR * max(0.0, used - there)
    return float(cost)


@given(
    windows=st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=1, max_size=6),
    room=st.lists(st.integers(0, 5), min_size=3, max_size=3),
    period=st.integers(1, 3),
    data=st.data(),
)
def test_alike_trips_are_dealt_as_cheaply_as_any_dealing(
    windows: list[tuple[int, int]], room: list[int], period: int, data: st.DataObject
) -> None:
    """Trips of one length make the program's limits whole, so that its best is the best of all dealings; but
    for weeks that the plan before filled beyond their hours, whose limit is a tenth more."""
    n = len(windows)
    before = np.array(data.draw(st.lists(st.integers(-1, 2), min_size=n, max_size=n)))
    for week, most in enumerate(room):
        before[np.flatnonzero(before == week)[most:]] = -1
    of = trips(
        [min(one) for one in windows],
        [max(one) for one in windows],
        area=np.array(data.draw(st.lists(st.integers(0, 3), min_size=n, max_size=n))),
        waste=np.array(data.draw(st.lists(st.integers(0, 20), min_size=n, max_size=n)), dtype=float),
        before=before,
    )
    hours = 60.0 * np.array([room])
    told = deal(of, hours, period, 7.0)
    best = min(
        price(of, np.array(week), hours, period, 7.0)
        for week in itertools.product(
            *(range(a, b + 1) for a, b in zip(of.first.tolist(), of.until.tolist(), strict=True))
        )
    )
    assert (told.week >= of.first).all()
    assert (told.week <= of.until).all()
    assert price(of, told.week, hours, period, 7.0) == pytest.approx(best, abs=1e-3)


def test_a_week_is_filled_no_further_than_its_hours_while_others_have_room() -> None:
    random = np.random.default_rng(3)
    n, weeks = 600, 12
    first = random.integers(0, weeks - 3, n)
    of = replace(
        trips(first.tolist(), (first + 3).tolist()),
        minutes=random.uniform(30, 90, n),
        branch=random.integers(0, 2, n),
        area=random.integers(0, 20, n),
        waste=random.uniform(0, 10, n),
    )
    load = np.zeros((2, weeks))
    np.add.at(load, (of.branch, np.minimum(first + 1, weeks - 1)), of.minutes)
    hours = np.full((2, weeks), load.sum() / (2 * weeks) * 1.4)
    told = deal(of, hours, 2, 5.0)
    used = np.zeros((2, weeks))
    np.add.at(used, (of.branch, told.week), of.minutes)
    assert told.over.sum() == pytest.approx(np.maximum(used - hours, 0).sum())
    assert told.over.sum() < 0.002 * of.minutes.sum()


def test_what_is_booked_stays_and_what_was_planned_stays_where_nothing_speaks_against_it() -> None:
    of = trips([1, 0, 0], [3, 3, 3], before=np.array([-1, 2, -1]), held=np.array([True, False, False]))
    assert deal(of, np.full((1, 4), 1000.0), 1, 0.0).week.tolist() == [1, 2, 0]


def test_what_rounds_held_once_is_room_again_as_far_as_the_hours_are_still_there() -> None:
    """Three trips of an hour were held in a week of 170 minutes."""
    of = trips([0, 0, 0], [1, 1, 1], before=np.array([0, 0, 0]))
    assert deal(of, np.array([[170.0, 170.0]]), 1, 0.0).week.tolist() == [0, 0, 0]
    assert sorted(deal(of, np.array([[120.0, 170.0]]), 1, 0.0).week.tolist()) == [0, 0, 1]


def test_what_had_to_be_late_stays_there_while_its_window_is_full_and_comes_back_when_it_is_not() -> None:
    """Two trips of an hour, both due in the first week; the plan before put one into the third."""
    of = trips([0, 0], [0, 0], before=np.array([0, 2]))
    full = deal(of, np.array([[60.0, 60.0, 60.0, 60.0]]), 1, 0.0)
    assert full.week.tolist() == [0, 1]
    assert deal(of, np.array([[60.0, 0.0, 60.0, 60.0]]), 1, 0.0).week.tolist() == [0, 2]
    assert deal(of, np.array([[120.0, 60.0, 60.0, 60.0]]), 1, 0.0).week.tolist() == [0, 0]
    assert deal(of, np.array([[60.0, 60.0, 0.0, 0.0]]), 1, 0.0).over.sum() == 0.0


def test_without_any_hours_every_trip_still_has_its_week_and_the_lack_is_told() -> None:
    told = deal(trips([0, 1], [0, 1]), np.zeros((1, 2)), 1, 0.0)
    assert told.week.tolist() == [0, 1]
    assert told.over.tolist() == [[60.0, 60.0]]


def test_nothing_to_deal_is_dealt() -> None:
    assert len(deal(trips([], []), np.zeros((1, 4)), 2, 1.0).week) == 0
    with pytest.raises(ValueError, match="outside"):
        deal(trips([0], [4]), np.zeros((1, 4)), 1, 0.0)


@given(st.integers(0, 200), st.integers(1, 30))
def test_areas_are_small_and_together_are_all(n: int, size: int) -> None:
    random = np.random.default_rng(n)
    found = areas(random.uniform(41, 42, n), random.uniform(-88, -87, n), size)
    assert len(found) == n
    counts = np.bincount(found) if n else np.zeros(0)
    assert (counts <= size).all()
    assert (counts > size // 2 - 1).all() or len(counts) <= 1


def test_the_way_to_the_next_home_is_that_of_random_places() -> None:
    """Beardwood, Halton and Hammersley: a tour of n random places in a unit square is some 0.7124 sqrt(n)
    long; here 400 in 20 by 20 km, by nearest neighbour and swaps, within a quarter (a heuristic tour is
    longer, and a square's edge adds some)."""
    random = np.random.default_rng(8)
    places = random.uniform(0, 20_000, (400, 2))
    away = np.hypot(*(places[:, None] - places[None, :]).transpose(2, 0, 1))
    tour, left = [0], set(range(1, 400))
    while left:
        tour.append(min(left, key=lambda one: away[tour[-1], one]))
        left.remove(tour[-1])
    length = away[tour, np.roll(tour, -1)].sum()
    told = way_minutes(400e6, 400, 10.0, 1.0) * 60 * 10.0 * 400
    assert 1.0 < length / told < 1.45
    assert way_minutes(400e6, 800, 10.0, 1.0) == pytest.approx(
        way_minutes(400e6, 400, 10.0, 1.0) / np.sqrt(2)
    )
    assert way_minutes(0.0, 5, 10.0, 1.0) == 0.0


def test_five_thousand_trips_are_dealt_at_once() -> None:
    random = np.random.default_rng(5)
    n, weeks = 5000, 12
    first = random.integers(0, weeks, n)
    of = trips(first.tolist(), np.minimum(first + 4, weeks - 1).tolist(), area=random.integers(0, 60, n))
    told = deal(of, np.full((1, weeks), 60.0 * n / weeks * 1.1), 2, 4.0)
    assert np.bincount(told.week, minlength=weeks).max() <= np.ceil(n / weeks * 1.1)
    assert season_weeks.OVER_DEAR > CHURN_MINUTES


def test_what_only_some_can_do_is_dealt_within_their_hours() -> None:
    """By hand: four trips of an hour, two of them for the one who can, who has an hour a week."""
    of = trips([0, 0, 0, 0], [1, 1, 1, 1])
    skilled = np.array([[True, True, False, False]])
    hours = np.array([[240.0, 240.0]])
    assert deal(of, hours, 1, 0.0).week.tolist() == [0, 0, 0, 0]
    told = deal(of, hours, 1, 0.0, Limits(np.array([[60.0, 60.0]]), skilled))
    assert sorted(told.week[:2]) == [0, 1]
    assert told.week[2:].tolist() == [0, 0]
    assert told.over.max() == 0.0
    over = deal(of, hours, 1, 0.0, Limits(np.array([[30.0, 0.0]]), skilled))
    assert over.week[:2].tolist() == [0, 0]
    assert over.over[1].tolist() == [90.0, 0.0]


GAS, TALL = frozenset({"gas"}), frozenset({"tall"})


def test_the_limits_of_skills_by_hand() -> None:
    """Two who can all or gas at the first branch, one without skills at the second."""
    needs = [GAS, TALL, frozenset(), GAS | TALL, GAS]
    branch = np.array([0, 0, 0, 0, 1])
    people = PeopleMinutes(
        [GAS | TALL, GAS, frozenset()], np.array([0, 0, 1]), np.array([[60.0], [40.0], [30.0]])
    )
    limits = skilled_limits(needs, branch, people)
    assert limits is not None
    told = {
        tuple(np.flatnonzero(row).tolist()): float(minutes[0])
        for row, minutes in zip(limits.holds, limits.minutes, strict=True)
    }
    # What needs tall or both is for the first alone; gas all of that branch can do, and nobody of the other.
    assert told == {(1, 3): 60.0}


def test_where_everybody_can_do_everything_there_are_no_limits() -> None:
    people = PeopleMinutes([GAS, GAS], np.array([0, 0]), np.full((2, 3), 60.0))
    assert skilled_limits([GAS, frozenset()], np.array([0, 0]), people) is None
    assert skilled_limits([], np.array([], dtype=np.int64), people) is None
