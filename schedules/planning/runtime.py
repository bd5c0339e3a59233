"""Fan hours of a day: observed where there is a log, filled where it has holes, expected to come.

``hours = base + heat * max(0, Th - T) + cool * max(0, T - Tc)``, the change-point form of daily
energy models (CalTRACK methods, section 3). Balance points are searched over a grid, slopes are
least squares drawn toward ``USUAL`` with the weight of ``PRIOR_DAYS`` days. Temperatures are daily
means in degrees Celsius; degree days of hourly temperatures or of (max + min) / 2 differ by some
per cent in heating and by up to a fifth in cooling.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from schedules.planning.arrays import BoolArray, FloatArray, IntArray

# Base hours a day, hours a day and kelvin below and above the balance points. With a year like that
# of central Texas they give the fifth of the year seen in 189 homes there (Cetin & Novoselac).
USUAL = np.array([1.5, 0.35, 0.6])
USUAL_BALANCE_C = (13.0, 19.0)
USUAL_DAILY_HOURS = 4.8
PRIOR_DAYS = 15.0
_SLOPE_SCALE = np.array([1.0, 8.0, 6.0])
_HEAT_BALANCES = np.arange(7.0, 20.1, 1.5)
_COOL_BALANCES = np.arange(14.0, 27.1, 1.5)
_USUAL_SPREAD_H = 2.0
_HEATS = len(_HEAT_BALANCES)
_ORDERED = _HEAT_BALANCES[:, None] <= _COOL_BALANCES


@dataclass(frozen=True)
class FanModel:
    """Change points of m systems: ``slopes`` [m, 3] base, heat, cool; balance points [m]; the spread
    of a day's hours about the model [m]; ``days`` [m] of log behind it."""

    slopes: FloatArray
    heat_below_c: FloatArray
    cool_above_c: FloatArray
    spread_h: FloatArray
    days: IntArray

    def hours(self, temps_c: FloatArray, station: IntArray) -> FloatArray:
        """Hours [m, d] at the daily means ``temps_c`` [k, d] of k stations, of which each system has the one
        at ``station`` [m]; NaN where the temperature is NaN."""
        heat = _each_once(self.heat_below_c, station, lambda below, k: np.maximum(0.0, below - temps_c[k]))
        cool = _each_once(self.cool_above_c, station, lambda above, k: np.maximum(0.0, temps_c[k] - above))
        return self._of_hinges(heat, cool)

    def expected(self, normal_c: FloatArray, spread_c: FloatArray, station: IntArray) -> FloatArray:
        """Mean hours [m, d] over weather that scatters by ``spread_c`` [k] about ``normal_c`` [k, d].

        The hinges bend upward, so hours at the mean temperature would be too few.
        """

        def colder(below: FloatArray, k: IntArray) -> FloatArray:
            return _mean_excess(below - normal_c[k], spread_c[k][:, None])

        def warmer(above: FloatArray, k: IntArray) -> FloatArray:
            return _mean_excess(normal_c[k] - above, spread_c[k][:, None])

        heat = _each_once(self.heat_below_c, station, colder)
        return self._of_hinges(heat, _each_once(self.cool_above_c, station, warmer))

    def _of_hinges(self, heat: FloatArray, cool: FloatArray) -> FloatArray:
        base, per_heat, per_cool = (self.slopes[:, [i]] for i in range(3))
        heat *= per_heat
        cool *= per_cool
        heat += cool
        heat += base
        return np.clip(heat, 0.0, 24.0, out=heat)


def _each_once(
    balance_c: FloatArray, station: IntArray, hinge: Callable[[FloatArray, IntArray], FloatArray]
) -> FloatArray:
    """``hinge`` of each system's balance point and station, [m, d], reckoned once for all that share both."""
    # One number for both: no balance point lies so far from nought.
    _, first, place = np.unique(station * 1e4 + balance_c, return_index=True, return_inverse=True)
    return hinge(balance_c[first][:, None], station[first])[place]


def _mean_excess(mean: FloatArray, spread: FloatArray) -> FloatArray:
    """E max(0, X) of a normal X."""
    z = mean / spread
    return np.asarray(mean * ndtr(z) + spread * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi))


def fit_fan(hours: FloatArray, temps_c: FloatArray, station: IntArray) -> FanModel:
    """Change points of m systems from ``hours`` [m, d] and the ``temps_c`` [k, d] of k stations, both with
    NaN for unknown; each system has the temperatures at ``station`` [m].

    Days without both are left out. A system without any keeps the usual slopes.
    """
    sums = _summed(hours, temps_c, station)
    slopes, squared = _least_squares(sums)
    away = np.square(_HEAT_BALANCES - USUAL_BALANCE_C[0])[:, None] + np.square(
        _COOL_BALANCES - USUAL_BALANCE_C[1]
    )
    drawn = sum(
        np.square((slope - usual) * scale / 4)
        for slope, usual, scale in zip(slopes, USUAL, _SLOPE_SCALE, strict=True)
    )
    cost = squared + _USUAL_SPREAD_H**2 * (0.5 * away[:, :, None] / 9.0 + PRIOR_DAYS * drawn / 15)
    cost[~_ORDERED] = np.inf
    everybody = np.arange(len(hours))
    heat, cool = np.divmod(cost.reshape(_ORDERED.size, len(hours)).argmin(axis=0), len(_COOL_BALANCES))
    error, days = squared[heat, cool, everybody], sums.days.astype(np.int64)
    spread = np.sqrt((np.maximum(error, 0.0) + 10 * _USUAL_SPREAD_H**2) / (days + 10))
    best = np.stack([slope[heat, cool, everybody] for slope in slopes], axis=1)
    return FanModel(best, _HEAT_BALANCES[heat], _COOL_BALANCES[cool], spread, days)


