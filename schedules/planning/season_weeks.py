"""Trips of a season dealt to weeks: inside their windows, within each branch's hours, near ones together.

A home can be visited in any week of its window, and windows are some weeks wide. Where all homes of a small
area are visited in the same weeks, a van meets them closer together: with n homes in an area A the way from
one to the next is about 0.7124 sqrt(A / n) (Beardwood, Halton and Hammersley 1959, constant by Johnson and
McGeoch 1996), so that twice as many at once save 1 - 1/sqrt(2) of it. That saving is weighed against what
doing a filter early throws away and against moving a trip out of the week of the plan before.

A linear program over trips and weeks (HiGHS). In a vertex no more trips are split than there are limits;
these go whole to the week of their largest part that has room.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from schedules.planning.arrays import BoolArray, FloatArray, IntArray

TOUR_CONSTANT = 0.7124
# A minute beyond the hours that there are costs as much as this many minutes of driving: only where nothing
# else is left.
OVER_DEAR = 50.0
# Moving a trip to another week than last time costs as much driving. Own choice.
CHURN_MINUTES = 10.0
# A week beyond a trip's window costs as much driving, where the plan before found no place sooner. Own
# choice.
LATE_MINUTES = 60.0
# What the rounds of the plan before held in a week counts as room again, up to so many times the hours that
# there are now: ways turn out shorter than they are reckoned. Own choice.
PROVED = 1.1


@dataclass(frozen=True)
class SeasonTrips:
    """t trips, all [t]: ``first`` and ``last`` week that suit, both included, ``minutes`` with the way,
    ``branch``, ``area`` (small areas numbered from nought), ``waste``: minutes that a week too early costs,
    ``before``: the week in the plan before, -1 for none; ``held``: booked in ``first``."""

    first: IntArray
    last: IntArray
    minutes: FloatArray
    branch: IntArray
    area: IntArray
    waste: FloatArray
    before: IntArray
    held: BoolArray

    def __len__(self) -> int:
        return len(self.first)

    @property
    def until(self) -> IntArray:
        """The last week [t] that is thought of: the window's, or the later one in which the plan before found
        a place, so that what had to be late is not dealt again to weeks that are full."""
        late = np.maximum(self.last, self.before)
        return np.asarray(np.where(self.held, self.first, late), dtype=np.int64)


@dataclass(frozen=True)
class Limits:
    """Minutes [L, W] that l limits allow in each week, ``holds`` [L, t] the trips that each holds. Those of
    whole branches come first; the others hold trips that only some of the people can make."""

    minutes: FloatArray
    holds: BoolArray

    @classmethod
    def of_branches(cls, branch: IntArray, hours: FloatArray) -> "Limits":
        """One limit a branch: ``hours`` [branches, W]."""
        return cls(hours, branch[None, :] == np.arange(len(hours))[:, None])

    def and_also(self, other: "Limits") -> "Limits":
        """Both together."""
        return Limits(np.vstack([self.minutes, other.minutes]), np.vstack([self.holds, other.holds]))


@dataclass(frozen=True)
class Dealt:
    """``week`` [t] of each trip, and minutes ``over`` [L, W] what the limits allow."""

    week: IntArray
    over: FloatArray


def areas(latitude: FloatArray, longitude: FloatArray, size: int) -> IntArray:
    """Small areas [n] of at most ``size`` places each: halved again and again across their longer side.

    Areas that are neighbours mostly have neighbouring numbers.
    """
    found = np.zeros(len(latitude), dtype=np.int64)
    if not len(latitude):
        return found
    east = longitude * np.cos(np.radians(np.mean(latitude)))
    parts, done = [np.arange(len(latitude))], []
    while parts:
        part = parts.pop()
        if len(part) <= size:
            done.append(part)
            continue
        side = latitude if np.ptp(latitude[part]) >= np.ptp(east[part]) else east
        order = part[np.argsort(side[part], kind="stable")]
        parts += [order[len(order) // 2 :], order[: len(order) // 2]]
    for number, part in enumerate(done):
        found[part] = number
    return found


def way_minutes(area_m2: float, homes: float, speed_ms: float, road_factor: float) -> float:
    """Minutes from one home to the next where ``homes`` lie in ``area_m2``, by roads."""
    if homes <= 0 or area_m2 <= 0:
        return 0.0
    return TOUR_CONSTANT * road_factor * float(np.sqrt(area_m2 / homes)) / speed_ms / 60


def deal(
    trips: SeasonTrips, hours: FloatArray, period: int, saving: float, skilled: Limits | None = None
) -> Dealt:
    """Deal the trips to the weeks of ``hours`` [branches, W], minutes that there are, and within what
    ``skilled`` allows of those that need a skill.

    Every area has its own every ``period``-th week; a trip made in another one costs ``saving`` minutes.
    Raises ValueError for a window outside the weeks.
    """
    weeks = hours.shape[1]
    if len(trips) and not (trips.first.min() >= 0 and trips.last.max() < weeks):
        raise ValueError("a window lies outside the weeks")
    limits = Limits.of_branches(trips.branch, hours)
    limits = limits.and_also(skilled) if skilled is not None else limits
    limits = _proved(trips, limits)
    trip, week = _choices(trips)
    if not len(trip):
        return Dealt(np.zeros(0, dtype=np.int64), np.zeros_like(limits.minutes))
    price = _price(trips, trip, week, period, saving)
    share = _solved(trips, trip, week, price, limits)
    return _whole(trips, trip, week, share, limits)


def _proved(trips: SeasonTrips, limits: Limits) -> Limits:
    """The limits, no narrower than what the plan before placed within them."""
    held = np.zeros_like(limits.minutes)
    limit, trip = np.nonzero(limits.holds & (trips.before >= 0))
    np.add.at(held, (limit, trips.before[trip]), trips.minutes[trip])
    return replace(limits, minutes=np.maximum(limits.minutes, np.minimum(held, PROVED * limits.minutes)))


def _choices(trips: SeasonTrips) -> tuple[IntArray, IntArray]:
    """Every trip with every week that is thought of; a held one with its own alone."""
    count = trips.until - trips.first + 1
    trip = np.repeat(np.arange(len(trips)), count)
    begin = np.cumsum(count) - count
    return trip, trips.first[trip] + np.arange(len(trip)) - begin[trip]


def _price(trips: SeasonTrips, trip: IntArray, week: IntArray, period: int, saving: float) -> FloatArray:
    """Minutes that a trip in a week costs on top of itself."""
    early = np.maximum(trips.last[trip] - week, 0) * trips.waste[trip]
    late = np.maximum(week - trips.last[trip], 0) * LATE_MINUTES
    apart = np.where((week - trips.area[trip]) % period == 0, 0.0, saving)
    moved = np.where((trips.before[trip] >= 0) & (trips.before[trip] != week), CHURN_MINUTES, 0.0)
    # The last hair decides between weeks that are alike: the earlier one.
    return np.asarray(early + late + apart + moved + 1e-6 * week)


def _solved(
    trips: SeasonTrips, trip: IntArray, week: IntArray, price: FloatArray, limits: Limits
) -> FloatArray:
    """The share of each choice in the cheapest mix."""
    weeks = limits.minutes.shape[1]
    cells, choices = limits.minutes.size, len(trip)
    limit_at, choice = np.nonzero(limits.holds[:, trip])
    once = coo_array((np.ones(choices), (trip, np.arange(choices))), shape=(len(trips), choices + cells))
    limit = coo_array(
        (
            np.concatenate([trips.minutes[trip[choice]], -np.ones(cells)]),
            (
                np.concatenate([limit_at * weeks + week[choice], np.arange(cells)]),
                np.concatenate([choice, choices + np.arange(cells)]),
            ),
        ),
        shape=(cells, choices + cells),
    )
    # Sparse limits are more than scipy's stubs know of.
    within: Any = limit.tocsr()
    whole: Any = once.tocsr()
    told = linprog(
        np.concatenate([price, np.full(cells, OVER_DEAR)]),
        A_ub=within, b_ub=limits.minutes.ravel(), A_eq=whole, b_eq=np.ones(len(trips)),
        bounds=(0, None), method="highs",
    )  # fmt: skip
    if told.x is None:
        raise RuntimeError(f"the season could not be dealt: {told.message}")
    return np.asarray(told.x[:choices])


def _whole(trips: SeasonTrips, trip: IntArray, week: IntArray, share: FloatArray, limits: Limits) -> Dealt:
    """Whole trips: those in one piece first, then each split one to the best of its parts that has room."""
    chosen = np.full(len(trips), -1, dtype=np.int64)
    room = limits.minutes.astype(np.float64)
    sure = share > 1 - 1e-6
    chosen[trip[sure]] = week[sure]
    done = chosen >= 0
    at, which = np.nonzero(limits.holds[:, done])
    np.subtract.at(room, (at, chosen[done][which]), trips.minutes[done][which])
    starts = np.searchsorted(trip, np.arange(len(trips) + 1))
    for one in sorted(np.flatnonzero(~done), key=lambda row: -trips.minutes[row]):
        some = slice(starts[one], starts[one + 1])
        mine = np.flatnonzero(limits.holds[:, one])
        left = room[np.ix_(mine, week[some])].min(axis=0) - trips.minutes[one]
        # Where none has room the least is run over; where several have, the larger part decides.
        best = int(np.argmax(np.where(left >= 0, 1e6 + share[some], left)))
        chosen[one] = week[some][best]
        room[mine, chosen[one]] -= trips.minutes[one]
    return Dealt(chosen, np.maximum(-room, 0.0))
