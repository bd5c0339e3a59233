"""What a fleet's records say of each slot, and each slot's of the next: partial pooling without a sampler.

Log kappa of a life = class mean + the home's own effect + the slot's + that life's. Each life's readings
are summed up as a normal site (expectation propagation on a grid); what the other slots of a home say of
its dust reaches a slot as a normal message. Given the sites everything is closed form, for all slots and
all pairs of shape and factor at once. ``fit`` lets the fleet itself set class means, spreads and weights
(expectation and maximisation), drawn toward the fixed prior.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.loading import (
    FACTORS,
    GRID,
    NO_LOG_SPREAD,
    SHAPES,
    Lives,
    Prior,
    Readings,
    likelihood,
)

_ROUNDS = 4
_POWERS = np.stack([np.ones_like(GRID), GRID, np.square(GRID)], axis=1).astype(np.float32)
# Lives at once, so that they stay in the processor's cache.
_AT_ONCE = 64
_FIT_ROUNDS = 12
FEWEST_LIVES = 60
# Weight of the fixed prior in units of slots: mean, MERV, depth, pets, smokers; spreads; pair weights.
_RIDGE = np.diag([0.5, 2000.0, 60.0, 30.0, 30.0])
_SPREAD_SLOTS = 20.0
_PAIR_SLOTS = 10.0


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
class Learned:
    """Per slot and shape, [slots, shapes]: log kappa of the filter in it (``now``) and of the house
    (``house``), their variances and covariance, and the shape's weight; ``evidence`` [slots]."""

    now: FloatArray
    house: FloatArray
    now_var: FloatArray
    house_var: FloatArray
    covariance: FloatArray
    weight: FloatArray
    evidence: FloatArray


@dataclass(frozen=True)
class Households:
    """Which slots share a home (``home`` [slots], any whole numbers), and whose fan hours are known."""

    home: IntArray
    has_log: BoolArray


@dataclass(frozen=True)
class _Batch:
    """What stays the same through the rounds."""

    lives: Lives
    read: BoolArray
    likelihood: NDArray[np.float32]
    grid_from: FloatArray
    slots: Households


def learn(slots: Households, lives: Lives, readings: Readings, prior: Prior) -> Learned:
    """What the readings of all slots say under ``prior``."""
    batch = _batch(slots, lives, readings, prior)
    sites, houses = _converge(batch, prior, _ROUNDS)
    return _sum_up(batch, prior, sites, houses)


def fit(slots: Households, lives: Lives, readings: Readings) -> Prior:
    """The fleet's own prior; the fixed one where fewer than FEWEST_LIVES lives were read."""
    prior = Prior()
    batch = _batch(slots, lives, readings, prior)
    count = int(batch.read.sum())
    if count < FEWEST_LIVES:
        return prior
    cavity = None
    for number in range(_FIT_ROUNDS):
        sites, houses, cavity = _round(batch, prior, cavity)
        if number >= 2:
            prior = _better(batch, prior, sites, houses, cavity)
    return replace(prior, learned_from=count)


def _batch(slots: Households, lives: Lives, readings: Readings, prior: Prior) -> _Batch:
    centre = lives.features @ prior.coefficients
    read = np.zeros(len(lives.slot), dtype=np.bool_)
    read[readings.life] = True
    home = np.unique(slots.home, return_inverse=True)[1]
    tidy = Households(home, slots.has_log)
    return _Batch(lives, read, likelihood(lives, readings, centre)[read], centre, tidy)


@dataclass(frozen=True)
class _Cavity:
    """What all but a life's own readings say of it, [lives, pairs]: the effect of its home and slot."""

    mean: FloatArray
    variance: FloatArray
    before: Before


def _converge(batch: _Batch, prior: Prior, rounds: int) -> tuple[Sites, Houses]:
    cavity = None
    for _ in range(rounds):
        sites, houses, cavity = _round(batch, prior, cavity)
    return sites, houses


