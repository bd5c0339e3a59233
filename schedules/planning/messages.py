"""One slot's readings as normal messages: expectation propagation between lives, slots and homes.

Log kappa of a life = class mean + the home's own effect + the slot's + that life's. Each life's readings
are summed up as a normal site on a grid; what the other slots of a home say of its dust reaches a slot as
a normal message. Given the sites everything is closed form, for all slots and all pairs of shape and
factor at once.
"""

from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray, SingleArray
from schedules.planning.loading import NO_LOG_SPREAD, Lives, Prior, Readings, likelihood
from schedules.planning.sites import Sites, sites_of
from schedules.planning.untold import with_untold_changes

# What one slot's readings tell of another slot of the home counts two fifths: one meter read both on one
# day, and a change that nobody wrote down was one for both.
_HEARSAY = 0.4
# Of what is known of a slot beside its readings so much may be lost to contradictions, and the rest stays.
_MOST_DOUBT = 0.6
SURE = 0.2


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

    def of(self, slots: BoolArray) -> "Houses":
        """Of some of the slots."""
        mean, variance, weight, evidence, *before = (part[slots] for part in self._arrays())
        return Houses(mean, variance, weight, evidence, Before(*before))

    def put(self, slots: IntArray, fresh: "Houses") -> None:
        """Write ``fresh`` over ``slots`` of these."""
        for mine, new in zip(self._arrays(), fresh._arrays(), strict=True):
            mine[slots] = new

    def _arrays(self) -> tuple[FloatArray, ...]:
        before = self.before
        return self.mean, self.variance, self.weight, self.evidence, before.mean, before.variance


@dataclass(frozen=True)
class Before:
    """What a slot's effect is held to be before its own readings are looked at, [slots]."""

    mean: FloatArray
    variance: FloatArray

    def of(self, slots: BoolArray) -> "Before":
        """Of some of the slots."""
        return Before(self.mean[slots], self.variance[slots])


@dataclass(frozen=True)
class Households:
    """Which slots share a home (``home`` [slots], any whole numbers), and how much of what a fan log would
    tell is unknown (``unlogged`` [slots]: one without any log)."""

    home: IntArray
    unlogged: FloatArray


@dataclass(frozen=True)
class Batch:
    """What stays the same through the rounds: the lives that were read (``rows`` [read] among all) and their
    likelihood [grid, read, pairs] about ``grid_from`` [read]; the slots [heard] to which they belong, and
    where each one's begin."""

    lives: Lives
    rows: IntArray
    likelihood: SingleArray
    grid_from: FloatArray
    slots: Households
    heard: IntArray
    starts: IntArray

    def by_slot(self, values: FloatArray) -> FloatArray:
        """Sums [slots, pairs] of ``values`` [read, pairs]."""
        out = np.zeros((len(self.slots.home), values.shape[1]))
        if len(self.starts):
            out[self.heard] = np.add.reduceat(values, self.starts, axis=0)
        return out

    @property
    def doubt(self) -> FloatArray:
        """By what share of all else's precision a life may leave more in doubt than there was, [read, 1]: all
        lives of a slot together by so much."""
        return np.asarray(_MOST_DOUBT / np.bincount(self.lives.slot)[self.lives.slot][:, None])

    def read_in(self, slots: BoolArray) -> BoolArray:
        """Which of the lives that were read belong to ``slots``, [read]."""
        return np.asarray(slots[self.lives.slot])

    def of(self, slots: BoolArray) -> "Batch":
        """Of some of the slots, homes whole."""
        mine = self.read_in(slots)
        lives = self.lives.of(mine)
        lives = replace(lives, slot=(np.cumsum(slots) - 1)[lives.slot])
        homes = Households(
            np.unique(self.slots.home[slots], return_inverse=True)[1], self.slots.unlogged[slots]
        )
        starts = np.flatnonzero(np.diff(lives.slot, prepend=-1))
        told, centre = self.likelihood[:, mine], self.grid_from[mine]
        return Batch(lives, self.rows[mine], told, centre, homes, lives.slot[starts], starts)


def batch_of(slots: Households, lives: Lives, readings: Readings, prior: Prior) -> Batch:
    """What stays the same through the rounds; the grid lies about the class means of ``prior``."""
    read = np.zeros(len(lives.slot), dtype=np.bool_)
    read[readings.life] = True
    home = np.unique(slots.home, return_inverse=True)[1]
    some = lives.of(read)
    among = replace(readings, life=(np.cumsum(read) - 1)[readings.life])
    centre = some.features @ prior.coefficients
    starts = np.flatnonzero(np.diff(some.slot, prepend=-1))
    told = with_untold_changes(likelihood(some, among, centre, prior.noise))
    tidy = Households(home, slots.unlogged)
    return Batch(some, np.flatnonzero(read), told, centre, tidy, some.slot[starts], starts)


