"""The chance that a filter has reached its limit, now and once more air has passed.

Under each growth shape the dose of the filter is ``exp(s) used + exp(c) e W``: s the log pace of this
filter so far, c the pace to come, e the exposure to come, log W its scatter. s, c and log W are normal, so
that only the logarithm of the sum is not; it is taken as normal too, with its mean to the second order and
its variance to the first in the ratio of what is to come to what is (the delta method). Against draws of
the same law that is right to a hundredth (``tests/schedules/planning/test_chance.py``).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.loading import SHAPES, dose_at, growth
from schedules.planning.pooling import Law, Learned

# Scatter of the log of the loading to come: what stays however far one looks, dust and habits that
# wander for weeks and average out, and what the hours add where no log was kept. What makes one slot's
# lives differ is mostly that wandering: it is so many times their spread.
LASTING_SPREAD = 0.18
WANDER_OF_LIVES = 1.7
WANDER_DAYS = 30.0
HOURS_SPREAD = 0.12
# The house sets the pace to come; its present filter's own pace holds on in part.
HOLDS_ON = 0.3
_LEAST_M, _LEAST_DOSE = 1e-9, 1e-30
_LEAST_CHANCE = 1e-9
# Seven come within a thousandth where the ends lie near; the last of them is one along the line.
_STEPS = 7


@dataclass(frozen=True)
class Scatter:
    """How far what is to come scatters about what is expected: what of n slots is unknown for want of
    a fan log (``unlogged`` [n], of one), and the spread of the lives of one slot."""

    unlogged: FloatArray
    lives: float

    def over(self, days: IntArray, rows: IntArray | slice) -> FloatArray:
        """Spread of the log of the loading over the next ``days`` [k] at the slots ``rows`` [k]; the mean of
        what wanders with a memory."""
        memory = WANDER_DAYS / np.maximum(days, 1.0)
        part = 2.0 * memory * (1.0 - memory * (1.0 - np.exp(-1.0 / memory)))
        hours = self.unlogged[rows] * HOURS_SPREAD**2
        return np.asarray(np.sqrt(LASTING_SPREAD**2 + (WANDER_OF_LIVES * self.lives) ** 2 * part + hours))


@dataclass(frozen=True)
class Dose:
    """The log of n filters' doses under each shape as a normal, [n, shapes], and the shape's weight."""

    mean: FloatArray
    deviation: FloatArray
    weight: FloatArray

    def beyond(self, log_limit: FloatArray) -> FloatArray:
        """Chance [n] that the dose is more than ``log_limit`` [n, shapes] says."""
        return _mixed(self.weight, (self.mean - log_limit) / self.deviation)

    def ratio(self, chance: float) -> FloatArray:
        """The ratio [n] of drop to clean drop that is not exceeded with ``chance``."""

        def by(log_rise: FloatArray) -> FloatArray:
            dose = dose_at(1.0 + np.exp(log_rise)[:, None], SHAPES)
            return 1.0 - self.beyond(np.log(np.maximum(dose, _LEAST_DOSE)))

        there = np.exp(self.mean + deviate(chance) * self.deviation)
        rise = np.log(np.maximum(growth(there, SHAPES) - 1.0, _LEAST_DOSE))
        return 1.0 + np.exp(crossing(by, chance, rise.min(axis=1), rise.max(axis=1)))


@dataclass(frozen=True)
class Pace:
    """How n filters load, [n, shapes]: ``now`` the log of the dose so far, ``lead`` the log of what a metre
    to come adds to it, as a share of it; their variances and covariance; the shape's weight."""

    now: FloatArray
    now_var: FloatArray
    lead: FloatArray
    lead_var: FloatArray
    covariance: FloatArray
    weight: FloatArray

    def of(self, rows: IntArray) -> "Pace":
        """Of some of the slots."""
        return Pace(*(part[rows] for part in vars(self).values()))

    @property
    def present(self) -> Dose:
        """The dose now."""
        return Dose(self.now, np.sqrt(self.now_var), self.weight)

    def after(self, exposure_m: FloatArray, spread: FloatArray, rows: IntArray | slice) -> Dose:
        """The dose of the slots ``rows`` once ``exposure_m`` [k] more passed, whose log scatters by
        ``spread`` [k]."""
        more = np.log(np.maximum(exposure_m, _LEAST_M))[:, None] + self.lead[rows]
        part = 1.0 / (1.0 + np.exp(-more))
        added = more - np.log(part)
        lead_var = self.lead_var[rows] + np.square(spread)[:, None]
        bent = 0.5 * part * (1.0 - part) * lead_var
        mean = self.now[rows] + added + bent
        whole = self.now_var[rows] + 2.0 * part * self.covariance[rows] + np.square(part) * lead_var
        return Dose(mean, np.sqrt(whole), self.weight[rows])


