"""What a fleet's records say of each slot, and each slot's of the next: partial pooling without a sampler."""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.loading import FACTORS, SHAPES, Lives, Prior, Readings
from schedules.planning.messages import SURE, Batch, Households, Houses, batch_of
from schedules.planning.settling import settle
from schedules.planning.sites import Sites


@dataclass(frozen=True)
class Law:
    """Per slot and supposition, [slots, suppositions]: log kappa of the filter in it (``now``) and of the
    house (``house``), their variances and covariance, and the supposition's weight."""

    now: FloatArray
    house: FloatArray
    now_var: FloatArray
    house_var: FloatArray
    covariance: FloatArray
    weight: FloatArray

    def of(self, rows: IntArray) -> "Law":
        """Of some of the slots, in any order and more than once."""
        return Law(*(part[rows] for part in vars(self).values()))


@dataclass(frozen=True)
class Learned(Law):
    """A law of each shape; ``evidence`` [slots]; what all but the readings of the filter in it say of its log
    kappa (``besides``, ``besides_var`` [slots]); and of each pair of shape and factor the law behind it
    (``pairs``), which readings to come are promised by."""

    evidence: FloatArray
    besides: FloatArray
    besides_var: FloatArray
    pairs: Law

    def of(self, rows: IntArray) -> "Learned":
        """Of some of the slots, in any order and more than once."""
        law = {name: getattr(self, name)[rows] for name in Law.__dataclass_fields__}
        alike = {name: getattr(self, name)[rows] for name in ("evidence", "besides", "besides_var")}
        return Learned(**law, **alike, pairs=self.pairs.of(rows))


def learn(slots: Households, lives: Lives, readings: Readings, prior: Prior) -> Learned:
    """What the readings of all slots say under ``prior``."""
    batch = batch_of(slots, lives, readings, prior)
    sites, houses = settle(batch, prior)
    return _sum_up(batch, lives, prior, sites, houses)


def _sum_up(batch: Batch, lives: Lives, prior: Prior, sites: Sites, houses: Houses) -> Learned:
    """The present life and its house per shape, the factors averaged out."""
    present = np.flatnonzero(lives.current)
    present = present[np.argsort(lives.slot[present])]
    base = (lives.features[present] @ prior.coefficients)[:, None]
    precision, told = _of_present(batch, sites, houses)
    own_var = 1.0 / (1.0 / prior.life**2 + precision)
    pull = own_var / prior.life**2
    now = pull * houses.mean + own_var * told
    now_var = np.square(pull) * houses.variance + own_var
    weight = houses.weight.reshape(-1, len(SHAPES), len(FACTORS))
    shape_weight = weight.sum(axis=2)
    part = weight / np.maximum(shape_weight, 1e-300)[:, :, None]

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray((part * values.reshape(part.shape)).sum(axis=2))

    mean_now, mean_house = mean(now), mean(houses.mean)
    besides, besides_var = _besides(prior, houses, precision, told)
    return Learned(
        now=base + mean_now,
        house=base + mean_house,
        now_var=_some(mean(now_var + np.square(now)) - np.square(mean_now)),
        house_var=_some(mean(houses.variance + np.square(houses.mean)) - np.square(mean_house)),
        covariance=mean(pull * houses.variance + now * houses.mean) - mean_now * mean_house,
        weight=shape_weight,
        evidence=houses.evidence,
        besides=base[:, 0] + besides,
        besides_var=besides_var,
        pairs=Law(
            base + now, base + houses.mean, now_var, houses.variance, pull * houses.variance, houses.weight
        ),
    )


def _besides(
    prior: Prior, houses: Houses, precision: FloatArray, told: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Mean and variance [slots] of the present life's effect by all but its own readings, the pairs averaged
    out."""
    share = 1.0 / (1.0 + precision * prior.life**2)
    least = SURE / houses.before.variance[:, None]
    rest = 1.0 / np.maximum(1.0 / houses.variance - share * precision, least)
    mean = rest * (houses.mean / houses.variance - share * told)
    middle = (houses.weight * mean).sum(axis=1)
    spread = rest + prior.life**2 + np.square(mean - middle[:, None])
    return middle, (houses.weight * spread).sum(axis=1)


def _of_present(batch: Batch, sites: Sites, houses: Houses) -> tuple[FloatArray, FloatArray]:
    """Precision of the present lives' sites, and that times their mean, [slots, pairs]; nought for unread
    ones."""
    mine = batch.lives.current
    precision, told = np.zeros_like(houses.mean), np.zeros_like(houses.mean)
    precision[batch.lives.slot[mine]] = sites.precision[mine]
    told[batch.lives.slot[mine]] = (sites.precision * sites.mean)[mine]
    return precision, told


def _some(variance: FloatArray) -> FloatArray:
    """A shape that a thousand readings rule out has no weight, and its variance is nought for want of any."""
    return np.maximum(variance, 1e-9)
