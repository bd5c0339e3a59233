"""From exposure to days: quantiles of the day the limit is reached, caps, the decision and its reason."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from scipy.special import ndtr

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.loading import GRID, SHAPES, Loading, dose_at

HORIZON_DAYS = 3652
NEVER = np.iinfo(np.int64).max
# Scatter of the log of the exposure to come: what stays however far one looks, what averages out
# over weeks of dust, and what the hours add where no log was kept.
LASTING_SPREAD = 0.15
WANDER_SPREAD = 0.4
WANDER_DAYS = 20.0
_LOG_EXPOSURE = np.linspace(-6.5, 6.5, 157)


class Reason(IntEnum):
    """Which rule set the due date; the smaller wins a tie."""

    RISK = 0
    MEDIUM = 1
    CALENDAR = 2
    COST = 3
    UNKNOWN = 4


@dataclass(frozen=True)
class YearAhead:
    """Expected exposure: ``running`` [n, 365] totals by day from the day after the as-of day."""

    running: FloatArray

    def until(self, days: IntArray) -> FloatArray:
        """Exposure in m over the next ``days`` [n, ...] days."""
        years, rest = np.divmod(days, 365)
        rows = np.arange(len(self.running)).reshape((-1,) + (1,) * (days.ndim - 1))
        part = np.where(rest > 0, self.running[rows, rest - 1], 0.0)
        return np.asarray(years * self.running[rows, -1] + part)


@dataclass(frozen=True)
class Reach:
    """Distribution of the exposure at which n slots reach their limit, as weights on a log scale."""

    scale_m: FloatArray
    weight: FloatArray

    @property
    def exposure_m(self) -> FloatArray:
        """[n, grid]"""
        return np.asarray(self.scale_m[:, None] * np.exp(_LOG_EXPOSURE))

    def chance_by(self, exposure_m: FloatArray) -> FloatArray:
        """Chance that the limit is reached by ``exposure_m`` [n]."""
        cumulative = np.cumsum(self.weight, axis=1) - 0.5 * self.weight
        place = self._place(exposure_m)
        left = np.clip(np.floor(place).astype(np.int64), 0, len(_LOG_EXPOSURE) - 2)
        rows = np.arange(len(place))
        part = np.clip(place - left, 0.0, 1.0)
        return np.asarray(cumulative[rows, left] * (1 - part) + cumulative[rows, left + 1] * part)

    def quantile(self, chance: float) -> FloatArray:
        """Exposure in m [n] by which the limit is reached with ``chance``."""
        cumulative = np.cumsum(self.weight, axis=1) - 0.5 * self.weight
        right = np.clip((cumulative < chance).sum(axis=1), 1, len(_LOG_EXPOSURE) - 1)
        rows = np.arange(len(right))
        low, high = cumulative[rows, right - 1], cumulative[rows, right]
        part = np.clip((chance - low) / np.maximum(high - low, 1e-12), 0.0, 1.0)
        step = _LOG_EXPOSURE[1] - _LOG_EXPOSURE[0]
        return np.asarray(self.scale_m * np.exp(_LOG_EXPOSURE[0] + step * (right - 1 + part)))

    def _place(self, exposure_m: FloatArray) -> FloatArray:
        step = _LOG_EXPOSURE[1] - _LOG_EXPOSURE[0]
        log = np.log(np.maximum(exposure_m, 1e-9) / self.scale_m)
        return np.asarray((log - _LOG_EXPOSURE[0]) / step)


def reach(loading: Loading, limit_ratio: FloatArray) -> Reach:
    """Where the limit lies in exposure: the posterior of log kappa, shifted by each shape's dose."""
    n, step = len(limit_ratio), _LOG_EXPOSURE[1] - _LOG_EXPOSURE[0]
    dose = np.maximum(dose_at(limit_ratio[:, None], SHAPES[None, :]), 1e-12)
    middle = np.log(dose).mean(axis=1)
    place = (np.log(dose)[:, :, None] - middle[:, None, None] - GRID - _LOG_EXPOSURE[0]) / step
    place = np.clip(place, 0, len(_LOG_EXPOSURE) - 1.001)
    left = place.astype(np.int64)
    part = place - left
    flat = left + np.arange(n)[:, None, None] * len(_LOG_EXPOSURE)
    size = n * len(_LOG_EXPOSURE)
    here = np.bincount(flat.ravel(), (loading.weight * (1 - part)).ravel(), size)
    beside = np.bincount(flat.ravel() + 1, (loading.weight * part).ravel(), size + 1)[:size]
    weight = np.asarray(here + beside, dtype=np.float64).reshape(n, -1)
    return Reach(np.exp(middle - loading.centre), weight)


