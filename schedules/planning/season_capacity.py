"""Whether the technicians can do a week's work at all, skill by skill: no assignment is made.

Work comes in classes, each needing a set of skills; technicians are of kinds, each having a set. By Hall's
theorem the work fits exactly when every collection of classes needs no more minutes than those have who can
do any of it. All collections are looked at (2^k for k classes of a branch, k at most twelve), which is the
min cut of the flow from classes to kinds; the collection that is fullest names the tightest skills.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from schedules.planning.arrays import BoolArray, FloatArray, IntArray

MOST_CLASSES = 12


@dataclass(frozen=True)
class Collections:
    """c collections of k classes: ``holds`` [c, k], and ``able`` [c, m] the kinds who can do any of it."""

    holds: BoolArray
    able: BoolArray


@dataclass(frozen=True)
class Fit:
    """A branch's weeks: ``short`` [W] minutes that nobody can do however the work is dealt, ``fullest`` [W]
    minutes needed over minutes there in the fullest collection (inf where nobody can), ``holds`` [W, k] the
    classes of that collection."""

    short: FloatArray
    fullest: FloatArray
    holds: BoolArray


def collections(needs: IntArray, has: IntArray) -> Collections:
    """All collections of classes ``needs`` [k] against kinds ``has`` [m] (a bit a skill), of those with the
    same technicians only the largest. Raises ValueError for more than twelve classes."""
    k = len(needs)
    if k > MOST_CLASSES:
        raise ValueError(f"{k} sets of skills are too many")
    holds = (np.arange(1, 2**k)[:, None] >> np.arange(k)) & 1 == 1
    can = (needs[:, None] & ~has[None, :]) == 0
    able = (holds.astype(np.int64) @ can.astype(np.int64)) > 0
    # A collection that others with the same technicians hold in full is never the tighter one.
    closed = ~((~holds)[:, :, None] & can[None] & ~able[:, None, :]).any(axis=2)
    outside = ~holds & closed
    return Collections(holds[~outside.any(axis=1)], able[~outside.any(axis=1)])


def fit(needs: IntArray, minutes: FloatArray, has: IntArray, there: FloatArray) -> Fit:
    """Work ``minutes`` [k, W] of classes ``needs`` [k] against ``there`` [m, W] minutes of kinds ``has``."""
    weeks = minutes.shape[1]
    if not len(needs):
        return Fit(np.zeros(weeks), np.zeros(weeks), np.zeros((weeks, 0), dtype=np.bool_))
    every = collections(needs, has)
    wanted = every.holds.astype(np.float64) @ minutes
    able = every.able.astype(np.float64) @ there
    short = np.maximum((wanted - able).max(axis=0), 0.0)
    fullness = np.where(
        wanted > 1e-9, np.where(able > 1e-9, wanted / np.where(able > 1e-9, able, 1.0), np.inf), 0.0
    )
    # Of those as full, above all where nobody works, the one that holds the most says what is lacking.
    most = np.where(fullness == fullness.max(axis=0), every.holds.sum(axis=1)[:, None], 0)
    tightest = np.argmax(most, axis=0)
    return Fit(short, fullness.max(axis=0), every.holds[tightest])


def able_classes(needs: IntArray, has: IntArray) -> BoolArray:
    """Which classes [k] any of the kinds ``has`` [m] can do."""
    return np.asarray(((needs[:, None] & ~has[None, :]) == 0).any(axis=1), dtype=np.bool_)


def done_of(
    every: Collections, wanted: FloatArray, there: FloatArray, first: FloatArray | None = None
) -> FloatArray:
    """Minutes done [k] of ``wanted`` [k] where all is done that can be, by ``there`` [m] minutes a kind: the
    greedy of a polymatroid, whose sum is the greatest whatever the order of the classes. ``first`` [k] are
    done before and not counted."""
    able = every.able.astype(np.float64) @ there
    if first is not None:
        able = able - every.holds.astype(np.float64) @ first
    done = np.zeros(len(wanted))
    for one in range(len(wanted)):
        room = able - every.holds.astype(np.float64) @ done
        done[one] = min(wanted[one], max(float(room[every.holds[:, one]].min()), 0.0))
    return done


def left_for(need: int, needs: IntArray, minutes: FloatArray, has: IntArray, there: FloatArray) -> FloatArray:
    """Minutes [W] that there are for work of skills ``need`` where the other work, ``minutes`` [k, W] of
    classes ``needs`` [k], is done first as far as it can be: the greatest flow with as much of that work as
    anybody could want, less the greatest without it."""
    weeks = there.shape[1]
    with_it = collections(np.append(needs, need), has)
    without = collections(needs, has) if len(needs) else None
    boundless = there.sum(axis=0)
    found = np.zeros(weeks)
    for week in range(weeks):
        both = done_of(with_it, np.append(minutes[:, week], boundless[week]), there[:, week]).sum()
        other = done_of(without, minutes[:, week], there[:, week]).sum() if without else 0.0
        found[week] = both - other
    return found


def carried(
    needs: IntArray, minutes: FloatArray, stands: FloatArray, has: IntArray, there: FloatArray
) -> FloatArray:
    """Minutes [k, W] that each week begins with because those before had no time for them: work ``minutes``
    [k, W] of classes ``needs`` [k] that ``there`` [m, W] of kinds ``has`` [m] can do. What of it ``stands``
    [k, W] on its day is never carried on."""
    left = np.zeros_like(minutes)
    every = collections(needs, has) if len(needs) else None
    if every is None:
        return left
    for week in range(minutes.shape[1] - 1):
        first = done_of(every, stands[:, week], there[:, week])
        wanted = minutes[:, week] - stands[:, week] + left[:, week]
        left[:, week + 1] = wanted - done_of(every, wanted, there[:, week], first)
    return left


def upper_share(
    needs: IntArray, minutes: FloatArray, variance: FloatArray, has: IntArray, there: FloatArray, z: float
) -> FloatArray:
    """Minutes over minutes there [W] of the collection that is fullest at ``z`` deviations above its mean;
    inf where nobody can. All as in ``chance_past``."""
    if not len(needs):
        return np.zeros(minutes.shape[1])
    every = collections(needs, has)
    holds = every.holds.astype(np.float64)
    wanted = holds @ minutes + z * np.sqrt(holds @ variance)
    able = every.able.astype(np.float64) @ there
    share = np.where(able > 1e-9, wanted / np.where(able > 1e-9, able, 1.0), np.inf)
    return np.asarray(np.where(wanted > 1e-6, share, 0.0).max(axis=0))


def chance_past(
    needs: IntArray, minutes: FloatArray, variance: FloatArray, has: IntArray, there: FloatArray
) -> FloatArray:
    """Chance [W] that the fullest collection of classes comes to more than those have who can do any of it,
    by the normal approximation: at most the chance that anything does, and near it where one is the fullest.
    All as in ``fit``, and the ``variance`` [k, W] of the minutes."""
    if not len(needs):
        return np.zeros(minutes.shape[1])
    every = collections(needs, has)
    holds = every.holds.astype(np.float64)
    wanted, able = holds @ minutes, every.able.astype(np.float64) @ there
    # What has no variance is past or is not; a thousandth of a minute decides nothing.
    chance = ndtr((wanted - able - 1e-3) / np.sqrt(np.maximum(holds @ variance, 1e-8)))
    return np.asarray(np.where(wanted > 1e-6, chance, 0.0).max(axis=0))


def fewer_classes(needs: IntArray, minutes: FloatArray) -> IntArray:
    """The classes [k] as they are counted: beyond twelve those with the fewest minutes need no skill, so that
    what is short is rather told too low than too high."""
    kept = needs.copy()
    distinct = np.unique(needs)
    if len(distinct) > MOST_CLASSES:
        totals = np.array([minutes[needs == one].sum() for one in distinct])
        few = distinct[np.argsort(-totals, kind="stable")[MOST_CLASSES - 1 :]]
        kept[np.isin(needs, few)] = 0
    return kept
