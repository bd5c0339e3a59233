"""What a manometer is expected to show on a day to come: the promise that later readings are held to.

Drop at design airflow. Each supposition's dose grows with the exposure to come and its scatter; the
meter's and the method's noise and what a slot's airflow and label are off for good come on top.
"""

import numpy as np
from scipy.special import ndtr

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.forecast import FleetForecast
from schedules.planning.interval import YearAhead, spread_after
from schedules.planning.loading import METER_PA, METHOD_SHARE, SHAPES, growth

CHANCES = (0.1, 0.5, 0.9)
# Spread of the log of a slot's lasting factor, from the usual weights of loading.FACTORS.
FACTOR_SPREAD = 0.094
_SCATTER, _SCATTER_WEIGHTS = np.polynomial.hermite_e.hermegauss(9)
_HALVINGS = 40
# No blower of a home draws more, and no meter there shows it.
_HIGHEST_PA = 2500.0


def foretell(result: FleetForecast, clean_pa: FloatArray, days: IntArray, rows: IntArray) -> FloatArray:
    """Drops in Pa [3, k] read with at most 10, 50 and 90 % at the end of ``days`` [k] after the as-of day,
    at the slots ``rows`` [k] of the forecast, whose clean drops [k] are given; NaN where there is none."""
    supposed = result.supposed
    dose = np.exp(supposed.so_far[rows]) * result.used_m[rows][:, None, None]
    passed = _ahead(result.ahead, rows).until(days)
    to_come = np.exp(supposed.to_come[rows]) * passed[:, None, None]
    spread = spread_after(days.astype(np.float64), result.has_log[rows])
    scatter = np.exp(spread[:, None] * _SCATTER)
    whole = dose[..., None] + to_come[..., None] * scatter[:, None, None, :]
    ratio = growth(whole, SHAPES[None, :, None, None]).reshape(len(rows), -1)
    weight = supposed.weight[rows][..., None] * (_SCATTER_WEIGHTS / _SCATTER_WEIGHTS.sum())
    drop = np.minimum(ratio * clean_pa[:, None], _HIGHEST_PA)
    return _quantiles(drop, weight.reshape(len(rows), -1))


def _ahead(ahead: YearAhead, rows: IntArray) -> YearAhead:
    """The year of ``rows``, which may come in any order and more than once."""
    return YearAhead(ahead.running[rows], None if ahead.surplus is None else ahead.surplus[rows])


def _quantiles(drop_pa: FloatArray, weight: FloatArray) -> FloatArray:
    """Quantiles [3, k] of readings about ``drop_pa`` [k, m], each with its ``weight``, by bisection."""
    noise = np.sqrt(METER_PA**2 + (METHOD_SHARE**2 + FACTOR_SPREAD**2) * np.square(drop_pa))
    out = []
    for chance in CHANCES:
        low, high = np.zeros(len(drop_pa)), (drop_pa + 5 * noise).max(axis=1)
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            below = (weight * ndtr((middle[:, None] - drop_pa) / noise)).sum(axis=1) < chance
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        out.append(0.5 * (low + high))
    told = np.stack(out)
    return np.where(np.isfinite(drop_pa).all(axis=1), told, np.nan)
