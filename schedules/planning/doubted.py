"""Readings of the present filters that the dates hardly believe: so far from all else that is known that a
slip of the meter is likelier than so much, or so little, dust; and two of one visit that differ."""

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.chance import Dose, pace
from schedules.planning.loading import FACTORS, SHAPES, Lives, Readings, growth
from schedules.planning.oddities import Odd, OddKind, scatter
from schedules.planning.pooling import Learned

# Standard deviations of meter and method beyond the nine tenths that are held possible, lasting factors
# and all. Own estimate: few readings that are right lie there.
_SIGMAS = 3.0
# Of the dose, nine tenths of what is held possible.
_SPAN = 1.645
_ONE_VISIT_DAYS = 0.5


def doubted(lives: Lives, readings: Readings, at: FloatArray, learned: Learned) -> list[Odd]:
    """The readings, taken at the instants ``at`` [readings], that lie there."""
    rows = np.flatnonzero(lives.current[readings.life])
    life = readings.life[rows]
    slot, clean, seen = lives.slot[life], lives.clean_pa[life], readings.drop_pa[rows]
    dose = pace(learned.of(slot), readings.exposure_m[rows]).present
    low, middle, high = (clean * _roughly(dose, away) for away in (-_SPAN, 0.0, _SPAN))
    room = _SIGMAS * scatter(seen)
    out = np.flatnonzero((seen > FACTORS[-1] * high + room) | (seen < FACTORS[0] * low - room))
    later = _apart(life, at[rows], seen)
    return [
        *_odd(OddKind.DOUBTED, slot[out], at[rows[out]], seen[out], middle[out]),
        *_odd(OddKind.APART, slot[later], at[rows[later]], seen[later], seen[later - 1]),
    ]


def _apart(life: IntArray, at: FloatArray, seen: FloatArray) -> IntArray:
    """The second of two within hours that rise by more than meter and method; that they fall is found
    elsewhere."""
    noise = np.sqrt(np.square(scatter(seen[1:])) + np.square(scatter(seen[:-1])))
    rise = (np.diff(seen) > _SIGMAS * noise) & (np.diff(at) < _ONE_VISIT_DAYS) & (np.diff(life) == 0)
    return np.flatnonzero(rise) + 1


def _odd(kind: OddKind, slot: IntArray, at: FloatArray, seen: FloatArray, beside: FloatArray) -> list[Odd]:
    rows = zip(slot.tolist(), at.tolist(), seen.tolist(), beside.tolist(), strict=True)
    return [Odd(one, True, kind, *told) for one, *told in rows]


def _roughly(dose: Dose, away: float) -> FloatArray:
    """Drop over clean drop at the dose ``away`` deviations from each shape's middle, [n]."""
    grown = growth(np.exp(dose.mean + away * dose.deviation), SHAPES)
    return np.asarray((dose.weight * grown).sum(axis=1))