def days_until(
    chance: float, where: Reach, used_m: FloatArray, ahead: YearAhead, extra_spread: FloatArray
) -> IntArray:
    """Days [n] from the as-of day to the first at whose end the chance of being past the limit is ``chance``.

    Nought where it already is; NEVER beyond ten years. Found by bisection, all slots at once.
    """
    left_m = where.exposure_m - used_m[:, None]
    log_left = np.log(np.maximum(left_m, 1e-9))
    certain = np.where(left_m <= 0, where.weight, 0.0).sum(axis=1)
    low, high = np.full(len(used_m), 0), np.full(len(used_m), HORIZON_DAYS)
    already = where.chance_by(used_m) >= chance
    reached = _chance_after(high, where, log_left, left_m, certain, ahead, extra_spread) >= chance
    while np.any(high - low > 1):
        middle = (low + high) // 2
        enough = _chance_after(middle, where, log_left, left_m, certain, ahead, extra_spread) >= chance
        high, low = np.where(enough, middle, high), np.where(enough, low, middle)
    return np.where(already, 0, np.where(reached, high, NEVER)).astype(np.int64)


def _chance_after(
    days: IntArray,
    where: Reach,
    log_left: FloatArray,
    left_m: FloatArray,
    certain: FloatArray,
    ahead: YearAhead,
    extra_spread: FloatArray,
) -> FloatArray:
    """Chance of being past the limit at the end of ``days`` [n] from the as-of day."""
    to_come = np.maximum(ahead.until(days), 1e-9)
    wander = WANDER_SPREAD**2 * WANDER_DAYS / (WANDER_DAYS + days)
    spread = np.sqrt(LASTING_SPREAD**2 + wander + np.square(extra_spread))
    z = (np.log(to_come)[:, None] - log_left) / spread[:, None]
    return np.asarray(certain + np.where(left_m > 0, where.weight * ndtr(z), 0.0).sum(axis=1))


@dataclass(frozen=True)
class Decision:
    """Due day and reason of n slots; ``due`` holds proleptic ordinals, NEVER where there is none."""

    due: IntArray
    reason: IntArray


def decide(
    risk: IntArray, medium: IntArray, calendar: IntArray, cost: IntArray, known: BoolArray
) -> Decision:
    """The earliest of four days (ordinals, NEVER for none), and which it was.

    ``known`` is False where the slot has no record at all: no date, reason UNKNOWN.
    """
    days = np.stack([risk, medium, calendar, cost])
    reason = np.argmin(days, axis=0)
    due = np.where(known, days.min(axis=0), NEVER)
    return Decision(due, np.where(due == NEVER, int(Reason.UNKNOWN), reason).astype(np.int64))


def least_cost_hours(
    price: FloatArray,
    energy_price_kwh: float,
    airflow_m3s: FloatArray,
    rise_pa_h: FloatArray,
    efficiency: float,
) -> FloatArray:
    """Run hours at which energy and change cost least an hour: ``sqrt(2000 eta F / (c Q s))``.

    For constant airflow and a drop that rises straight by ``rise_pa_h``; infinite where it does not
    rise. Closed form of the age-replacement cost a + s t / 2, differentiated.
    """
    power_price = energy_price_kwh * airflow_m3s * rise_pa_h
    rises = power_price > 0
    hours = np.sqrt(2000.0 * efficiency * price / np.where(rises, power_price, 1.0))
    return np.where(rises, hours, np.inf)
