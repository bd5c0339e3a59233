"""One slot's readings as normal messages: expectation propagation between lives, slots and homes.

Log kappa of a life = class mean + the home's own effect + the slot's + that life's. Each life's readings
are summed up as a normal site on a grid; what the other slots of a home say of its dust reaches a slot as
a normal message. Given the sites everything is closed form, for all slots and all pairs of shape and
factor at once.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.loading import GRID, NO_LOG_SPREAD, Lives, Prior, Readings, likelihood

_POWERS = np.stack([np.ones_like(GRID), GRID, np.square(GRID)], axis=1).astype(np.float32)
# Lives at once, so that they stay in the processor's cache.
_AT_ONCE = 64


@dataclass(frozen=True)
class Sites:
    """Each life's readings as a normal of log kappa's offset from the class mean, [lives, pairs]."""

    mean: FloatArray
    precision: FloatArray
    evidence: FloatArray


@dataclass(frozen=True)
class Houses:
    """Effect of home and slot together, [slots, pairs]; the weight of each pair, rows summing to one; the
    log of what all readings are worth, [slots]; and what a slot is held to be by its home's other slots
    alone (``before``, [slots])."""

    mean: FloatArray
    variance: FloatArray
    weight: FloatArray
    evidence: FloatArray
    before: "Before"


@dataclass(frozen=True)
class Before:
    """What a slot's effect is held to be before its own readings are looked at, [slots]."""

    mean: FloatArray
    variance: FloatArray


@dataclass(frozen=True)
class Households:
    """Which slots share a home (``home`` [slots], any whole numbers), and whose fan hours are known."""

    home: IntArray
    has_log: BoolArray


@dataclass(frozen=True)
class Batch:
    """What stays the same through the rounds."""

    lives: Lives
    read: BoolArray
    likelihood: NDArray[np.float32]
    grid_from: FloatArray
    slots: Households


def batch_of(slots: Households, lives: Lives, readings: Readings, prior: Prior) -> Batch:
    """What stays the same through the rounds; the grid lies about the class means of ``prior``."""
    centre = lives.features @ prior.coefficients
    read = np.zeros(len(lives.slot), dtype=np.bool_)
    read[readings.life] = True
    home = np.unique(slots.home, return_inverse=True)[1]
    tidy = Households(home, slots.has_log)
    # Most lives were never read: room for them all would cost more than what is reckoned in it.
    some = Lives(*(getattr(lives, part)[read] for part in Lives.__dataclass_fields__))
    among = replace(readings, life=(np.cumsum(read) - 1)[readings.life])
    return Batch(lives, read, likelihood(some, among, centre[read]), centre, tidy)


@dataclass(frozen=True)
class Cavity:
    """What all but a life's own readings say of it, [lives, pairs]: the effect of its home and slot."""

    mean: FloatArray
    variance: FloatArray
    before: Before


def one_round(batch: Batch, prior: Prior, cavity: Cavity | None) -> tuple[Sites, Houses, Cavity]:
    """One round of expectation propagation."""
    lives, pairs = batch.lives, len(prior.pairs)
    moved = (lives.features @ prior.coefficients - batch.grid_from)[:, None]
    if cavity is None:
        alone = _home_variance(batch, prior) + prior.slot**2
        before = Before(np.zeros(len(alone)), alone)
        flat = np.tile(alone[lives.slot][:, None], (1, pairs))
        cavity = Cavity(np.zeros((len(lives.slot), pairs)), flat, before)
    before = cavity.before
    sites = _sites(batch, cavity.mean + moved, cavity.variance + prior.life**2)
    offset = sites.mean - moved
    told = np.where(batch.read[:, None], 1.0 / (1.0 / np.maximum(sites.precision, 1e-9) + prior.life**2), 0.0)
    precision = _by_slot(batch, told) + (1.0 / before.variance)[:, None]
    moment = _by_slot(batch, told * offset) + (before.mean / before.variance)[:, None]
    rest = 1.0 / (precision[lives.slot] - told)
    fresh = rest * (moment[lives.slot] - told * offset)
    # Half a step: lives that contradict each other would swing for ever.
    mean = 0.5 * (cavity.mean + fresh)
    log_weight = (
        np.log(prior.pairs)
        + _evidence(batch, sites, offset, told, cavity)
        - 0.5
        * (
            np.log(precision * before.variance[:, None])
            + (np.square(before.mean) / before.variance)[:, None]
            - np.square(moment) / precision
        )
    )
    top = log_weight.max(axis=1, keepdims=True)
    weight = np.exp(log_weight - top)
    total = weight.sum(axis=1, keepdims=True)
    evidence = (np.log(total) + top)[:, 0]
    houses = Houses(moment / precision, 1.0 / precision, weight / total, evidence, before)
    return replace(sites, mean=offset), houses, Cavity(mean, rest, _before(batch, prior, houses))