def _round(batch: _Batch, prior: Prior, cavity: _Cavity | None) -> tuple[Sites, Houses, _Cavity]:
    """One round of expectation propagation."""
    lives, pairs = batch.lives, len(prior.pairs)
    moved = (lives.features @ prior.coefficients - batch.grid_from)[:, None]
    if cavity is None:
        alone = _home_variance(batch, prior) + prior.slot**2
        before = Before(np.zeros(len(alone)), alone)
        flat = np.tile(alone[lives.slot][:, None], (1, pairs))
        cavity = _Cavity(np.zeros((len(lives.slot), pairs)), flat, before)
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
    return replace(sites, mean=offset), houses, _Cavity(mean, rest, _before(batch, prior, houses))


def _evidence(
    batch: _Batch, sites: Sites, offset: FloatArray, told: FloatArray, cavity: _Cavity
) -> FloatArray:
    """Log of what the lives' messages are worth, [slots, pairs]: each was weighed against its cavity, which
    holds the other lives already and so is taken out again."""
    whole = cavity.variance + 1.0 / np.maximum(told, 1e-12)
    gap = np.square(offset - cavity.mean) / whole
    own = sites.evidence + 0.5 * (np.log(whole * np.maximum(told, 1e-12)) + gap - told * np.square(offset))
    return _by_slot(batch, np.where(batch.read[:, None], own, 0.0))


def _home_variance(batch: _Batch, prior: Prior) -> FloatArray:
    return np.asarray(prior.house**2 + np.where(batch.slots.has_log, 0.0, NO_LOG_SPREAD**2))


@dataclass(frozen=True)
class _Message:
    """What each slot's own readings say of its effect, the pairs averaged out, [slots]."""

    mean: FloatArray
    precision: FloatArray

    def through(self, slot_spread: float) -> FloatArray:
        """Precision with which it speaks of the home's own effect."""
        return np.asarray(self.precision / (1.0 + slot_spread**2 * self.precision))


def _averaged(houses: Houses) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of each slot's effect, the pairs averaged out."""
    mean = (houses.weight * houses.mean).sum(axis=1)
    spread = houses.weight * (houses.variance + np.square(houses.mean - mean[:, None]))
    return mean, spread.sum(axis=1)


def _message(houses: Houses) -> _Message:
    mean, variance = _averaged(houses)
    before = houses.before
    precision = np.maximum(1.0 / variance - 1.0 / before.variance, 0.0)
    moment = mean / variance - before.mean / before.variance
    return _Message(np.where(precision > 0, moment / np.maximum(precision, 1e-9), 0.0), precision)


def _before(batch: _Batch, prior: Prior, houses: Houses) -> Before:
    """What the home's other slots say of each slot."""
    message, home = _message(houses), batch.slots.home
    told = message.through(prior.slot)
    precision = np.bincount(home, told)[home] - told
    moment = np.bincount(home, told * message.mean)[home] - told * message.mean
    rest = 1.0 / (np.maximum(precision, 0.0) + 1.0 / _home_variance(batch, prior))
    return Before(0.5 * (houses.before.mean + rest * moment), rest + prior.slot**2)


def _by_slot(batch: _Batch, values: FloatArray) -> FloatArray:
    out = np.zeros((len(batch.slots.home), values.shape[1]))
    np.add.at(out, batch.lives.slot, values)
    return out


def _sites(batch: _Batch, mean: FloatArray, variance: FloatArray) -> Sites:
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


def _better(batch: _Batch, prior: Prior, sites: Sites, houses: Houses, cavity: _Cavity) -> Prior:
    """The prior that makes the houses as they now seem likeliest, drawn toward the fixed one."""
    usual, lives = Prior(), batch.lives
    seen = np.zeros(len(batch.slots.home), dtype=np.bool_)
    seen[lives.slot[batch.read]] = True
    mean, spread = _averaged(houses)
    rows = np.zeros((len(seen), lives.features.shape[1]))
    rows[lives.slot[lives.current]] = lives.features[lives.current]
    trust = np.where(seen, 1.0 / (spread + prior.house**2 + prior.slot**2), 0.0)
    back = np.array([0.02, 1.0, 1.0, 1.0, 1.0]) * (usual.coefficients - prior.coefficients)
    step = np.linalg.solve(rows.T @ (trust[:, None] * rows) + _RIDGE, rows.T @ (trust * mean) + _RIDGE @ back)
    house, slot = _house_spreads(batch, prior, houses, rows @ step, seen)
    pairs = houses.weight[seen].sum(axis=0) + _PAIR_SLOTS * usual.pairs
    return Prior(
        prior.coefficients + step,
        house,
        _life_spread(batch, prior, sites, houses, cavity),
        pairs / pairs.sum(),
        slot=slot,
    )


