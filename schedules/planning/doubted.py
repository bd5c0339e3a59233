"""Readings of the present filters that the dates hardly believe: so far from all else that is known that a
slip of the meter is likelier than so much, or so little, dust; two of one visit that differ; and slots that
read above or below their label at every age."""

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.loading import FACTORS, PAIR_FACTOR, SHAPES, Lives, Readings, growth
from schedules.planning.oddities import Odd, OddKind, at_odds, scatter
from schedules.planning.pooling import Learned

# Standard deviations of meter and method beyond the nine tenths that are held possible, lasting factors
# and all. Own estimate: few readings that are right lie there.
_SIGMAS = 3.0
# Of the dose, nine tenths of what is held possible.
_SPAN = 1.645
# Of a slot read so often, a lasting factor is told whose logarithm is held to lie so far from nought: nearly
# all of its weight on the outermost. Own choice.
_FEWEST_READINGS = 3
_FAR_OFF = 0.15


def doubted(lives: Lives, readings: Readings, at: FloatArray, learned: Learned) -> list[Odd]:
    """The readings, taken at the instants ``at`` [readings], that lie there; of a life no second one does, or
    both are believed."""
    rows = np.flatnonzero(lives.current[readings.life])
    life = readings.life[rows]
    slot, clean, seen = lives.slot[life], lives.clean_pa[life], readings.drop_pa[rows]
    middle_dose = learned.besides[slot] + np.log(readings.exposure_m[rows])
    spread = np.sqrt(learned.besides_var[slot])
    weight = learned.weight[slot]
    low, middle, high = (
        clean * _roughly(middle_dose + away * spread, weight) for away in (-_SPAN, 0.0, _SPAN)
    )
    room = _SIGMAS * scatter(seen)
    far = (seen > FACTORS[-1] * high + room) | (seen < FACTORS[0] * low - room)
    out = np.flatnonzero(far & (np.bincount(life, far, minlength=len(lives.slot))[life] == 1))
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
    often = np.bincount(slot)[slot[last]] >= _FEWEST_READINGS
    off = learned.pairs.weight[slot[last]] @ np.log(PAIR_FACTOR)
    out: list[Odd] = []
    for kind, far in ((OddKind.ABOVE_LABEL, off > _FAR_OFF), (OddKind.BELOW_LABEL, off < -_FAR_OFF)):
        rows, seen = last[often & far], readings.drop_pa[last[often & far]]
        out.extend(_odd(kind, slot[rows], at[rows], seen, seen / np.exp(off[often & far])))
    return out


def _odd(kind: OddKind, slot: IntArray, at: FloatArray, seen: FloatArray, beside: FloatArray) -> list[Odd]:
    rows = zip(slot.tolist(), at.tolist(), seen.tolist(), beside.tolist(), strict=True)
    return [Odd(one, True, kind, *told) for one, *told in rows]


def _roughly(log_dose: FloatArray, weight: FloatArray) -> FloatArray:
    """Drop over clean drop at ``log_dose`` [n], shapes weighed by ``weight`` [n, shapes]."""
    grown = growth(np.exp(log_dose)[:, None], SHAPES)
    return np.asarray((weight * grown).sum(axis=1))
