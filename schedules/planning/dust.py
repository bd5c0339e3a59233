"""How many times the usual dust the air of a day holds: spells that people tell of, and measured fine dust.

What loads a filter is total suspended dust, some 90 % of its volume above 10 um, and not PM2.5. So a
day's fine dust moves the factor in part only: the share is an assumption of ours, fitted to nothing.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import FloatArray

LEAST_FACTOR, MOST_FACTOR = 0.1, 20.0
# Of a rise of fine dust over the station's median, what the filter's dust is taken to rise by.
AIR_SHARE = 0.3
# Below this many times the median a day is like any other.
AIR_UNUSUAL = 2.0
AIR_MOST = 4.0
# Fewer days with a mean than the first tell no median worth the name; from the second on it holds wholly.
AIR_DAYS = (30, 90)
# A cleaner median than this is nearer to the instrument's noise than to the air, ug/m3.
_CLEANEST_UGM3 = 2.0


@dataclass(frozen=True)
class Spell:
    """Days ``first`` to ``last`` (ordinals, both included) of ``factor`` times the usual dust."""

    kind: str
    first: int
    last: int
    factor: float


def air_factors(pm25_ugm3: FloatArray) -> FloatArray:
    """Dust factor of each day [days] of one station's daily mean PM2.5 in ug/m3, NaN where unknown.

    ``1 + 0.3 (pm / median - 2)`` on days above twice the station's own median, at most 4; 1 on all others.
    Where 30 days are known or fewer that is 1 throughout; up to 90 the rise counts more and more.
    """
    known = ~np.isnan(pm25_ugm3)
    part = np.clip((known.sum() - AIR_DAYS[0]) / (AIR_DAYS[1] - AIR_DAYS[0]), 0.0, 1.0)
    if part == 0.0:
        return np.ones(len(pm25_ugm3))
    median = max(float(np.median(pm25_ugm3[known])), _CLEANEST_UGM3)
    ratio = np.where(known, pm25_ugm3, median) / median
    rise = np.clip(AIR_SHARE * (ratio - AIR_UNUSUAL), 0.0, AIR_MOST - 1.0)
    return np.asarray(1.0 + part * rise)


def day_factors(
    spells: Iterable[Spell], first_day: int, days: int, measured: dict[str, FloatArray] | None = None
) -> FloatArray:
    """Dust factor of ``days`` days from the ordinal ``first_day``.

    Of several spells of one kind the one farthest from the usual holds, since two people tell of the same
    smoke; kinds multiply. ``measured`` holds factors by day of a kind. Kept between 0.1 and 20.
    """
    by_kind = {kind: np.log(factors) for kind, factors in (measured or {}).items()}
    for spell in spells:
        known = by_kind.setdefault(spell.kind, np.zeros(days))
        part = known[max(spell.first - first_day, 0) : max(spell.last - first_day + 1, 0)]
        part[np.abs(part) < abs(np.log(spell.factor))] = np.log(spell.factor)
    total = np.sum(list(by_kind.values()), axis=0) if by_kind else np.zeros(days)
    return np.asarray(np.clip(np.exp(total), LEAST_FACTOR, MOST_FACTOR), dtype=np.float64)


def counting(spells: Sequence[Spell]) -> list[Spell]:
    """Those that another of their kind, farther from the usual or told before, does not cover whole."""
    return [
        one
        for at, one in enumerate(spells)
        if not any(_covers(other, one, before=by < at) for by, other in enumerate(spells) if by != at)
    ]


def _covers(other: Spell, one: Spell, *, before: bool) -> bool:
    theirs, mine = abs(np.log(other.factor)), abs(np.log(one.factor))
    within = other.kind == one.kind and other.first <= one.first and other.last >= one.last
    return within and bool(theirs > mine or (before and theirs == mine))