def _house_spreads(
    batch: _Batch, prior: Prior, houses: Houses, moved: FloatArray, seen: BoolArray
) -> tuple[float, float]:
    """How far homes lie apart about their class means (``moved`` [slots] from the old ones), and the
    slots of one home; the second from homes of which several slots were read."""
    usual, home, message = Prior(), batch.slots.home, _message(houses)
    told = message.through(prior.slot)
    precision = np.bincount(home, told) + 1.0 / prior.house**2
    mean = np.bincount(home, told * message.mean) / precision
    shift = np.bincount(home, seen * moved) / np.maximum(np.bincount(home, seen), 1)
    known = (np.bincount(home, seen) > 0) & (np.bincount(home, batch.slots.has_log) > 0)
    # A change that nobody wrote down looks like a home without dust; a few such must not widen all.
    square = np.minimum(np.square(mean - shift) + 1.0 / precision, 2.0)
    homes = (square[known].sum() + _SPREAD_SLOTS * usual.house**2) / (known.sum() + _SPREAD_SLOTS)
    beside = seen & (np.bincount(home, seen)[home] > 1)
    doubt = houses.before.variance - prior.slot**2 + 1.0 / np.maximum(message.precision, 1e-9)
    share = prior.slot**2 / (prior.slot**2 + doubt)
    own = np.square(share * (message.mean - houses.before.mean)) + prior.slot**2 * (1.0 - share)
    slots = np.minimum(own[beside], 1.5).sum() + _SPREAD_SLOTS * usual.slot**2
    return float(np.sqrt(homes)), float(np.sqrt(slots / (beside.sum() + _SPREAD_SLOTS)))


def _life_spread(batch: _Batch, prior: Prior, sites: Sites, houses: Houses, cavity: _Cavity) -> float:
    """How far one house's lives lie apart, from houses of which several were read."""
    lives, usual = batch.lives, Prior()
    doubt = 1.0 / np.maximum(sites.precision, 1e-9) + cavity.variance
    share = prior.life**2 / (prior.life**2 + doubt)
    own = share * (sites.mean - cavity.mean)
    square = (houses.weight[lives.slot] * (np.square(own) + prior.life**2 * (1.0 - share))).sum(axis=1)
    several = np.bincount(lives.slot[batch.read], minlength=len(batch.slots.home))[lives.slot] > 1
    chosen = batch.read & several
    total = np.minimum(square[chosen], 1.5).sum() + _SPREAD_SLOTS * usual.life**2
    return float(np.sqrt(total / (chosen.sum() + _SPREAD_SLOTS)))


def _sum_up(batch: _Batch, prior: Prior, sites: Sites, houses: Houses) -> Learned:
    """The present life and its house per shape, the factors averaged out."""
    lives = batch.lives
    present = np.flatnonzero(lives.current)
    present = present[np.argsort(lives.slot[present])]
    base = (lives.features[present] @ prior.coefficients)[:, None]
    precision = sites.precision[present]
    own_var = 1.0 / (1.0 / prior.life**2 + precision)
    pull = own_var / prior.life**2
    now = pull * houses.mean + own_var * precision * sites.mean[present]
    now_var = np.square(pull) * houses.variance + own_var
    weight = houses.weight.reshape(-1, len(SHAPES), len(FACTORS))
    shape_weight = weight.sum(axis=2)
    part = weight / np.maximum(shape_weight, 1e-300)[:, :, None]

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray((part * values.reshape(part.shape)).sum(axis=2))

    mean_now, mean_house = mean(now), mean(houses.mean)
    return Learned(
        now=base + mean_now,
        house=base + mean_house,
        now_var=mean(now_var + np.square(now)) - np.square(mean_now),
        house_var=mean(houses.variance + np.square(houses.mean)) - np.square(mean_house),
        covariance=mean(pull * houses.variance + now * houses.mean) - mean_now * mean_house,
        weight=shape_weight,
        evidence=houses.evidence,
    )
