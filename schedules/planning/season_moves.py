"""What to pull forward or let wait so that no week is over-full: one linear program over all weeks.

Trips that are alike in branch, skills, week, room to move and price (nearest in a ladder of prices) are one
class; the program chooses how much of each class goes to which week of its window. Least first is what stays
over-full, then the price: money of filter life thrown away, and a price for filter-days past the limit.
A week's capacity is held skill by skill, by the collections of ``season_capacity``. What is moved is the
expected share of a trip that lies in the over-full week, so that counts are expected counts.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.season_capacity import collections

# What a filter-day past the limit is held to cost, in the desk's money. Own choice: a month costs a filter.
DAY_PAST_PRICE = 0.5
# A minute that stays over-full outweighs any move.
_UNMOVED = 1e4
# Prices a week early are rounded to a ladder of so many rungs a power of ten.
_RUNGS = 4
# A move is worth something even where no price is on record: weeks moved a minute.
_STIR = 1e-3


@dataclass(frozen=True)
class Movable:
    """n classes of trips, all [n]: where they are, how much (expected ``minutes`` and ``jobs``), how many
    weeks sooner or later they may be, and what a minute of them costs a week: ``waste`` in money sooner,
    ``past`` in filter-days later."""

    branch: IntArray
    skills: IntArray
    week: IntArray
    earliest: IntArray
    latest: IntArray
    minutes: FloatArray
    jobs: FloatArray
    waste: FloatArray
    past: FloatArray

    def __len__(self) -> int:
        return len(self.week)


@dataclass(frozen=True)
class Staff:
    """Kinds of technicians: ``branch``, ``skills`` [m] and usable ``minutes`` [m, W]."""

    branch: IntArray
    skills: IntArray
    minutes: FloatArray


@dataclass(frozen=True)
class Moved:
    """r moves, all [r]: from and to which week, minutes, jobs, money thrown away, filter-days past the limit
    on top; ``left`` [b, W] minutes that stay over-full in each branch."""

    branch: IntArray
    week: IntArray
    to: IntArray
    minutes: FloatArray
    jobs: FloatArray
    money: FloatArray
    past: FloatArray
    left: FloatArray


def alike(trips: Movable) -> Movable:
    """Classes of trips that differ in nothing but a hair of their price."""
    if not len(trips):
        return trips
    rungs = [
        np.where(rate > 0, np.round(_RUNGS * np.log10(np.maximum(rate, 1e-9))) + _RUNGS * 9 + 1, 0.0)
        for rate in (trips.waste, trips.past)
    ]
    key = np.zeros(len(trips), dtype=np.int64)
    for part in (trips.branch, trips.skills, trips.week, trips.earliest, trips.latest, *rungs):
        _, code = np.unique(part, return_inverse=True)
        key = np.unique(key * (int(code.max()) + 1) + code, return_inverse=True)[1].astype(np.int64)
    _, first, place = np.unique(key, return_index=True, return_inverse=True)

    def total(values: FloatArray) -> FloatArray:
        return np.bincount(place, weights=values, minlength=len(first)).astype(np.float64)

    minutes = total(trips.minutes)
    weight = np.maximum(minutes, 1e-12)
    return Movable(
        trips.branch[first], trips.skills[first], trips.week[first], trips.earliest[first],
        trips.latest[first], minutes, total(trips.jobs), total(trips.waste * trips.minutes) / weight,
        total(trips.past * trips.minutes) / weight,
    )  # fmt: skip


def move(movable: Movable, needs: tuple[IntArray, IntArray], load: FloatArray, staff: Staff) -> Moved:
    """The cheapest moves. ``needs``: branch and skills [g] of the ``load`` [g, W], which holds the movable
    trips too, where they are. Of every branch with load at most twelve sets of skills may differ; a trip of
    a set that is not among ``needs`` counts as one that needs no skill."""
    weeks = load.shape[1]
    known = np.isin(movable.skills, needs[1])
    movable = replace(movable, skills=np.where(known, movable.skills, 0).astype(np.int64))
    source, to = _variables(movable)
    branches = int(max(needs[0].max(initial=-1), staff.branch.max(initial=-1))) + 1
    over = np.arange(branches * weeks).reshape(branches, weeks) + len(source)
    rows, bounds = _limits(movable, (source, to), needs, load, staff, over)
    later = to > movable.week[source]
    far = np.abs(to - movable.week[source])
    rate = np.where(later, movable.past[source] * DAY_PAST_PRICE, movable.waste[source]) + _STIR
    price = np.concatenate([rate * far, np.full(branches * weeks, _UNMOVED)])
    whole = coo_array(
        (np.ones(len(source)), (source, np.arange(len(source)))), shape=(len(movable), len(price))
    )
    result = linprog(
        price,
        A_ub=_stacked(rows, whole, len(price)),
        b_ub=np.concatenate([bounds, movable.minutes]),
        bounds=(0, None),
        method="highs",
    )
    if result.x is None:
        raise ArithmeticError(f"no way found to spread the work: {result.message}")
    return _told(movable, source, to, result.x, over)


def _variables(movable: Movable) -> tuple[IntArray, IntArray]:
    """Every class with every other week of its window."""
    pairs = [
        (row, week)
        for row in range(len(movable))
        for week in range(int(movable.earliest[row]), int(movable.latest[row]) + 1)
        if week != movable.week[row]
    ]
    table = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    return table[:, 0], table[:, 1]


Triplets = tuple[FloatArray, IntArray, IntArray]


def _limits(
    movable: Movable,
    variables: tuple[IntArray, IntArray],
    needs: tuple[IntArray, IntArray],
    load: FloatArray,
    staff: Staff,
    over: IntArray,
) -> tuple[tuple[Triplets, int], FloatArray]:
    """Rows: load of a collection after the moves, less what stays over-full, is at most what is there."""
    source, to = variables
    values, at, columns, bounds, row = [], [], [], [], 0
    branch, skills = movable.branch[source], movable.skills[source]
    weeks = np.arange(load.shape[1])
    for one in range(len(over)):
        mine, who = needs[0] == one, staff.branch == one
        classes = np.unique(needs[1][mine])
        every = collections(classes, staff.skills[who])
        for holds, able in zip(every.holds, every.able, strict=True):
            inside = np.isin(needs[1], classes[holds]) & mine
            bounds.append(staff.minutes[who][able].sum(axis=0) - load[inside].sum(axis=0))
            some = np.flatnonzero((branch == one) & np.isin(skills, classes[holds]))
            for sign, when in ((1.0, to[some]), (-1.0, movable.week[source[some]])):
                values.append(np.full(len(some), sign))
                at.append(row + when)
                columns.append(some)
            values.append(np.full(len(weeks), -1.0))
            at.append(row + weeks)
            columns.append(over[one])
            row += len(weeks)
    if not row:
        none = np.zeros(0, dtype=np.int64)
        return ((np.zeros(0), none, none), 0), np.zeros(0)
    whole = np.concatenate(at).astype(np.int64), np.concatenate(columns).astype(np.int64)
    return ((np.concatenate(values), *whole), row), np.concatenate(bounds)


def _stacked(rows: tuple[Triplets, int], whole: coo_array, width: int) -> Any:
    # The solver takes sparse matrices; its stubs do not say so.
    (values, at, columns), height = rows
    return coo_array(
        (
            np.concatenate([values, whole.data]),
            (
                np.concatenate([at, whole.coords[0] + height]).astype(np.int64),
                np.concatenate([columns, whole.coords[1]]).astype(np.int64),
            ),
        ),
        shape=(height + whole.shape[0], width),
    )


def _told(movable: Movable, source: IntArray, to: IntArray, chosen: FloatArray, over: IntArray) -> Moved:
    minutes = chosen[: len(source)]
    some = np.flatnonzero(minutes > 1e-6)
    row, to, minutes = source[some], to[some], minutes[some]
    weeks = to - movable.week[row]
    return Moved(
        movable.branch[row],
        movable.week[row],
        to,
        minutes,
        movable.jobs[row] * minutes / np.maximum(movable.minutes[row], 1e-12),
        movable.waste[row] * minutes * np.maximum(-weeks, 0),
        movable.past[row] * minutes * np.maximum(weeks, 0),
        chosen[over],
    )
