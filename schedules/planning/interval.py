"""From exposure to days: quantiles of the day the limit is reached, caps, the decision and its reason."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.chance import Reach, Scatter, deviate

HORIZON_DAYS = 3652
# Days at which the chance of every slot is looked at first.
KNOTS = np.array([3, 10, 30, 90, 210, 500, 1400, HORIZON_DAYS])
NEVER = np.iinfo(np.int64).max


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
class Outlook:
    """The chance of n slots to be past their limit: ``past`` [n] today, ``reached`` [n, knots] after
    ``KNOTS`` days, and between them as ``where``, ``ahead`` and ``scatter`` have it."""

    where: Reach
    ahead: YearAhead
    scatter: Scatter
    past: FloatArray
    reached: FloatArray

    def by(self, days: IntArray, rows: IntArray) -> FloatArray:
        """Chance [k] of the slots ``rows`` after ``days`` [k] from the as-of day."""
        return _by(self.where, self.ahead, self.scatter, days, rows)

    def until(self, chance: float | FloatArray) -> IntArray:
        """Days [n] from the as-of day to the first at whose end the chance of being past the limit is at
        least ``chance``, one for all or one each [n].

        Nought where it already is; NEVER beyond ten years.
        """
        return self._between(np.broadcast_to(chance, self.past.shape))

    def _between(self, chance: FloatArray) -> IntArray:
        """Between two knots along the straight line of chance against days, both as a lognormal has them;
        every third step halves, should the line lead astray."""
        place = (self.reached < chance[:, None]).sum(axis=1)
        edges = np.concatenate([[0], KNOTS])
        left, right = np.minimum(place, len(KNOTS) - 1), np.minimum(place + 1, len(KNOTS))
        low, high = edges[left], edges[right]
        told, everybody = deviate(np.column_stack([self.past, self.reached])), np.arange(len(place))
        wanted, below, above = deviate(chance), told[everybody, left], told[everybody, right]
        open_rows = np.flatnonzero((place < len(KNOTS)) & (self.past < chance) & (high - low > 1))
        step = 0
        while len(open_rows):
            step += 1
            near, far = low[open_rows], high[open_rows]
            middle = (near + far) // 2
            if step % 3:
                here, there = below[open_rows], above[open_rows]
                part = (wanted[open_rows] - here) / np.maximum(there - here, 1e-9)
                log_near = np.log(np.maximum(near, 0.5))
                middle = np.exp(log_near + part * (np.log(far) - log_near))
                middle = np.clip(np.ceil(middle), near + 1, far - 1).astype(np.int64)
            value = self.by(middle, open_rows)
            there, line = value >= chance[open_rows], deviate(value)
            high[open_rows[there]], low[open_rows[~there]] = middle[there], middle[~there]
            above[open_rows[there]], below[open_rows[~there]] = line[there], line[~there]
            open_rows = open_rows[high[open_rows] - low[open_rows] > 1]
        found = np.where(place < len(KNOTS), high, NEVER)
        return np.where(self.past >= chance, 0, found).astype(np.int64)


def outlook(where: Reach, ahead: YearAhead, scatter: Scatter) -> Outlook:
    """How the chance runs on: a few days for all slots show between which two any slot's day lies."""
    past, everybody = where.past, np.arange(len(where.limit))
    reached = [_by(where, ahead, scatter, np.full(len(past), day), everybody) for day in KNOTS]
    return Outlook(where, ahead, scatter, past, np.stack(reached, axis=1))


def _by(where: Reach, ahead: YearAhead, scatter: Scatter, days: IntArray, rows: IntArray) -> FloatArray:
    return where.after(ahead.until(days, rows), scatter.over(days, rows), rows)


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
