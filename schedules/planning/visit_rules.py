"""Findings among one slot's readings that need no fit: a grille read with the filter, a filter that reads
high when new, a drop beyond the blower, a log that stopped.

Ages are days since the filter went in, drops in Pa at design airflow unless said otherwise. The bounds
are our own: a filter's lasting factor reaches 1.2, so 1.4 times clean in its first week is more than
dust; a label's rated static leaves a blower at most half as much again before the airflow is gone.
"""

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.loading import METER_PA
from schedules.planning.oddities import HARDLY_CLEAN, scatter

_FRESH_DAYS = 7.0
_FRESH_RATIO = 1.4
_HIGH_WHEN_NEW = 1.3
# Two readings of one visit are one piece of evidence.
_ANOTHER_VISIT_DAYS = 1.0
_SIGMAS = 3.5
# Ages this far apart, as a ratio and in days, between which a filter would have loaded.
_AGE_RATIO = 3.0
_AGE_DAYS = 45.0
_FEWEST_STEADY = 3
BEYOND_RATED = 1.5
SILENT_DAYS = 14
_FEWEST_LOG_DAYS = 30


def grille_readings(
    life: IntArray, age_days: FloatArray, drop_pa: FloatArray, clean_pa: FloatArray
) -> BoolArray:
    """Readings, in order of time, that hold a grille's or a duct's drop beside the filter's.

    Either filters of two lives, or one and what was read of it on a later day, stand far above clean within
    a week of going in; or readings at widely different ages are all the same and far above clean. Lives
    that were read rightly when new stay out of it.
    """
    none = np.zeros(len(life), dtype=np.bool_)
    if len(life) < 2 or not (clean_pa > 0).all():
        return none
    high = stands_high(drop_pa, clean_pa)
    if not high.any():
        return none
    fresh = age_days <= _FRESH_DAYS
    sound = np.isin(life, life[fresh & ~high])
    evidence = high & fresh & ~sound & ~_falls_later(life, drop_pa)
    if not (len(set(life[evidence])) > 1 or _goes_on(life, age_days, evidence)):
        evidence = high if high.all() and _steady(age_days, drop_pa) else none
    if not evidence.any():
        return none
    excess = float(np.median((drop_pa - clean_pa)[evidence]))
    return np.asarray((drop_pa >= clean_pa + 0.6 * excess) & ~sound)


def stands_high(drop_pa: FloatArray, clean_pa: FloatArray) -> BoolArray:
    """Readings further above clean than a filter's first week explains; a grille's are among them."""
    return np.asarray(drop_pa > _high_bound(clean_pa))


def _high_bound(clean_pa: FloatArray) -> FloatArray:
    return np.asarray(_FRESH_RATIO * clean_pa + _SIGMAS * scatter(clean_pa))


def odd_one_by_one(age_days: FloatArray, drop_pa: FloatArray, clean_pa: FloatArray) -> BoolArray:
    """Readings that by themselves call for a closer look at their slot: below clean, or high when new. What
    only several readings show together, all of them standing high, is not among them."""
    bound = np.minimum(_HIGH_WHEN_NEW * clean_pa + 2 * scatter(clean_pa), _high_bound(clean_pa))
    return np.asarray((drop_pa < HARDLY_CLEAN * clean_pa) | ((drop_pa > bound) & (age_days <= _FRESH_DAYS)))


def high_when_new(
    life: IntArray, age_days: FloatArray, drop_pa: FloatArray, clean_pa: FloatArray
) -> BoolArray:
    """Readings within a week of a filter's going in that stand a third above clean or more and were not
    lower again later: airflow, label or medium are other than on record."""
    bound = _HIGH_WHEN_NEW * clean_pa + 2 * scatter(clean_pa)
    high = (clean_pa > 0) & (drop_pa > bound) & (age_days <= _FRESH_DAYS)
    return np.asarray(high & ~_falls_later(life, drop_pa))


def _falls_later(life: IntArray, drop_pa: FloatArray) -> BoolArray:
    """Whether a later reading of the same life lies below: then the first was a jump."""
    later = np.triu(life[:, None] == life[None, :], 1)
    bound = drop_pa - 2.5 * np.sqrt(2) * scatter(drop_pa)
    return np.asarray((later & (drop_pa[None, :] < bound[:, None])).any(axis=1))


def _goes_on(life: IntArray, age_days: FloatArray, evidence: BoolArray) -> bool:
    """Whether a life with evidence was read again on another visit."""
    return any(np.ptp(age_days[life == one]) >= _ANOTHER_VISIT_DAYS for one in set(life[evidence]))


def _steady(age_days: FloatArray, drop_pa: FloatArray) -> bool:
    apart = age_days.max() >= _AGE_RATIO * age_days.min() and np.ptp(age_days) >= _AGE_DAYS
    flat = np.ptp(drop_pa) <= 3.0 * float(scatter(np.array([drop_pa.mean()]))[0])
    return bool(len(drop_pa) >= _FEWEST_STEADY and apart and flat)


def highest_static(table: list[list[float]], rated_pa: float | None) -> float:
    """The highest static in Pa that the blower draws: its table's, or half as much again as it is rated
    for; infinite where neither is known. ``table`` holds pairs of airflow and static."""
    if table:
        return max(pair[1] for pair in table)
    return BEYOND_RATED * rated_pa if rated_pa else np.inf


def beyond_blower(drop_pa: FloatArray, highest_pa: float) -> BoolArray:
    """Readings as taken (not carried) that are more than the blower draws and the meter errs."""
    return np.asarray(drop_pa > 1.05 * highest_pa + 2 * METER_PA)


def log_stopped(count: IntArray, last: IntArray, as_of: int) -> BoolArray:
    """Whether logs of ``count`` days [k], the last of them ``last`` [k], are of at least thirty days and have
    said nothing for the fourteen days up to ``as_of``."""
    return np.asarray((count >= _FEWEST_LOG_DAYS) & (last <= as_of - SILENT_DAYS))
