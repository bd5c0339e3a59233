"""A life on record may hold a change that nobody wrote down; its readings then speak of a younger filter.

That change lies anywhere between the life's beginning and its readings, all instants alike, and all readings
lie after it: the exposure behind them is u times the one on record, u even between nought and one. As pace
and exposure come as a product, the likelihood of log kappa k is then that of the record averaged over what
lies below it, the integral of L(t) exp(t - k) over t < k: such readings rule out no faster pace for sure.
"""

import numpy as np

from schedules.planning.arrays import FloatArray, SingleArray
from schedules.planning.loading import GRID

# One life in twenty-five. Own estimate; changes that the readings betray are found elsewhere (``oddities``).
UNTOLD = 0.04
_FAINT = np.float32(1e-30)


def _averages() -> FloatArray:
    """[grid, grid]: what weight the likelihood at each lower point has at each; below the grid's end it stays
    as it is there. Rows sum to one."""
    apart = GRID[:, None] - GRID
    weight = np.where(apart >= 0, np.exp(-apart), 0.0)
    # By the trapezoidal rule; the point itself counts half, the first one also for all that lies below.
    weight[np.diag_indices(len(GRID))] *= 0.5
    weight *= GRID[1] - GRID[0]
    weight[:, 0] *= 0.5
    weight[:, 0] += np.exp(GRID[0] - GRID)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


_MIXED = (1.0 - UNTOLD) * np.eye(len(GRID)) + UNTOLD * _averages()
_MIXED = _MIXED.astype(np.float32)


def with_untold_changes(log: SingleArray) -> SingleArray:
    """Log likelihood ``log`` [grid, lives, pairs] of what was read where one life in so many hides a
    change."""
    top = log.max(axis=0)
    told = np.exp(log - top).reshape(len(GRID), -1)
    mixed = np.maximum(_MIXED @ told, _FAINT).reshape(log.shape)
    np.log(mixed, out=mixed)
    mixed += top
    return np.asarray(mixed)
