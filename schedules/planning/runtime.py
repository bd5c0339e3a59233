"""Fan hours of a day: observed where there is a log, filled where it has holes, expected to come.

``hours = base + heat * max(0, Th - T) + cool * max(0, T - Tc)``, the change-point form of daily
energy models (CalTRACK methods, section 3). Balance points are searched over a grid, slopes are
least squares drawn toward ``USUAL`` with the weight of ``PRIOR_DAYS`` days. Temperatures are daily
means in degrees Celsius; degree days of hourly temperatures or of (max + min) / 2 differ by some
per cent in heating and by up to a fifth in cooling.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from schedules.planning.arrays import FloatArray, IntArray

# Base hours a day, hours a day and kelvin below and above the balance points. With a year like that
# of central Texas they give the fifth of the year seen in 189 homes there (Cetin & Novoselac).
USUAL = np.array([1.5, 0.35, 0.6])
USUAL_BALANCE_C = (13.0, 19.0)
USUAL_DAILY_HOURS = 4.8
PRIOR_DAYS = 15.0
_SLOPE_SCALE = np.array([1.0, 8.0, 6.0])
_HEAT_BALANCES = np.arange(7.0, 20.1, 1.5)
_COOL_BALANCES = np.arange(14.0, 27.1, 1.5)
_BINS_C = np.arange(-45.0, 55.0, 1.0)
_USUAL_SPREAD_H = 2.0
# Every pair of balance points that is held possible; by bin of temperature its three columns, and the
# products of these, one pair beside the next.
_PAIRS = np.array([(heat, cool) for heat in _HEAT_BALANCES for cool in _COOL_BALANCES if heat <= cool])
_HINGES = np.stack(
    [
        np.ones((len(_BINS_C), len(_PAIRS))),
        np.maximum(0.0, _PAIRS[:, 0] - _BINS_C[:, None]),
        np.maximum(0.0, _BINS_C[:, None] - _PAIRS[:, 1]),
    ],
    axis=2,
)
_COLUMNS = _HINGES.reshape(len(_BINS_C), -1)
_PRODUCTS = (_HINGES[:, :, :, None] * _HINGES[:, :, None, :]).reshape(len(_BINS_C), -1)


@dataclass(frozen=True)
class FanModel:
    """Change points of m systems: ``slopes`` [m, 3] base, heat, cool; balance points [m]; the spread
    of a day's hours about the model [m]; ``days`` [m] of log behind it."""

    slopes: FloatArray
    heat_below_c: FloatArray
    cool_above_c: FloatArray
    spread_h: FloatArray
    days: IntArray

    def hours(self, temps_c: FloatArray) -> FloatArray:
        """Hours at daily means ``temps_c`` [m, d]; NaN where the temperature is NaN."""
        heat = np.maximum(0.0, self.heat_below_c[:, None] - temps_c)
        cool = np.maximum(0.0, temps_c - self.cool_above_c[:, None])
        base, per_heat, per_cool = (self.slopes[:, [i]] for i in range(3))
        return np.clip(base + per_heat * heat + per_cool * cool, 0.0, 24.0)

    def expected(self, normal_c: FloatArray, spread_c: FloatArray) -> FloatArray:
        """Mean hours over weather that scatters by ``spread_c`` [m] about ``normal_c`` [m, d].

        The hinges bend upward, so hours at the mean temperature would be too few.
        """
        heat = _mean_excess(self.heat_below_c[:, None] - normal_c, spread_c[:, None])
        cool = _mean_excess(normal_c - self.cool_above_c[:, None], spread_c[:, None])
        base, per_heat, per_cool = (self.slopes[:, [i]] for i in range(3))
        return np.clip(base + per_heat * heat + per_cool * cool, 0.0, 24.0)


def _mean_excess(mean: FloatArray, spread: FloatArray) -> FloatArray:
    """E max(0, X) of a normal X."""
    z = mean / spread
    return np.asarray(mean * ndtr(z) + spread * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi))


def fit_fan(hours: FloatArray, temps_c: FloatArray) -> FanModel:
    """Change points of m systems from ``hours`` and ``temps_c``, both [m, d] with NaN for unknown.

    Days without both are left out. A system without any keeps the usual slopes.
    """
    counts, sums, squares = _binned(hours, temps_c)
    fitted, squared = _least_squares(counts, sums, squares)
    away = np.square(_PAIRS - np.array(USUAL_BALANCE_C)).sum(axis=1)
    drawn = np.square((fitted - USUAL) * _SLOPE_SCALE / 4).sum(axis=2)
    cost = squared + _USUAL_SPREAD_H**2 * (0.5 * away / 9.0 + PRIOR_DAYS * drawn / 15)
    best = cost.argmin(axis=1)
    rows = np.arange(len(best))
    slopes, error, balance = fitted[rows, best], squared[rows, best], _PAIRS[best]
    days = counts.sum(axis=1).astype(np.int64)
    spread = np.sqrt((np.maximum(error, 0.0) + 10 * _USUAL_SPREAD_H**2) / (days + 10))
    return FanModel(slopes, balance[:, 0], balance[:, 1], spread, days)


def _binned(hours: FloatArray, temps_c: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Days, summed hours by degree of temperature [m, bins] and summed squares [m]: all that a fit needs."""
    m = len(hours)
    row, column = np.nonzero(~(np.isnan(hours) | np.isnan(temps_c)))
    bins = np.clip(np.rint(temps_c[row, column] - _BINS_C[0]), 0, len(_BINS_C) - 1).astype(np.int64)
    place = row * len(_BINS_C) + bins
    shape = (m, len(_BINS_C))
    counts = np.bincount(place, minlength=m * len(_BINS_C)).reshape(shape).astype(np.float64)
    sums = np.bincount(place, weights=hours[row, column], minlength=m * len(_BINS_C)).reshape(shape)
    squares = np.bincount(row, weights=np.square(hours[row, column]), minlength=m)
    return counts, np.asarray(sums, dtype=np.float64), np.asarray(squares, dtype=np.float64)


def _least_squares(
    counts: FloatArray, sums: FloatArray, squares: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Slopes [m, pairs, 3], none negative, and their squared error [m, pairs] at every pair of balances."""
    m, pairs = len(counts), len(_PAIRS)
    weight = np.diag(PRIOR_DAYS * np.square(_SLOPE_SCALE) / 16)
    gram = (counts @ _PRODUCTS).reshape(m, pairs, 3, 3)
    moment = (sums @ _COLUMNS).reshape(m, pairs, 3)
    slopes = np.linalg.solve(gram + weight, (moment + USUAL @ weight)[..., None])[..., 0]
    slopes = np.maximum(slopes, 0.0)
    fitted = (gram @ slopes[..., None])[..., 0]
    return slopes, np.asarray(squares[:, None] + (slopes * (fitted - 2 * moment)).sum(axis=2))


def fill_hours(hours: FloatArray, modelled: FloatArray) -> FloatArray:
    """``hours`` [m, d] with its holes filled from ``modelled``; what neither knows from the log's mean."""
    known = ~np.isnan(hours)
    count = known.sum(axis=1)
    mean = (np.where(known, hours, 0.0).sum(axis=1) + PRIOR_DAYS * USUAL_DAILY_HOURS) / (count + PRIOR_DAYS)
    filled = np.where(known, hours, modelled)
    return np.where(np.isnan(filled), mean[:, None], filled)
