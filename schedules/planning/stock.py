"""How many filters to keep: enough in so many of a hundred periods, and no more.

The demand of a period is a sum of independent chances, one a filter that may be changed in it; its
distribution is exact: Fourier inversion of the characteristic function, some hundred filters at a time, and
these folded together.
"""

from functools import reduce
from itertools import pairwise

import numpy as np
from scipy.signal import fftconvolve

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


def count_chances(expected: FloatArray) -> FloatArray:
    """Chances [k] that the whole demand is 0, 1, … of filters that are changed ``expected`` [n] times each,
    at least nought. What is expected more than once is sure so often, and its rest a chance."""
    expected = np.asarray(expected, dtype=np.float64)
    if (expected < 0).any() or not np.isfinite(expected).all():
        raise ValueError("nobody expects less than nothing")
    sure = int(np.floor(expected).sum())
    rest = expected - np.floor(expected)
    rest = rest[rest > 0]
    parts = [_few(rest[first : first + _AT_A_TIME]) for first in range(0, len(rest), _AT_A_TIME)]
    chances = reduce(fftconvolve, parts, np.ones(1))
    return np.concatenate([np.zeros(sure), np.clip(chances, 0.0, 1.0)])


def _few(chance: FloatArray) -> FloatArray:
    n = len(chance)
    turn = np.exp(2j * np.pi * np.arange(n + 1) / (n + 1))
    return np.asarray(
        np.fft.fft(np.prod(1.0 + chance[:, None] * (turn[None, :] - 1.0), axis=0)).real / (n + 1)
    )


def enough(expected: FloatArray, level: float) -> int:
    """The fewest filters that suffice in ``level`` of all periods; ``level`` between 0 and 1."""
    if not 0 < level < 1:
        raise ValueError("level is a share between 0 and 1")
    expected = np.asarray(expected, dtype=np.float64)
    if not len(expected):
        return 0
    # A hair's breadth below, so that rounding in the transform asks for no filter more.
    return int(np.searchsorted(np.cumsum(count_chances(expected)), level - 1e-12))


def enough_of_each(expected: FloatArray, kind: IntArray, kinds: int, level: float | FloatArray) -> IntArray:
    """``enough`` of every kind 0 … kinds-1, [kinds]; ``kind`` [n] says of which each filter is, ``level`` is
    one for all or one a kind, [kinds]."""
    order = np.argsort(kind, kind="stable")
    ends = np.searchsorted(kind[order], np.arange(kinds + 1))
    some, levels = expected[order], np.broadcast_to(np.asarray(level, dtype=np.float64), kinds)
    return np.array(
        [
            enough(some[first:last], float(at))
            for (first, last), at in zip(pairwise(ends), levels, strict=True)
        ],
        dtype=np.int64,
    )


def share_room(wanted: IntArray, room: int) -> IntArray:
    """``wanted`` [k] cut to a van's ``room``: each kind keeps its share, the largest rests are rounded up."""
    total = int(wanted.sum())
    if total <= room:
        return np.array(wanted, dtype=np.int64)
    exact: FloatArray = np.asarray(wanted, dtype=np.float64) * (room / total)
    kept: IntArray = np.floor(exact).astype(np.int64)
    order = np.argsort(-(exact - kept), kind="stable")
    kept[order[: room - int(kept.sum())]] += 1
    return kept
