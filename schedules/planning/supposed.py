"""Suppositions that stand for what was learned of a slot, where the sum of costs wants points."""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import FloatArray
from schedules.planning.chance import HOLDS_ON
from schedules.planning.pooling import Learned

# Gauss and Hermite's points of a normal variable: five for the house, three for its present filter.
_HOUSE, _HOUSE_WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_OWN, _OWN_WEIGHTS = np.polynomial.hermite_e.hermegauss(3)
_WEIGHTS = np.outer(_HOUSE_WEIGHTS / _HOUSE_WEIGHTS.sum(), _OWN_WEIGHTS / _OWN_WEIGHTS.sum())


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
    flat = (*learned.now.shape, so_far.shape[2] * so_far.shape[3])
    return Supposed(so_far.reshape(flat), to_come.reshape(flat), weight.reshape(flat))