@dataclass(frozen=True)
class _Sums:
    """All that a fit needs of the days with both known: their number and squared hours [m]; the sums of each
    balance point's degrees below or above and of their squares, ``hinges`` and ``squares``
    [heats + cools, m]; and of hours times one and times each, ``moments`` [1 + heats + cools, m]."""

    days: FloatArray
    squared_hours: FloatArray
    hinges: FloatArray
    squares: FloatArray
    moments: FloatArray


def _summed(hours: FloatArray, temps_c: FloatArray, station: IntArray) -> _Sums:
    """A matrix product for each station, its systems together."""
    known = ~np.isnan(hours)
    plain, marks = np.where(known, hours, 0.0), known.astype(np.float64)
    balances = _HEATS + len(_COOL_BALANCES)
    told = np.empty((1 + 2 * balances, len(hours)))
    moments, squared = np.empty((1 + balances, len(hours))), np.empty(len(hours))
    order = np.argsort(station, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(station[order])) + 1):
        if len(rows):
            days, here = _logged(known[rows]), station[rows[0]]
            columns = _columns(temps_c[here, days])
            told[:, rows] = columns @ marks[rows, days].T
            moments[:, rows] = columns[: 1 + balances] @ plain[rows, days].T
            squared[rows] = np.square(plain[rows, days]) @ columns[0]
    return _Sums(told[0], squared, told[1 : 1 + balances], told[1 + balances :], moments)


def _logged(known: BoolArray) -> slice:
    """From the first to the last day that any of the systems [r, d] has in its log."""
    days = np.flatnonzero(known.any(axis=0))
    return slice(int(days[0]), int(days[-1]) + 1) if len(days) else slice(0)


def _columns(temps_c: FloatArray) -> FloatArray:
    """[1 + 2 (heats + cools), d]: ones, degrees below and above each balance point and their squares; nought
    on days without a temperature."""
    known = ~np.isnan(temps_c)
    temps = np.where(known, temps_c, 0.0)
    below = np.maximum(0.0, _HEAT_BALANCES[:, None] - temps)
    above = np.maximum(0.0, temps - _COOL_BALANCES[:, None])
    hinges = np.concatenate([below, above])
    return np.concatenate([np.ones((1, len(temps))), hinges, np.square(hinges)]) * known


def _least_squares(sums: _Sums) -> tuple[tuple[FloatArray, FloatArray, FloatArray], FloatArray]:
    """Base, heating and cooling slope, negative ones set to nought without solving anew for the others, and
    their squared error, each [heats, cools, m], at every pair of balance points; where heating ends below
    where cooling begins no day has both, so that the normal equations are solved by hand."""
    weight = PRIOR_DAYS * np.square(_SLOPE_SCALE) / 16
    drawn = USUAL * weight

    def side(places: slice, own: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        total, square, moment = sums.hinges[places], sums.squares[places], sums.moments[1:][places]
        return total, square, moment, 1.0 / (square + weight[own])

    heats, heat_square, heat_moment, per_heat = (part[:, None] for part in side(slice(0, _HEATS), 1))
    cools, cool_square, cool_moment, per_cool = side(slice(_HEATS, None), 2)
    want_heat, want_cool = heat_moment + drawn[1], cool_moment + drawn[2]
    base = sums.moments[0] + drawn[0] - heats * per_heat * want_heat - cools * per_cool * want_cool
    base /= sums.days + weight[0] - np.square(heats) * per_heat - np.square(cools) * per_cool
    heat = np.maximum(per_heat * (want_heat - heats * base), 0.0)
    cool = np.maximum(per_cool * (want_cool - cools * base), 0.0)
    base = np.maximum(base, 0.0)
    error = (
        sums.squared_hours
        + base * (base * sums.days - 2.0 * sums.moments[0])
        + heat * (heat * heat_square + 2.0 * (base * heats - heat_moment))
        + cool * (cool * cool_square + 2.0 * (base * cools - cool_moment))
    )
    return (base, heat, cool), error


def fill_hours(hours: FloatArray, modelled: FloatArray) -> FloatArray:
    """``hours`` [m, d] with its holes filled from ``modelled``; what neither knows from the log's mean."""
    known = ~np.isnan(hours)
    count = known.sum(axis=1)
    mean = (np.where(known, hours, 0.0).sum(axis=1) + PRIOR_DAYS * USUAL_DAILY_HOURS) / (count + PRIOR_DAYS)
    filled = np.where(known, hours, modelled)
    return np.where(np.isnan(filled), mean[:, None], filled)
