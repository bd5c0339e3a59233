"""Fan hours of every system of a batch: observed, filled, and expected for the year ahead."""

from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray, columns_of, rows_of
from schedules.planning.climate import fit_climate
from schedules.planning.facts import Systems, Weather
from schedules.planning.runtime import PRIOR_DAYS, USUAL_DAILY_HOURS, FanModel, fill_hours, fit_fan

# With so many days of log, a third of a year, nothing is unknown for want of one.
_LOG_DAYS = 120.0


@dataclass(frozen=True)
class Fan:
    """Fan hours of m systems: ``running`` [m, days + 1] totals from the first day, ``ahead`` [m, 365]
    expected hours from the day after the as-of day, the model behind them, and what share of the doubt
    about hours that nobody logged is left by how much of a log there is (``unlogged`` [m]: one without any).

    ``doubt`` [m] is the chance that a log is wrong, where readings stand against it (``idle``).
    ``laden`` [m, days + 1] are the totals with each day's hours times its dust; ``surplus`` [m, 365] is
    what unusual dust adds to a day's hours ahead. None: dust as usual.
    """

    first_day: int
    running: FloatArray
    ahead: FloatArray
    model: FanModel
    unlogged: FloatArray
    doubt: FloatArray
    laden: FloatArray | None = None
    surplus: FloatArray | None = None

    @property
    def unknown(self) -> FloatArray:
        """What share of the doubt about hours that nobody logged each system has, [m]: for want of a log,
        or of a right one."""
        return np.maximum(self.unlogged, self.doubt)

    @property
    def loading(self) -> FloatArray:
        """The totals that load a filter, [m, days + 1]: hours times dust."""
        return self.running if self.laden is None else self.laden

    def of(self, rows: IntArray) -> "Fan":
        """Of some of the systems."""
        return rows_of(self, rows, model=rows_of(self.model, rows))

    def put(self, rows: IntArray, other: "Fan") -> "Fan":
        """These, but ``other`` at the systems ``rows``; the models stay."""
        parts = {name: part.copy() for name, part in columns_of(self).items()}
        for name, part in columns_of(other).items():
            parts[name][rows] = part
        return replace(self, **parts)

    def mixed(self, other: "Fan", doubt: FloatArray) -> "Fan":
        """Hours of both, of ``other`` by the ``doubt`` [m] that there is of these."""
        part, theirs = doubt[:, None], columns_of(other)
        totals = {name: one for name, one in columns_of(self).items() if one.ndim > 1}
        parts = {name: (1.0 - part) * one + part * theirs[name] for name, one in totals.items()}
        return replace(self, doubt=doubt, **parts)

    def until(self, system: IntArray, instant: FloatArray) -> FloatArray:
        """Running total of hours of ``system`` [n] at ``instant`` [n]."""
        return self._at(self.running, system, instant)

    def laden_until(self, system: IntArray, instant: FloatArray) -> FloatArray:
        """Running total of hours times dust of ``system`` [n] at ``instant`` [n]."""
        return self._at(self.loading, system, instant)

    def _at(self, totals: FloatArray, system: IntArray, instant: FloatArray) -> FloatArray:
        place = np.clip(instant - self.first_day, 0.0, totals.shape[1] - 1.0)
        whole = np.minimum(place.astype(np.int64), totals.shape[1] - 2)
        low, high = totals[system, whole], totals[system, whole + 1]
        return np.asarray(low + (place - whole) * (high - low))


def fan_hours(as_of: int, weather: Weather, systems: Systems) -> Fan:
    """Observed, filled and expected hours of every system."""
    climate = fit_climate(weather.temps_c, weather.first_day, weather.latitude)
    temps, station = _temps_on(weather, systems), systems.station
    past_days = np.arange(systems.first_day, systems.first_day + systems.hours.shape[1])
    normal = climate.normal(past_days)
    unknown = np.isnan(temps)
    # A day without a temperature is taken for one as the season usually has it.
    model = fit_fan(systems.hours, np.where(unknown, normal, temps), station)
    unlogged = np.maximum(0.0, 1.0 - (~np.isnan(systems.hours)).sum(axis=1) / _LOG_DAYS)
    modelled = model.hours(temps, station)
    if len(days := np.flatnonzero(unknown.any(axis=0))):
        usual = model.expected(normal[:, days], climate.spread_c, station)
        modelled[:, days] = np.where(unknown[:, days][station], usual, modelled[:, days])
    level = _level(systems.hours, modelled, unknown[station])
    modelled = np.where(unknown[station], np.minimum(level * modelled, 24.0), modelled)
    filled = fill_hours(systems.hours, modelled)
    coming = np.arange(as_of + 1, as_of + 366)
    ahead = model.expected(climate.normal(coming), climate.spread_c, station)
    ahead = np.clip(level * ahead, 1e-3, 24.0)
    laden = None if systems.dust is None else _totals(filled * systems.dust)
    surplus = None if systems.dust_ahead is None else ahead * (systems.dust_ahead - 1.0)
    doubt = np.zeros(len(unlogged))
    return Fan(systems.first_day, _totals(filled), ahead, model, unlogged, doubt, laden, surplus)


def _level(hours: FloatArray, modelled: FloatArray, unknown: BoolArray) -> FloatArray:
    """By what a log stands above or below the model [m, 1] on its days without a temperature [m, d], on
    which weather scattered that the fit did not see; less so the more of its days have one."""
    logged = ~np.isnan(hours)
    blind = logged & unknown
    share = blind.sum(axis=1) / np.maximum(logged.sum(axis=1), 1)
    belief = PRIOR_DAYS * USUAL_DAILY_HOURS
    seen = np.where(blind, hours, 0.0).sum(axis=1) + belief
    told = np.where(blind, modelled, 0.0).sum(axis=1) + belief
    return np.asarray((seen / told) ** share)[:, None]


def _totals(daily: FloatArray) -> FloatArray:
    totals = np.zeros((daily.shape[0], daily.shape[1] + 1))
    np.cumsum(daily, axis=1, out=totals[:, 1:])
    return totals


def _temps_on(weather: Weather, systems: Systems) -> FloatArray:
    """Temperatures of every station on the days of the systems' hours, [k, days]."""
    days = systems.hours.shape[1]
    start = systems.first_day - weather.first_day
    out = np.full((len(weather.temps_c), days), np.nan)
    low, high = max(0, start), min(weather.temps_c.shape[1], start + days)
    if high > low:
        out[:, low - start : high - start] = weather.temps_c[:, low:high]
    return out
