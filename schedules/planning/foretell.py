"""What a manometer is expected to show on a day to come: the promise that later readings are held to.

Drop at design airflow. The dose grows with the exposure to come and its scatter; what a slot's airflow and
label are off for good, as far as its readings tell, and the meter's and the method's noise come on top.
"""

import numpy as np
from scipy.special import ndtr

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.chance import Dose, crossing, pace
from schedules.planning.forecast import FleetForecast
from schedules.planning.interval import YearAhead
from schedules.planning.loading import HIGHEST_PA, METER_PA, METHOD_SHARE, PAIR_FACTOR, PAIR_SHAPE, dose_at

CHANCES = (0.1, 0.5, 0.9)
# What label and airflow are off beyond the factors that are held possible, and what the future holds beside
# dust: own estimate.
BEYOND_SHARE = 0.09
# Deviations of meter and all that together, and how much each weighs.
_DEVIATIONS = np.linspace(-4.0, 4.0, 33)
_WEIGHTS = np.exp(-0.5 * np.square(_DEVIATIONS)) / np.exp(-0.5 * np.square(_DEVIATIONS)).sum()
# Within some hundredths of a Pa.
_STEPS = 19


def foretell(result: FleetForecast, clean_pa: FloatArray, days: IntArray, rows: IntArray) -> FloatArray:
    """Drops in Pa [3, k] read with at most 10, 50 and 90 % at the end of ``days`` [k] after the as-of day,
    at the slots ``rows`` [k] of the forecast, whose clean drops [k] are given; NaN where there is none."""
    loading = pace(result.learned.pairs.of(rows), result.used_m[rows])
    passed = _ahead(result.ahead, rows).until(days)
    dose = loading.after(passed, result.scatter.over(days, rows), slice(None))
    today = loading.present
    come = (days > 0)[:, None]
    mean = np.where(come, dose.mean, today.mean)
    deviation = np.where(come, dose.deviation, today.deviation)
    return _quantiles(Dose(mean, deviation, dose.weight), clean_pa, result.noise)


def _ahead(ahead: YearAhead, rows: IntArray) -> YearAhead:
    """The year of ``rows``, which may come in any order and more than once."""
    return YearAhead(ahead.running[rows], None if ahead.surplus is None else ahead.surplus[rows])


def _quantiles(dose: Dose, clean_pa: FloatArray, noise: float) -> FloatArray:
    """Quantiles [3, k] of what is read with meter and method ``noise`` times the usual."""
    low, high = np.zeros(len(clean_pa)), np.full(len(clean_pa), 2 * HIGHEST_PA)

    def by(read_pa: FloatArray) -> FloatArray:
        return _read_below(dose, clean_pa, read_pa, noise)

    told = np.stack([crossing(by, chance, low, high, _STEPS) for chance in CHANCES])
    return np.where(clean_pa > 0, told, np.nan)


def _read_below(dose: Dose, clean_pa: FloatArray, read_pa: FloatArray, noise: float) -> FloatArray:
    """Chance [k] of reading less than ``read_pa``: the drop lies below the one that would show it, at each
    deviation of the instruments.

    With deviation e a drop d shows ``d + e sqrt(meter^2 + share^2 d^2)``, which is solved for d; and what
    shows is the true drop times the slot's lasting factor.
    """
    meter, off = (noise * METER_PA) ** 2, (noise * METHOD_SHARE) ** 2 + BEYOND_SHARE**2
    share = 1.0 - np.square(_DEVIATIONS) * off
    root = np.sqrt(meter * share + off * np.square(read_pa)[:, None])
    drop = np.maximum((read_pa[:, None] - _DEVIATIONS * root) / share, 0.0)
    clean = np.where(clean_pa > 0, clean_pa, 1.0)[:, None, None] * PAIR_FACTOR
    limit = dose_at(np.maximum(drop[:, :, None] / clean, 1.0 + 1e-9), PAIR_SHAPE)
    gap = (np.log(limit) - dose.mean[:, None, :]) / dose.deviation[:, None, :]
    # A fresh filter is at its clean drop for sure: between two deviations it is passed by and by.
    apart = (_DEVIATIONS[1] - _DEVIATIONS[0]) * np.sqrt(meter + off * np.square(clean))
    sure = np.clip((drop[:, :, None] - clean) / apart + 0.5, 0.0, 1.0)
    below = (dose.weight[:, None, :] * ndtr(gap) * sure).sum(axis=2)
    return np.asarray(np.where(drop >= HIGHEST_PA, 1.0, below) @ _WEIGHTS)
