"""How many filters to keep: enough in so many of a hundred periods, and no more.

The demand of a period is a sum of independent lots, one a trip that may be made in it and takes so many
filters at a time; its distribution is exact: Fourier inversion of the characteristic function, some hundred
lots of a size at a time, and these folded together.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray

# So many chances are summed at a time: the work goes with their square.
_AT_A_TIME = 512


def critical_ratio(short_price: float, over_price: float) -> float:
    """The share of periods in which stock should suffice: ``short_price`` is what one filter too few costs
    (a second trip, less the trip saved), ``over_price`` what one too many costs until it is used; the
    newsvendor's rule. Raises ValueError where either is negative or both are nought."""
    if short_price < 0 or over_price < 0 or short_price + over_price == 0:
        raise ValueError("the two prices have to be at least nought, and not both nought")
    return short_price / (short_price + over_price)


def count_chances(expected: FloatArray, size: IntArray | None = None) -> FloatArray:
    """Chances [k] that the whole demand is 0, 1, … of n lots that are wanted ``expected`` [n] times each, at
    least nought, ``size`` [n] filters at a time (None: one). What is expected more than once is sure so
    often, and its rest a chance."""
    expected = np.asarray(expected, dtype=np.float64)
    if (expected < 0).any() or not np.isfinite(expected).all():
        raise ValueError("nobody expects less than nothing")
    sizes = np.ones(len(expected), dtype=np.int64) if size is None else np.asarray(size, dtype=np.int64)
    if (sizes < 1).any():
        raise ValueError("a lot holds at least one filter")
    whole = [_of_lots(expected[sizes == one], int(one)) for one in np.unique(sizes)]
    return np.clip(reduce(_folded, whole, np.ones(1)), 0.0, 1.0)


def _of_lots(expected: FloatArray, size: int) -> FloatArray:
    """The same of lots of one size."""
    sure = int(np.floor(expected).sum())
    rest = expected - np.floor(expected)
    rest = rest[rest > 0]
    parts = [_few(rest[first : first + _AT_A_TIME]) for first in range(0, len(rest), _AT_A_TIME)]
    count = np.concatenate([np.zeros(sure), reduce(_folded, parts, np.ones(1))])
    out = np.zeros(size * (len(count) - 1) + 1)
    out[::size] = count
    return out


def _folded(one: FloatArray, other: FloatArray) -> FloatArray:
    """Chances of the sum of two counts that do not depend on each other."""
    n = len(one) + len(other) - 1
    return np.fft.irfft(np.fft.rfft(one, n) * np.fft.rfft(other, n), n)


def _few(chance: FloatArray) -> FloatArray:
    n = len(chance)
    turn = np.exp(2j * np.pi * np.arange(n + 1) / (n + 1))
    return np.asarray(
        np.fft.fft(np.prod(1.0 + chance[:, None] * (turn[None, :] - 1.0), axis=0)).real / (n + 1)
    )


def enough(expected: FloatArray, level: float, size: IntArray | None = None) -> int:
    """The fewest filters that suffice in ``level`` of all periods; ``level`` between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError("level is a share between 0 and 1")
    if not len(expected):
        return 0
    # A hair's breadth below, so that rounding in the transform asks for no filter more.
    return int(np.searchsorted(np.cumsum(count_chances(expected, size)), level - 1e-12))


@dataclass(frozen=True)
class Lots:
    """n lots that may be wanted, all [n]: the ``kind`` of filter, how often each is ``expected`` to be
    wanted, and its ``size``: how many filters it takes at a time."""

    kind: IntArray
    expected: FloatArray
    size: IntArray

    def of_each(self, kinds: int) -> "Iterator[Lots]":
        """The lots of every kind 0 … kinds-1."""
        order = np.argsort(self.kind, kind="stable")
        ends = np.searchsorted(self.kind[order], np.arange(kinds + 1))
        for first, last in pairwise(ends):
            some = order[first:last]
            yield Lots(self.kind[some], self.expected[some], self.size[some])


def enough_of_each(lots: Lots, kinds: int, level: float | FloatArray) -> IntArray:
    """``enough`` of every kind 0 … kinds-1, [kinds]; ``level`` is one for all or one a kind, [kinds]."""
    levels = np.broadcast_to(np.asarray(level, dtype=np.float64), kinds)
    return np.array(
        [
            enough(some.expected, float(at), some.size)
            for some, at in zip(lots.of_each(kinds), levels, strict=True)
        ],
        dtype=np.int64,
    )


@dataclass(frozen=True)
class Shelf:
    """u filters that a place would hold, all [u]: the ``kind`` of each, and the chance that it is ``used``:
    for the k-th of a kind that k or more of it are."""

    kind: IntArray
    used: FloatArray

    def counts(self, kinds: int) -> IntArray:
        """How many of every kind 0 … kinds-1."""
        return np.bincount(self.kind, minlength=kinds)


def shelf(lots: Lots, wanted: IntArray) -> Shelf:
    """The filters of a place that holds ``wanted`` [kinds] for ``lots``."""
    used = [
        1.0 - np.concatenate([[0.0], np.cumsum(count_chances(some.expected, some.size))])[1 : most + 1]
        for some, most in zip(lots.of_each(len(wanted)), wanted.tolist(), strict=True)
    ]
    return Shelf(np.repeat(np.arange(len(wanted)), wanted), np.concatenate([*used, np.zeros(0)]))


def shared_out(shelves: "list[Shelf]", rooms: "list[int]", there: FloatArray) -> "list[Shelf]":
    """The shelves with no more on each than its room, and no more of each kind on all of them together than
    ``there`` [kinds] is, inf for no bound: filter by filter, those likeliest to be used first."""
    place = np.repeat(np.arange(len(shelves)), [len(one.kind) for one in shelves])
    kind = np.concatenate([np.zeros(0, dtype=np.int64), *(one.kind for one in shelves)])
    used = np.concatenate([np.zeros(0), *(one.used for one in shelves)])
    left, room = there.astype(np.float64), list(rooms)
    stays = np.zeros(len(used), dtype=np.bool_)
    for unit in np.argsort(-used, kind="stable").tolist():
        if room[place[unit]] > 0 and left[kind[unit]] > 0:
            stays[unit] = True
            room[place[unit]] -= 1
            left[kind[unit]] -= 1
    return [Shelf(kind[stays & (place == at)], used[stays & (place == at)]) for at in range(len(shelves))]
