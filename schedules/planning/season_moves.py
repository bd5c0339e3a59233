"""What to pull forward or let wait so that no week is over-full: one linear program over all weeks.

Trips that are alike in branch, skills, week, room to move and price (nearest in a ladder of prices) are one
class; the program chooses how much of each class goes to which week of its window. What a week has no time
for is carried on into the next, where it takes the room of what could come there. Least first are the
minutes carried on from week to week, then the price: money of filter life thrown away, and a price for
filter-days past the limit. A week's capacity is held skill by skill, by the collections of
``season_capacity``. What is moved is the expected share of a trip that lies in the over-full week, so that
counts are expected counts.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import coo_array

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.season_capacity import collections

# What a filter-day past the limit is held to cost, in the desk's money. Own choice: a month costs a filter.
DAY_PAST_PRICE = 0.5
# A minute carried on for a week outweighs any move.
_CARRIED = 1e4
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
    on top; ``left`` [b, W] minutes by which what each branch carries on grows in each week."""

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
    waits = _Waits.of(needs, branches, weeks, len(source))
    rows, bounds = _limits(movable, (source, to), load, staff, waits)
    later = to > movable.week[source]
    far = np.abs(to - movable.week[source])
    rate = np.where(later, movable.past[source] * DAY_PAST_PRICE, movable.waste[source]) + _STIR
    price = np.concatenate([rate * far, np.full(waits.count, _CARRIED)])
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
    return _told(movable, source, to, result.x, waits)


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


@dataclass(frozen=True)
class _Waits:
    """What is carried on out of each week, a variable a class of a branch and week: by branch the ``classes``
    (their skills [k]), which groups of the load each is (``groups`` [k, g]) and the ``columns`` [k, W]."""

    classes: list[IntArray]
    groups: list[FloatArray]
    columns: list[IntArray]

    @classmethod
    def of(cls, needs: tuple[IntArray, IntArray], branches: int, weeks: int, begin: int) -> "_Waits":
        classes = [np.unique(needs[1][needs[0] == one]) for one in range(branches)]
        groups = [
            ((needs[0] == one) & (needs[1] == skills[:, None])).astype(np.float64)
            for one, skills in enumerate(classes)
        ]
        ends = begin + weeks * np.cumsum([0] + [len(skills) for skills in classes])
        columns = [
            np.arange(ends[one], ends[one + 1]).reshape(len(skills), weeks)
            for one, skills in enumerate(classes)
        ]
        return cls(classes, groups, columns)

    @property
    def count(self) -> int:
        return sum(columns.size for columns in self.columns)


class _Rows:
    """Rows of a sparse matrix, a block of one a week at a time."""

    def __init__(self, weeks: int) -> None:
        self.weeks, self.height = np.arange(weeks), 0
        self.parts: list[Triplets] = []
        self.bounds: list[FloatArray] = []

    def put(self, value: float, week: IntArray, column: IntArray) -> None:
        """A value in each of the columns, in the rows of these weeks."""
        self.parts.append((np.full(len(week), value), self.height + week, column))

    def end(self, bound: FloatArray) -> None:
        """What the block's rows are at most."""
        self.bounds.append(bound)
        self.height += len(self.weeks)

    def told(self) -> tuple[tuple[Triplets, int], FloatArray]:
        if not self.height:
            none = np.zeros(0, dtype=np.int64)
            return ((np.zeros(0), none, none), 0), np.zeros(0)
        values, at, columns = (np.concatenate([part[place] for part in self.parts]) for place in range(3))
        return ((values, at.astype(np.int64), columns.astype(np.int64)), self.height), np.concatenate(
            self.bounds
        )


def _limits(
    movable: Movable, variables: tuple[IntArray, IntArray], load: FloatArray, staff: Staff, waits: _Waits
) -> tuple[tuple[Triplets, int], FloatArray]:
    """Rows: what a collection has done in a week, its load after the moves and what came on less what goes
    on, is at most what is there; and no class carries on more than it has."""
    source, to = variables
    rows = _Rows(load.shape[1])
    branch, skills = movable.branch[source], movable.skills[source]

    def done(sign: float, one: int, classes: BoolArray) -> None:
        some = np.flatnonzero((branch == one) & np.isin(skills, waits.classes[one][classes]))
        rows.put(sign, to[some], some)
        rows.put(-sign, movable.week[source[some]], some)
        for columns in waits.columns[one][classes]:
            rows.put(-sign, rows.weeks, columns)
            rows.put(sign, rows.weeks[1:], columns[:-1])

    for one, classes in enumerate(waits.classes):
        who, by_class = staff.branch == one, waits.groups[one] @ load
        every = collections(classes, staff.skills[who])
        for holds, able in zip(every.holds, every.able, strict=True):
            done(1.0, one, holds)
            rows.end(staff.minutes[who][able].sum(axis=0) - by_class[holds].sum(axis=0))
        for row in range(len(classes)):
            done(-1.0, one, np.arange(len(classes)) == row)
            rows.end(by_class[row])
    return rows.told()


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


def _told(movable: Movable, source: IntArray, to: IntArray, chosen: FloatArray, waits: _Waits) -> Moved:
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
        np.array([_grown(chosen[columns].sum(axis=0)) for columns in waits.columns]),
    )


def _grown(carried: FloatArray) -> FloatArray:
    return np.maximum(np.diff(carried, prepend=0.0), 0.0)
