"""How far the drop of a filter may rise here."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from shared.units import M3S_PER_CFM, W_PER_TON

FloatArray = NDArray[np.float64]

# Design airflow a ton where the unit's own figure is not known: the floors of California Title 24
# 150.0(m)13, 250 cfm a ton for small-duct high-velocity systems and 350 for others, in m3/s a W.
AIRFLOW_FLOOR_HIGH_VELOCITY = 250 * M3S_PER_CFM / W_PER_TON
AIRFLOW_FLOOR_OTHERS = 350 * M3S_PER_CFM / W_PER_TON


@dataclass(frozen=True)
class Limit:
    """``drop_pa`` [n], NaN where no rule applies; ``nothing_left`` [n] where the budget leaves no room
    above the clean drop; ``budget_pa`` [n] what the budget leaves, NaN where none is known."""

    drop_pa: FloatArray
    nothing_left: NDArray[np.bool_]
    budget_pa: FloatArray


def budget_left(
    return_budget_pa: FloatArray,
    return_static_pa: FloatArray,
    rated_pa: FloatArray,
    supply_static_pa: FloatArray,
) -> FloatArray:
    """What return and supply ducts leave for the filter in Pa, [n]; NaN where no budget is known.

    The smaller of return budget less return static, and rated external static less return and supply
    static. A static that is not known counts as nought.
    """
    back = np.nan_to_num(return_static_pa, nan=0.0)
    supply = np.nan_to_num(supply_static_pa, nan=0.0)
    return np.fmin(return_budget_pa - back, rated_pa - back - supply)


def limit_drop(given_pa: FloatArray, clean_pa: FloatArray, left_pa: FloatArray) -> Limit:
    """The slot's limit in Pa: the one given, else the smaller of twice the clean drop and ``left_pa``.

    Where the budget leaves nothing above the clean drop, the clean drop itself. NaN means unknown.
    """
    ruled = np.fmin(2.0 * clean_pa, left_pa)
    nothing_left = (left_pa <= clean_pa) & np.isnan(given_pa)
    ruled = np.where(nothing_left, clean_pa, ruled)
    ruled = np.where(np.isnan(clean_pa), np.nan, ruled)
    return Limit(np.where(np.isnan(given_pa), ruled, given_pa), nothing_left, left_pa)
