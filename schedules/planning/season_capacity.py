"""Whether the technicians can do a week's work at all, skill by skill: no assignment is made.

Work comes in classes, each needing a set of skills; technicians are of kinds, each having a set. By Hall's
theorem the work fits exactly when every collection of classes needs no more minutes than those have who can
do any of it. All collections are looked at (2^k for k classes of a branch, k at most twelve), which is the
min cut of the flow from classes to kinds; the collection that is fullest names the tightest skills.
"""

from dataclasses import dataclass

import numpy as np

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
    tightest = np.argmax(fullness, axis=0)
    return Fit(short, fullness.max(axis=0), every.holds[tightest])


def able_classes(needs: IntArray, has: IntArray, there: FloatArray) -> BoolArray:
    """Which classes [k] anybody of the kinds ``has`` [m] who works at all (``there`` [m, W]) can do; all of
    them where nobody works, for then it is not skill that is lacking."""
    works = has[there.sum(axis=1) > 0]
    if not len(works):
        return np.ones(len(needs), dtype=np.bool_)
    return np.asarray(((needs[:, None] & ~works[None, :]) == 0).any(axis=1), dtype=np.bool_)


def left_for(
    people: BoolArray, needs: IntArray, minutes: FloatArray, has: IntArray, there: FloatArray
) -> FloatArray:
    """Minutes [W] that ``people`` [m] have left where the other work ``minutes`` [k, W] of classes ``needs``
    [k] is done first, by whoever else can: the min cut of the flow, over the collections of that work. What
    those who can do it have no time for takes no more of them than all that they have."""
    found = there[people].sum(axis=0)
    can = able_classes(needs, has, there)
    if not can.any():
        return np.asarray(found)
    every = collections(needs[can], has)
    able = every.able.astype(np.float64) @ there
    wanted = np.minimum(every.holds.astype(np.float64) @ minutes[can], able)
    either = (every.able | people[None, :]).astype(np.float64) @ there
    return np.asarray(np.maximum(np.minimum(found, (either - wanted).min(axis=0)), 0.0))


def carried(needs: IntArray, minutes: FloatArray, has: IntArray, there: FloatArray) -> FloatArray:
    """Minutes [W] that each week begins with because those before had no time for them, class by class: work
    ``minutes`` [k, W] of classes ``needs`` [k] that ``there`` [m, W] of kinds ``has`` [m] can do."""
    weeks = minutes.shape[1]
    left, waits = np.zeros(weeks), np.zeros(len(needs))
    for week in range(weeks):
        left[week] = waits.sum()
        wanted = minutes[:, week] + waits
        waits = _waiting(needs, wanted, has, there[:, week])
    return left


def _waiting(needs: IntArray, wanted: FloatArray, has: IntArray, there: FloatArray) -> FloatArray:
    """What is not done [k] of ``wanted`` [k]: the shortest collection gives up its share, until all fits."""
    done = wanted.copy()
    for _round in range(len(needs)):
        every = collections(needs, has)
        short = every.holds.astype(np.float64) @ done - every.able.astype(np.float64) @ there
        worst = int(np.argmax(short))
        if short[worst] <= 1e-9:
            break
        inside = every.holds[worst]
        done[inside] *= 1.0 - short[worst] / done[inside].sum()
    return np.asarray(wanted - done)


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