def _evidence(batch: Batch, sites: Sites, offset: FloatArray, told: FloatArray, cavity: Cavity) -> FloatArray:
    """Log of what the lives' messages are worth, [slots, pairs]: each was weighed against its cavity, which
    holds the other lives already and so is taken out again."""
    whole = cavity.variance + 1.0 / np.maximum(told, 1e-12)
    gap = np.square(offset - cavity.mean) / whole
    own = sites.evidence + 0.5 * (np.log(whole * np.maximum(told, 1e-12)) + gap - told * np.square(offset))
    return _by_slot(batch, np.where(batch.read[:, None], own, 0.0))


def _home_variance(batch: Batch, prior: Prior) -> FloatArray:
    return np.asarray(prior.house**2 + np.where(batch.slots.has_log, 0.0, NO_LOG_SPREAD**2))


@dataclass(frozen=True)
class Message:
    """What each slot's own readings say of its effect, the pairs averaged out, [slots]."""

    mean: FloatArray
    precision: FloatArray

    def through(self, slot_spread: float) -> FloatArray:
        """Precision with which it speaks of the home's own effect."""
        return np.asarray(self.precision / (1.0 + slot_spread**2 * self.precision))


def averaged(houses: Houses) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of each slot's effect, the pairs averaged out."""
    mean = (houses.weight * houses.mean).sum(axis=1)
    spread = houses.weight * (houses.variance + np.square(houses.mean - mean[:, None]))
    return mean, spread.sum(axis=1)


def message(houses: Houses) -> Message:
    """What each slot's own readings say, its home's other slots taken out."""
    mean, variance = averaged(houses)
    before = houses.before
    precision = np.maximum(1.0 / variance - 1.0 / before.variance, 0.0)
    moment = mean / variance - before.mean / before.variance
    return Message(np.where(precision > 0, moment / np.maximum(precision, 1e-9), 0.0), precision)


def _before(batch: Batch, prior: Prior, houses: Houses) -> Before:
    """What the home's other slots say of each slot."""
    own, home = message(houses), batch.slots.home
    told = own.through(prior.slot)
    precision = np.bincount(home, told)[home] - told
    moment = np.bincount(home, told * own.mean)[home] - told * own.mean
    rest = 1.0 / (np.maximum(precision, 0.0) + 1.0 / _home_variance(batch, prior))
    return Before(0.5 * (houses.before.mean + rest * moment), rest + prior.slot**2)


def _by_slot(batch: Batch, values: FloatArray) -> FloatArray:
    starts = np.flatnonzero(np.diff(batch.lives.slot, prepend=-1))
    out = np.zeros((len(batch.slots.home), values.shape[1]))
    if len(starts):
        out[batch.lives.slot[starts]] = np.add.reduceat(values, starts, axis=0)
    return out


def _sites(batch: Batch, mean: FloatArray, variance: FloatArray) -> Sites:
    """Moments of likelihood times cavity on the grid, with the cavity taken out again."""
    shape = (len(batch.lives.slot), mean.shape[1])
    out = Sites(np.zeros(shape), np.zeros(shape), np.zeros(shape))
    mean, variance = mean[batch.read], variance[batch.read]
    log_total, first, second = _moments(batch.likelihood, mean, variance)
    spread = second - np.square(first) + 1e-3
    precision = np.maximum(1.0 / spread - 1.0 / variance, 0.02)
    out.precision[batch.read] = precision
    out.mean[batch.read] = np.clip((first / spread - mean / variance) / precision, -6.0, 6.0)
    out.evidence[batch.read] = log_total - 0.5 * np.log(variance)
    return out


def _moments(
    log: NDArray[np.float32], mean: FloatArray, variance: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Log sum, mean and mean square over the grid of ``log`` [n, pairs, grid] plus a normal's logarithm.

    In single precision and a few rows at once: it is the work of the night, and the moments need no more.
    """
    out = np.empty((*mean.shape, 3), dtype=np.float32)
    tops = np.empty(mean.shape, dtype=np.float32)
    tilt, bend = (
        (part / variance).astype(np.float32)[:, :, None] for part in (mean, np.full_like(mean, -0.5))
    )
    for start in range(0, len(mean), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        held = bend[some] * _POWERS[:, 2]
        held += tilt[some] * _POWERS[:, 1]
        held += log[some]
        tops[some] = held.max(axis=2)
        held -= tops[some][:, :, None]
        out[some] = np.exp(held, out=held) @ _POWERS
    total = out[:, :, 0].astype(np.float64)
    log_total = np.log(total) + tops - 0.5 * np.square(mean) / variance
    return log_total, out[:, :, 1] / total, out[:, :, 2] / total