@dataclass(frozen=True)
class Cavity:
    """What all but a life's own readings say of it, [read, pairs]: the effect of its home and slot;
    ``before``, what the homes' other slots say of each slot; and what its readings said the round before,
    as reckoned (``last``) and as taken (``held``)."""

    mean: FloatArray
    variance: FloatArray
    before: Before
    last: Sites
    held: Sites

    def of(self, lives: BoolArray, slots: BoolArray) -> "Cavity":
        """Of some of the slots and of those of their lives that were read."""
        last, held = self.last.of(lives), self.held.of(lives)
        return Cavity(self.mean[lives], self.variance[lives], self.before.of(slots), last, held)


def first_round(batch: Batch, prior: Prior) -> tuple[Sites, Houses, Cavity]:
    """The first round of expectation propagation: each life by itself."""
    before = Before(np.zeros(len(batch.slots.home)), _home_variance(batch, prior) + prior.slot**2)
    lives, moved = batch.lives.slot, _from_grid(batch, prior)
    mean = np.zeros((len(lives), len(prior.pairs)))
    variance = np.tile(before.variance[lives][:, None], (1, len(prior.pairs)))
    fresh = sites_of(batch.likelihood, mean + moved, variance + prior.life**2, batch.doubt)
    return _put_together(batch, prior, Cavity(mean, variance, before, fresh, fresh))


def one_round(batch: Batch, prior: Prior, cavity: Cavity, step: float) -> tuple[Sites, Houses, Cavity]:
    """One round more of expectation propagation, by ``step`` of the way to what is reckoned now: lives that
    contradict each other would swing for ever."""
    wanted = cavity.mean + _from_grid(batch, prior), cavity.variance + prior.life**2
    fresh = sites_of(batch.likelihood, *wanted, batch.doubt, cavity.last)
    return _put_together(batch, prior, replace(cavity, last=fresh, held=cavity.held.toward(fresh, step)))


def _from_grid(batch: Batch, prior: Prior) -> FloatArray:
    """How far the class means lie from the grid's middle, [read, 1]."""
    return np.asarray(batch.lives.features @ prior.coefficients - batch.grid_from)[:, None]


def _put_together(batch: Batch, prior: Prior, cavity: Cavity) -> tuple[Sites, Houses, Cavity]:
    """Sites about the class means, what they make of the houses, and the cavities they leave."""
    lives, before, sites = batch.lives, cavity.before, cavity.held
    offset = sites.mean - _from_grid(batch, prior)
    told = 1.0 / (1.0 / sites.precision + prior.life**2)
    least = SURE * (1.0 / before.variance)[:, None]
    precision = np.maximum(batch.by_slot(told) + (1.0 / before.variance)[:, None], least)
    moment = batch.by_slot(told * offset) + (before.mean / before.variance)[:, None]
    rest = 1.0 / np.maximum(precision[lives.slot] - told, least[lives.slot])
    mean = rest * (moment[lives.slot] - told * offset)
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
    after = replace(cavity, mean=mean, variance=rest, before=_before(batch, prior, houses))
    return replace(sites, mean=offset), houses, after


def _evidence(batch: Batch, sites: Sites, offset: FloatArray, told: FloatArray, cavity: Cavity) -> FloatArray:
    """Log of what the lives' messages are worth, [slots, pairs]: each was weighed against its cavity, which
    holds the other lives already and so is taken out again."""
    whole = cavity.variance + 1.0 / told
    gap = np.square(offset - cavity.mean) / whole
    own = sites.evidence + 0.5 * (np.log(whole * told) + gap - told * np.square(offset))
    return batch.by_slot(own)


def _home_variance(batch: Batch, prior: Prior) -> FloatArray:
    return np.asarray(prior.house**2 + batch.slots.unlogged * NO_LOG_SPREAD**2)


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
    told = _HEARSAY * own.through(prior.slot)
    precision = np.bincount(home, told)[home] - told
    moment = np.bincount(home, told * own.mean)[home] - told * own.mean
    rest = 1.0 / (np.maximum(precision, 0.0) + 1.0 / _home_variance(batch, prior))
    return Before(rest * moment, rest + prior.slot**2)
