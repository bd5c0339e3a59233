"""From exposure to days: quantiles of the day the limit is reached, caps, the decision and its reason."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from scipy.special import ndtr, ndtri

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.loading import SHAPES, dose_at, growth
from schedules.planning.pooling import Learned

HORIZON_DAYS = 3652
# Days at which the chance of every slot is looked at first.
_KNOTS = np.array([3, 10, 30, 90, 210, 500, 1400, HORIZON_DAYS])
NEVER = np.iinfo(np.int64).max
# Scatter of the log of the loading to come: what stays however far one looks, dust and habits that
# wander for weeks and average out, and what the hours add where no log was kept.
LASTING_SPREAD = 0.18
WANDER_SPREAD = 0.55
WANDER_DAYS = 30.0
NO_LOG_SPREAD = 0.12
# The house sets the pace to come; its present filter's own pace holds on in part.
HOLDS_ON = 0.3
# Gauss and Hermite's points of a normal variable: five for the house, three for its present filter.
_HOUSE, _HOUSE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_OWN, _OWN_WEIGHTS = np.polynomial.hermite_e.hermegauss(3)
_WEIGHTS = np.outer(_HOUSE_WEIGHTS / _HOUSE_WEIGHTS.sum(), _OWN_WEIGHTS / _OWN_WEIGHTS.sum())


class Reason(IntEnum):
    """Which rule set the due date; the smaller wins a tie."""

    RISK = 0
    MEDIUM = 1
    CALENDAR = 2
    COST = 3
    UNKNOWN = 4


@dataclass(frozen=True)
class YearAhead:
    """Expected exposure: ``running`` [n, 365] totals by day from the day after the as-of day, the same
    every year; ``surplus`` [n, 365] totals of what announced dust adds, once."""

    running: FloatArray
    surplus: FloatArray | None = None

    def until(self, days: IntArray, rows: IntArray | None = None) -> FloatArray:
        """Exposure in m over the next ``days`` [n, ...] days, of all slots or of ``rows`` [n]."""
        years, rest = np.divmod(days, 365)
        rows = np.arange(len(self.running)) if rows is None else rows
        rows = rows.reshape((-1,) + (1,) * (days.ndim - 1))
        part = np.where(rest > 0, self.running[rows, rest - 1], 0.0)
        total = years * self.running[rows, -1] + part
        if self.surplus is not None:
            once = np.where(days > 0, self.surplus[rows, np.clip(days, 1, 365) - 1], 0.0)
            total = total + once
        return np.asarray(total)

    def of(self, rows: IntArray) -> "YearAhead":
        """The year of some of the slots."""
        if len(rows) == len(self.running):
            return self
        return YearAhead(self.running[rows], None if self.surplus is None else self.surplus[rows])


@dataclass(frozen=True)
class Supposed:
    """Suppositions that stand for the posterior, [n, shapes, 15]: log kappa so far and to come, weight."""

    so_far: FloatArray
    to_come: FloatArray
    weight: FloatArray


def suppose(learned: Learned) -> Supposed:
    """Fifteen weighed points a shape of house and present filter together."""
    slope = learned.covariance / learned.house_var
    rest = np.sqrt(np.maximum(learned.now_var - slope * learned.covariance, 1e-9))
    house_step = np.sqrt(learned.house_var)[:, :, None] * _HOUSE
    house = learned.house[:, :, None] + house_step
    now = learned.now[:, :, None] + slope[:, :, None] * house_step
    so_far = now[:, :, :, None] + rest[:, :, None, None] * _OWN
    to_come = (1 - HOLDS_ON) * house[:, :, :, None] + HOLDS_ON * so_far
    weight = learned.weight[:, :, None, None] * _WEIGHTS
    flat = (*learned.now.shape, -1)
    return Supposed(so_far.reshape(flat), to_come.reshape(flat), weight.reshape(flat))


@dataclass(frozen=True)
class Reach:
    """Where n slots reach their limit under each supposition, [n, suppositions]: exposure since the
    filter went in, exposure left (nought when past it), weight."""

    total_m: FloatArray
    left_m: FloatArray
    weight: FloatArray

    @property
    def past(self) -> FloatArray:
        """Chance [n] that the limit is reached already."""
        return np.asarray(np.where(self.left_m <= 0, self.weight, 0.0).sum(axis=1))

    def quantile(self, chance: float) -> FloatArray:
        """Exposure in m [n] by which the limit is reached with ``chance``."""
        order = np.argsort(self.total_m, axis=1)
        total = np.take_along_axis(self.total_m, order, axis=1)
        weight = np.take_along_axis(self.weight, order, axis=1)
        middle = np.cumsum(weight, axis=1) - 0.5 * weight
        right = np.clip((middle < chance).sum(axis=1), 1, total.shape[1] - 1)
        rows = np.arange(len(right))
        low, high = middle[rows, right - 1], middle[rows, right]
        part = np.clip((chance - low) / np.maximum(high - low, 1e-12), 0.0, 1.0)
        log = np.log(np.maximum(total, 1e-9))
        return np.asarray(np.exp(log[rows, right - 1] * (1 - part) + log[rows, right] * part))


def reach(supposed: Supposed, limit_ratio: FloatArray, used_m: FloatArray) -> Reach:
    """Where the drop becomes ``limit_ratio`` [n] times the clean drop, ``used_m`` [n] already passed."""
    limit = dose_at(limit_ratio[:, None], SHAPES)[:, :, None]
    used = used_m[:, None, None]
    dose = np.exp(supposed.so_far) * used
    ahead = dose < limit
    left = np.where(ahead, (limit - dose) * np.exp(-supposed.to_come), 0.0)
    total = np.where(ahead, used + left, limit * np.exp(-supposed.so_far))
    n = len(used_m)
    return Reach(total.reshape(n, -1), left.reshape(n, -1), supposed.weight.reshape(n, -1))


def ratio_now(supposed: Supposed, used_m: FloatArray) -> FloatArray:
    """Median ratio [n] of drop to clean drop after ``used_m`` [n]."""
    ratio = growth(np.exp(supposed.so_far) * used_m[:, None, None], SHAPES[None, :, None])
    ratio = ratio.reshape(len(used_m), -1)
    order = np.argsort(ratio, axis=1)
    running = np.cumsum(np.take_along_axis(supposed.weight.reshape(ratio.shape), order, axis=1), axis=1)
    place = np.minimum((running < 0.5).sum(axis=1), ratio.shape[1] - 1)
    return np.asarray(np.take_along_axis(ratio, np.take_along_axis(order, place[:, None], 1), 1)[:, 0])


def spread_after(days: FloatArray, has_log: BoolArray) -> FloatArray:
    """Scatter of the log of the loading over the next ``days``; the mean of what wanders with a memory."""
    days = np.maximum(days, 1.0)
    memory = WANDER_DAYS / days
    wander = WANDER_SPREAD**2 * 2 * memory * (1 - memory * (1 - np.exp(-1 / memory)))
    hours = np.where(has_log, 0.0, NO_LOG_SPREAD**2)
    return np.asarray(np.sqrt(LASTING_SPREAD**2 + wander + hours))


def days_until(
    chances: Sequence[float], where: Reach, ahead: YearAhead, has_log: BoolArray
) -> list[IntArray]:
    """For each of ``chances``, days [n] from the as-of day to the first at whose end the chance of being
    past the limit is at least that.

    Nought where it already is; NEVER beyond ten years. A few days for all slots show between which two a
    slot's day lies; there it is found among whole days.
    """
    past = where.past
    log_left = np.log(np.maximum(where.left_m, 1e-9)).astype(np.float32)
    coming = np.where(where.left_m > 0, where.weight, 0.0).astype(np.float32)

    def by(days: IntArray, rows: IntArray) -> FloatArray:
        to_come = np.log(np.maximum(ahead.until(days, rows), 1e-9))
        spread = spread_after(days.astype(np.float64), has_log[rows])
        z = to_come.astype(np.float32)[:, None] - log_left[rows]
        z /= spread.astype(np.float32)[:, None]
        return np.asarray(past[rows] + (coming[rows] * ndtr(z)).sum(axis=1))

    everybody = np.arange(len(past))
    reached = np.stack([by(np.full(len(past), day), everybody) for day in _KNOTS], axis=1)
    return [_between(chance, past, reached, by) for chance in chances]


def _between(
    chance: float, past: FloatArray, reached: FloatArray, by: Callable[[IntArray, IntArray], FloatArray]
) -> IntArray:
    """Between two knots along the straight line of chance against days, both as a lognormal has them; every
    third step halves, should the line lead astray."""
    place = (reached < chance).sum(axis=1)
    edges = np.concatenate([[0], _KNOTS])
    left, right = np.minimum(place, len(_KNOTS) - 1), np.minimum(place + 1, len(_KNOTS))
    low, high = edges[left], edges[right]
    told, everybody, wanted = _line(np.column_stack([past, reached])), np.arange(len(past)), _line(chance)
    below, above = told[everybody, left], told[everybody, right]
    open_rows = np.flatnonzero((place < len(_KNOTS)) & (past < chance) & (high - low > 1))
    step = 0
    while len(open_rows):
        step += 1
        near, far = low[open_rows], high[open_rows]
        middle = (near + far) // 2
        if step % 3:
            part = (wanted - below[open_rows]) / np.maximum(above[open_rows] - below[open_rows], 1e-9)
            log_near = np.log(np.maximum(near, 0.5))
            middle = np.exp(log_near + part * (np.log(far) - log_near))
            middle = np.clip(np.ceil(middle), near + 1, far - 1).astype(np.int64)
        value = by(middle, open_rows)
        there, line = value >= chance, _line(value)
        high[open_rows[there]], low[open_rows[~there]] = middle[there], middle[~there]
        above[open_rows[there]], below[open_rows[~there]] = line[there], line[~there]
        open_rows = open_rows[high[open_rows] - low[open_rows] > 1]
    found = np.where(place < len(_KNOTS), high, NEVER)
    return np.where(past >= chance, 0, found).astype(np.int64)


def _line(chance: float | FloatArray) -> FloatArray:
    return np.asarray(ndtri(np.clip(chance, 1e-9, 1 - 1e-9)))


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