def pace(learned: Law, used_m: FloatArray) -> Pace:
    """How filters load that have passed ``used_m`` [n], under each supposition of ``learned``."""
    used = np.log(np.maximum(used_m, _LEAST_M))[:, None]
    slope = learned.covariance / learned.house_var
    own = np.maximum(learned.now_var - slope * learned.covariance, 1e-9)
    of_house = 1.0 - HOLDS_ON
    return Pace(
        now=learned.now + used,
        now_var=learned.now_var,
        lead=of_house * (learned.house - learned.now) - used,
        lead_var=of_house**2 * (np.square(1.0 - slope) * learned.house_var + own),
        covariance=of_house * ((1.0 - slope) * learned.covariance - own),
        weight=learned.weight,
    )


@dataclass(frozen=True)
class Reach:
    """How n filters load, and the log of the dose at their limit, [n, shapes]."""

    pace: Pace
    limit: FloatArray

    def of(self, rows: IntArray) -> "Reach":
        """Of some of the slots."""
        return Reach(self.pace.of(rows), self.limit[rows])

    @property
    def past(self) -> FloatArray:
        """Chance [n] that the limit is reached already."""
        return self.pace.present.beyond(self.limit)

    def past_at(self, share: float) -> FloatArray:
        """Chance [n] that the limit was reached at ``share`` of the exposure so far."""
        return self.pace.present.beyond(self.limit - np.log(share))

    def after(self, exposure_m: FloatArray, spread: FloatArray, rows: IntArray | slice) -> FloatArray:
        """Chance [k] that the slots ``rows`` are past their limit once ``exposure_m`` [k] more passed, whose
        log scatters by ``spread`` [k]."""
        return self.pace.after(exposure_m, spread, rows).beyond(self.limit[rows])

    def share(self, chance: FloatArray) -> FloatArray:
        """The share [n] of the exposure so far by which the limit was reached with ``chance`` [n]."""
        now = self.pace.present
        wanted = self.limit - now.mean + deviate(chance)[:, None] * now.deviation

        def by(log_share: FloatArray) -> FloatArray:
            return now.beyond(self.limit - log_share[:, None])

        return np.exp(crossing(by, chance, wanted.min(axis=1), wanted.max(axis=1)))


def reach(learned: Learned, limit_ratio: FloatArray, used_m: FloatArray) -> Reach:
    """Where the drop becomes ``limit_ratio`` [n] times the clean drop, ``used_m`` [n] already passed."""
    dose = dose_at(limit_ratio[:, None], SHAPES)
    return Reach(pace(learned, used_m), np.log(np.maximum(dose, _LEAST_DOSE)))


def _mixed(weight: FloatArray, deviations: FloatArray) -> FloatArray:
    return np.asarray(np.einsum("ns,ns->n", weight, ndtr(deviations)))


def crossing(
    by: Callable[[FloatArray], FloatArray],
    chance: float | FloatArray,
    low: FloatArray,
    high: FloatArray,
    steps: int = _STEPS,
) -> FloatArray:
    """Where the rising chance of each slot crosses ``chance`` between ``low`` and ``high`` [n].

    Along the line between the ends, chances as normal deviates; an end that stays twice counts half (the
    Illinois rule), and every fourth step halves the interval.
    """
    wanted = deviate(chance)
    under, over = deviate(by(low)) - wanted, deviate(by(high)) - wanted
    before: BoolArray | None = None
    for step in range(steps):
        middle = 0.5 * (low + high)
        if step % 4 < 3:
            along = low - under * (high - low) / np.maximum(over - under, _LEAST_CHANCE)
            middle = np.where((along > low) & (along < high), along, middle)
        here = deviate(by(middle)) - wanted
        below = here < 0
        stays = 1.0 if before is None else np.where(below == before, 0.5, 1.0)
        under, over, before = np.where(below, here, stays * under), np.where(below, stays * over, here), below
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return middle


def deviate(chance: float | FloatArray) -> FloatArray:
    """The standard normal deviate of ``chance``, six at most either way."""
    return np.asarray(ndtri(np.clip(chance, _LEAST_CHANCE, 1 - _LEAST_CHANCE)))
