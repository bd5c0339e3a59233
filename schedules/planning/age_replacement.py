"""The age at which replacing costs least a day, where being late costs something.

Where a late change costs more, however late it is, that is the classical age replacement policy (Barlow and
Proschan): with survival S by age, planned price p and price q of a late one, changing at age t costs
``(p S(t) + q (1 - S(t))) / integral of S to t`` a day. A filter that is past its limit goes on unseen, and
each day of that does harm: where D such days weigh as much as one change, changing at age t costs
``(D + integral of 1 - S to t) / t`` changes for D days, which is least where the integral of ``s dF(s)``
from 0 to t is D, F the chance of being past by that age.
"""

import numpy as np
from scipy.integrate import cumulative_trapezoid
from scipy.special import ndtr, ndtri

from schedules.planning.arrays import FloatArray

_FINE = 8
_LEAST_CHANCE = 0.005
# At this chance the day is the middle of a life: nothing is weighed any more.
MOST_CHANCE = 0.5


def least_rate(
    ages: FloatArray, survival: FloatArray, planned: float, late: float
) -> tuple[FloatArray, FloatArray]:
    """Age [n] in the unit of ``ages`` [k] (rising from 0) at which the cost a unit of time is least, and that
    cost [n], for ``survival`` [n, k] at those ages; the last age where waiting never costs more.

    Between two ages survival is taken as a straight line, so the step sets how near it comes.
    """
    used = cumulative_trapezoid(survival, ages, axis=1)
    alive = survival[:, 1:]
    rate = (planned * alive + late * (1.0 - alive)) / np.maximum(used, 1e-12)
    best = rate.argmin(axis=1)
    return ages[1:][best], rate[np.arange(len(best)), best]


def fair_chance(ages: FloatArray, past: FloatArray, days: float) -> FloatArray:
    """Chance [n] of being past the limit from which waiting costs more than it saves, where ``days`` days
    past it weigh as much as one change; ``past`` [n, k] is that chance at ``ages`` [n, k] in days, above
    nought and rising. 0.005 at least and 0.5 at most.

    Between two ages the chance runs as a lognormal's does: straight against the log of age. Beyond one half
    a dustier house would have its filter changed later, until one that fills within ``days`` were never
    changed; up to there more dust never makes the age later (of a lognormal, by the bound of Mills' ratio).
    """
    part = np.linspace(0.0, 1.0, _FINE, endpoint=False)
    logs, line = np.log(ages), ndtri(np.clip(past, 1e-9, 1.0 - 1e-9))
    age, chance = np.exp(_between(logs, part)), ndtr(_between(line, part))
    steps = np.diff(chance, axis=1) * 0.5 * (age[:, 1:] + age[:, :-1])
    lost = np.cumsum(np.column_stack([chance[:, 0] * age[:, 0], steps]), axis=1)
    place = np.clip((lost < days).sum(axis=1), 1, lost.shape[1] - 1)
    rows = np.arange(len(ages))
    before, after = lost[rows, place - 1], lost[rows, place]
    share = np.clip((days - before) / np.maximum(after - before, 1e-12), 0.0, 1.0)
    low, high = chance[rows, place - 1], chance[rows, place]
    return np.asarray(np.clip(low + share * (high - low), _LEAST_CHANCE, MOST_CHANCE))


def _between(knots: FloatArray, part: FloatArray) -> FloatArray:
    steps = knots[:, :-1, None] + np.diff(knots, axis=1)[:, :, None] * part
    return np.column_stack([steps.reshape(len(knots), steps.shape[1] * steps.shape[2]), knots[:, -1]])
