"""A fleet's own prior: its records set class means, spreads and weights, drawn toward the fixed prior.

Expectation (a round of messages) and maximisation in turn; see ``messages`` for the model.
"""

from dataclasses import replace

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray
from schedules.planning.loading import Lives, Prior, Readings
from schedules.planning.messages import (
    Batch,
    Cavity,
    Households,
    Houses,
    averaged,
    batch_of,
    first_round,
    message,
    one_round,
)
from schedules.planning.settling import FIRST_STEP
from schedules.planning.sites import Sites

_FIT_ROUNDS = 12
# At these the evidence of the scatter is weighed; it is a parabola in its logarithm, and these bound it.
_NOISES = np.log([0.6, 1.0, 1.6])
_LEAST_NOISE, _MOST_NOISE = 0.5, 2.0
# Weight of the usual scatter in units of readings.
_NOISE_READINGS = 20.0
# Homes lie less far apart than their records make them look: some of those went wrong. Own estimate.
_OF_HOMES = 0.9
# From so many lives read on a fleet's own prior counts in part, and from so many it stands alone: no single
# life moves a whole desk's dates.
FEWEST_LIVES = 40
_ENOUGH_LIVES = 160
# Weight of the fixed prior in units of slots: mean, MERV, depth, pets, smokers; spreads; pair weights.
_RIDGE = np.diag([0.5, 2000.0, 60.0, 30.0, 30.0])
_SPREAD_SLOTS = 20.0
_PAIR_SLOTS = 10.0


def fit(slots: Households, lives: Lives, readings: Readings) -> Prior:
    """The fleet's own prior; the fixed one where fewer than FEWEST_LIVES lives were read, and between the
    two up to four times as many."""
    usual, count = Prior(), len(np.unique(readings.life))
    if count < FEWEST_LIVES:
        return usual
    prior = _own(slots, lives, readings, usual)
    prior = replace(prior, noise=_noise(slots, lives, readings, prior))
    prior = _own(slots, lives, readings, prior)
    prior = replace(prior, house=_OF_HOMES * prior.house, learned_from=count)
    return _between(usual, prior, min(1.0, (count - FEWEST_LIVES + 1) / (_ENOUGH_LIVES - FEWEST_LIVES)))


def _own(slots: Households, lives: Lives, readings: Readings, prior: Prior) -> Prior:
    """The fleet's prior under the scatter of ``prior``, sought from there."""
    batch = batch_of(slots, lives, readings, prior)
    sites, houses, cavity = first_round(batch, prior)
    for number in range(1, _FIT_ROUNDS):
        sites, houses, cavity = one_round(batch, prior, cavity, FIRST_STEP)
        if number >= 2:
            prior = _better(batch, lives, prior, sites, houses, cavity)
    return prior


def _noise(slots: Households, lives: Lives, readings: Readings, prior: Prior) -> float:
    """How far readings scatter beside the usual: where their evidence, each life by itself, is greatest."""
    evidence = [
        first_round(batch_of(slots, lives, readings, other), other)[1].evidence.sum()
        for other in (replace(prior, noise=float(noise)) for noise in np.exp(_NOISES))
    ]
    bend, slope, _ = np.polyfit(_NOISES, evidence, 2)
    bend = min(bend, 0.0) - _NOISE_READINGS
    return float(np.clip(np.exp(-0.5 * slope / bend), _LEAST_NOISE, _MOST_NOISE))


def _between(usual: Prior, own: Prior, part: float) -> Prior:
    """``own`` by ``part``, ``usual`` by the rest."""
    mixed = {
        name: (1.0 - part) * getattr(usual, name) + part * getattr(own, name)
        for name in ("coefficients", "house", "life", "slot", "pairs", "noise")
    }
    return replace(own, **mixed)


def _better(batch: Batch, lives: Lives, prior: Prior, sites: Sites, houses: Houses, cavity: Cavity) -> Prior:
    """The prior that makes the houses as they now seem likeliest, drawn toward the fixed one."""
    usual = Prior()
    seen = np.zeros(len(batch.slots.home), dtype=np.bool_)
    seen[batch.heard] = True
    mean, spread = averaged(houses)
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
        noise=prior.noise,
    )


def _house_spreads(
    batch: Batch, prior: Prior, houses: Houses, moved: FloatArray, seen: BoolArray
) -> tuple[float, float]:
    """How far homes lie apart about their class means (``moved`` [slots] from the old ones), and the
    slots of one home; the second from homes of which several slots were read."""
    usual, home, own = Prior(), batch.slots.home, message(houses)
    told = own.through(prior.slot)
    precision = np.bincount(home, told) + 1.0 / prior.house**2
    mean = np.bincount(home, told * own.mean) / precision
    shift = np.bincount(home, seen * moved) / np.maximum(np.bincount(home, seen), 1)
    known = (np.bincount(home, seen) > 0) & (np.bincount(home, batch.slots.unlogged < 0.5) > 0)
    # A change that nobody wrote down looks like a home without dust; a few such must not widen all.
    square = np.minimum(np.square(mean - shift) + 1.0 / precision, 2.0)
    homes = (square[known].sum() + _SPREAD_SLOTS * usual.house**2) / (known.sum() + _SPREAD_SLOTS)
    beside = seen & (np.bincount(home, seen)[home] > 1)
    doubt = houses.before.variance - prior.slot**2 + 1.0 / np.maximum(own.precision, 1e-9)
    share = prior.slot**2 / (prior.slot**2 + doubt)
    apart = np.square(share * (own.mean - houses.before.mean)) + prior.slot**2 * (1.0 - share)
    slots = np.minimum(apart[beside], 1.5).sum() + _SPREAD_SLOTS * usual.slot**2
    return float(np.sqrt(homes)), float(np.sqrt(slots / (beside.sum() + _SPREAD_SLOTS)))


def _life_spread(batch: Batch, prior: Prior, sites: Sites, houses: Houses, cavity: Cavity) -> float:
    """How far one house's lives lie apart, from houses of which several were read."""
    lives, usual = batch.lives, Prior()
    doubt = 1.0 / sites.precision + cavity.variance
    share = prior.life**2 / (prior.life**2 + doubt)
    own = share * (sites.mean - cavity.mean)
    square = (houses.weight[lives.slot] * (np.square(own) + prior.life**2 * (1.0 - share))).sum(axis=1)
    several = np.bincount(lives.slot)[lives.slot] > 1
    total = np.minimum(square[several], 1.5).sum() + _SPREAD_SLOTS * usual.life**2
    return float(np.sqrt(total / (several.sum() + _SPREAD_SLOTS)))
