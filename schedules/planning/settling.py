"""Rounds of messages until what is held of each home no longer moves."""

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray
from schedules.planning.loading import Prior
from schedules.planning.messages import Batch, Houses, averaged, first_round, one_round
from schedules.planning.sites import Sites

FIRST_STEP = 0.7
# From here on steps grow shorter, so that a home whose records contradict each other comes to rest as well.
_PATIENCE = 8
_MOST_ROUNDS = 60
# Mean and deviation of a logarithm: a two-hundredth of a span of a year is two days.
_AT_REST = 0.005


def settle(batch: Batch, prior: Prior) -> tuple[Sites, Houses]:
    """Sites and houses at rest. A home's rounds end with the one in which none of its slots moves, whoever
    else is in the batch."""
    sites, houses, cavity = first_round(batch, prior)
    out = sites, houses
    slots, lives = np.arange(len(batch.slots.home)), np.arange(len(batch.rows))
    moving = _with_company(batch)
    for number in range(1, _MOST_ROUNDS):
        if not moving.any():
            break
        mine = batch.read_in(moving)
        cavity, batch = cavity.of(mine, moving), batch.of(moving)
        slots, lives, before = slots[moving], lives[mine], averaged(houses.of(moving))
        sites, houses, cavity = one_round(batch, prior, cavity, FIRST_STEP * min(1.0, _PATIENCE / number))
        out[0].put(lives, sites)
        out[1].put(slots, houses)
        moving = _moving(batch, before, averaged(houses))
    return out


def _with_company(batch: Batch) -> BoolArray:
    """The slots of which something is said besides by one life, [slots]: all others rest from the start."""
    home = batch.slots.home
    told, beside = np.bincount(home[batch.lives.slot], minlength=len(home)), np.bincount(home)
    return np.asarray((told[home] > 1) | ((told[home] > 0) & (beside[home] > 1)))


def _moving(
    batch: Batch, old: tuple[FloatArray, FloatArray], new: tuple[FloatArray, FloatArray]
) -> BoolArray:
    """The slots of homes in which any slot moved, [slots]."""
    far = np.abs(new[0] - old[0]) > _AT_REST
    far |= np.abs(np.sqrt(new[1]) - np.sqrt(old[1])) > _AT_REST
    home = batch.slots.home
    return np.asarray(np.bincount(home, far)[home] > 0)
