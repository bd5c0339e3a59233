"""The day on which energy and change together cost least a day, for a blower that holds its airflow.

A loading filter makes such a blower work harder: extra power is airflow times the drop above clean over
the blower's efficiency. Over a filter's life of so many days the cost a day is ``(price of a change +
energy so far) / days``; it falls while the filter is young and rises again once the drop outruns it.
"""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.interval import HORIZON_DAYS, NEVER, YearAhead
from schedules.planning.loading import SHAPES
from schedules.planning.supposed import Supposed

_J_PER_KWH = 3.6e6
# Days ahead at which the cost a day is looked at.
LOOKED_AT = np.concatenate(
    [np.arange(0, 60), np.arange(60, 210, 3), np.arange(210, 735, 7), np.arange(735, HORIZON_DAYS, 28)]
)


def summed_growth(dose: FloatArray, shape: FloatArray) -> FloatArray:
    """Integral of the growth above one from nought to ``dose`` (broadcast with ``shape`` > 0)."""
    bent = np.minimum(shape * dose, 60.0)
    return np.asarray((np.expm1(bent) / shape - dose) / np.expm1(shape))


@dataclass(frozen=True)
class Filters:
    """What the energy of n filters hangs on, [n]: clean drop in Pa, airflow in m3/s, face velocity in m/s,
    exposure so far in m, and which suppositions hold of them."""

    clean_pa: FloatArray
    airflow_m3s: FloatArray
    velocity_ms: FloatArray
    used_m: FloatArray
    supposed: Supposed

    def of(self, rows: IntArray) -> "Filters":
        """Some of the filters."""
        supposed = Supposed(*(part[rows] for part in vars(self.supposed).values()))
        clean, airflow, velocity = self.clean_pa[rows], self.airflow_m3s[rows], self.velocity_ms[rows]
        return Filters(clean, airflow, velocity, self.used_m[rows], supposed)


def energy_kwh(filters: Filters, ahead_m: FloatArray, efficiency: float) -> FloatArray:
    """Expected extra energy [n, days] of each filter's whole life once ``ahead_m`` [n, days] more passed."""
    supposed, used_m = filters.supposed, filters.used_m
    watts_a_pa = (filters.airflow_m3s * filters.clean_pa / (efficiency * filters.velocity_ms))[:, None]
    shape = SHAPES[:, None]
    total = np.zeros_like(ahead_m)
    so_far = np.exp(supposed.so_far) * used_m[:, None, None]
    behind = summed_growth(so_far, shape) * np.exp(-supposed.so_far)
    for place in range(ahead_m.shape[1]):
        dose = so_far + np.exp(supposed.to_come) * ahead_m[:, place, None, None]
        more = (summed_growth(dose, shape) - summed_growth(so_far, shape)) * np.exp(-supposed.to_come)
        total[:, place] = (supposed.weight * (behind + more)).sum(axis=(1, 2))
    return np.asarray(watts_a_pa * total / _J_PER_KWH)


def least_cost_day(
    cost_so_far: FloatArray, cost_ahead: FloatArray, age_days: FloatArray, usable: BoolArray
) -> IntArray:
    """Days [n] ahead at which the cost a day of the whole life is least; NEVER where it falls to the end.

    ``cost_so_far`` [n] is the price of a change, ``cost_ahead`` [n, days at LOOKED_AT] what the energy of
    the whole life costs by then, ``age_days`` [n] how long the filter has been in.
    """
    whole = np.maximum(age_days[:, None] + LOOKED_AT, 1.0)
    a_day = (cost_so_far[:, None] + cost_ahead) / whole
    best = np.argmin(a_day, axis=1)
    decides = usable & (best < len(LOOKED_AT) - 1)
    return np.where(decides, LOOKED_AT[best], NEVER).astype(np.int64)


def cost_days(
    filters: Filters,
    ahead: YearAhead,
    price: FloatArray,
    kwh_price: float,
    age_days: FloatArray,
    efficiency: float,
) -> IntArray:
    """Days [n] ahead at which the cost a day is least, NEVER for none; ``price`` [n] of a change, NaN or
    nought where none is known, ``age_days`` [n] since the filter went in."""  # fmt: skip
    known = (price > 0) & (filters.clean_pa > 0) & ~np.isnan(filters.airflow_m3s)
    out = np.full(len(price), NEVER)
    rows = np.flatnonzero(known)
    if len(rows):
        looked = np.broadcast_to(LOOKED_AT, (len(rows), len(LOOKED_AT)))
        energy = kwh_price * energy_kwh(filters.of(rows), ahead.of(rows).until(looked), efficiency)
        out[rows] = least_cost_day(price[rows], energy, age_days[rows], np.full(len(rows), True))
    return out
