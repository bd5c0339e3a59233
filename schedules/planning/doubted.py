"""Readings of the present filters that the dates hardly believe: so far from all else that is known that a
slip of the meter is likelier than so much, or so little, dust; two of one visit that differ; and slots that
read above or below their label time and again."""

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.chance import pace
from schedules.planning.loading import FACTORS, PAIR_FACTOR, SHAPES, Lives, Readings, growth
from schedules.planning.oddities import Odd, OddKind, at_odds, scatter
from schedules.planning.pooling import Learned

# Standard deviations of meter and method beyond the nine tenths that are held possible, lasting factors
# and all. Own estimate: few readings that are right lie there.
_SIGMAS = 3.0
# Of the dose, nine tenths of what is held possible.
_SPAN = 1.645
# Of a slot read on so many days, a lasting factor is told whose logarithm is held to lie so far from nought:
# nearly all of its weight on the outermost. Own choice.
_FEWEST_DAYS = 3
_FAR_OFF = 0.15


def doubted(lives: Lives, readings: Readings, at: FloatArray, learned: Learned) -> list[Odd]:
    """The readings, taken at the instants ``at`` [readings], that lie there: the only one of its life, or
    several that the date does not follow."""
    rows = np.flatnonzero(lives.current[readings.life])
    life = readings.life[rows]
    slot, clean, seen = lives.slot[life], lives.clean_pa[life], readings.drop_pa[rows]
    middle_dose = learned.besides[slot] + np.log(readings.exposure_m[rows])
    spread = np.sqrt(learned.besides_var[slot])
    weight = learned.weight[slot]
    low, middle, high = (
        clean * _of_shapes((middle_dose + away * spread)[:, None], weight) for away in (-_SPAN, 0.0, _SPAN)
    )
    far = _beyond(seen, low, high)
    alone = np.bincount(life, far, minlength=len(lives.slot))[life] == 1
    held = pace(learned.of(slot), readings.exposure_m[rows]).present
    sides = (held.mean + away * held.deviation for away in (-_SPAN, _SPAN))
    disbelieved = _beyond(seen, *(clean * _of_shapes(side, weight) for side in sides))
    out = np.flatnonzero(far & (alone | disbelieved))
    later = np.flatnonzero(at_odds(life, at[rows], seen))
    return [
        *_odd(OddKind.DOUBTED, slot[out], at[rows[out]], seen[out], middle[out]),
        *_odd(OddKind.APART, slot[later], at[rows[later]], seen[later], seen[later - 1]),
    ]


def off_label(lives: Lives, readings: Readings, at: FloatArray, learned: Learned) -> list[Odd]:
    """Slots whose readings lie by a lasting factor far off what label and airflow explain, at the last of
    them; ``at`` [readings]."""
    slot = lives.slot[readings.life]
    last = np.flatnonzero(np.diff(slot, append=-1))
    another = np.append(True, (np.diff(slot) != 0) | (np.diff(np.floor(at)) != 0))[: len(slot)]
    often = np.bincount(slot, another)[slot[last]] >= _FEWEST_DAYS
    off = learned.pairs.weight[slot[last]] @ np.log(PAIR_FACTOR)
    out: list[Odd] = []
    for kind, far in ((OddKind.ABOVE_LABEL, off > _FAR_OFF), (OddKind.BELOW_LABEL, off < -_FAR_OFF)):
        rows, seen = last[often & far], readings.drop_pa[last[often & far]]
        out.extend(_odd(kind, slot[rows], at[rows], seen, seen / np.exp(off[often & far])))
    return out


def _odd(kind: OddKind, slot: IntArray, at: FloatArray, seen: FloatArray, beside: FloatArray) -> list[Odd]:
    rows = zip(slot.tolist(), at.tolist(), seen.tolist(), beside.tolist(), strict=True)
    return [Odd(one, True, kind, *told) for one, *told in rows]


def _beyond(seen: FloatArray, low: FloatArray, high: FloatArray) -> BoolArray:
    """Which readings lie beyond ``low`` and ``high``, lasting factors, meter and method and all."""
    room = _SIGMAS * scatter(seen)
    return np.asarray((seen > FACTORS[-1] * high + room) | (seen < FACTORS[0] * low - room))


def _of_shapes(log_dose: FloatArray, weight: FloatArray) -> FloatArray:
    """Drop over clean drop at ``log_dose`` [n, shapes], shapes weighed by ``weight`` [n, shapes]."""
    return np.asarray((weight * growth(np.exp(log_dose), SHAPES)).sum(axis=1))
