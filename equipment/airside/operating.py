"""Operating points of many systems at once: the airflow at which blower and resistances agree.

Ducts and coils go with the airflow's square, the filter with a power of its own times its loading. A
fixed-speed blower follows its table; a constant-airflow one holds its design airflow up to a highest static
or power, and gives way beyond.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_STEPS = 60


@dataclass(frozen=True)
class Paths:
    """What n air paths resist, [n]: ``square`` in Pa for one (m3/s) squared for return, coil and supply
    together; the clean filter's ``filter_pa`` at ``filter_at_m3s`` with its ``exponent``; ``loading`` times
    clean (1 or more)."""

    square: FloatArray
    filter_pa: FloatArray
    filter_at_m3s: FloatArray
    exponent: FloatArray
    loading: FloatArray

    def __post_init__(self) -> None:
        if not (np.all(self.square >= 0) and np.all(self.filter_pa >= 0) and np.all(self.loading > 0)):
            raise ValueError("resistances must not be negative")
        if not (np.all(self.filter_at_m3s > 0) and np.all(self.exponent > 0)):
            raise ValueError("the filter's airflow and exponent must be above 0")

    def filter_drop(self, airflow_m3s: FloatArray) -> FloatArray:
        """Drop of the filter as loaded, in Pa [n]."""
        return np.asarray(self.loading * self.filter_pa * (airflow_m3s / self.filter_at_m3s) ** self.exponent)

    def static(self, airflow_m3s: FloatArray) -> FloatArray:
        """External static in Pa [n]."""
        return np.asarray(self.square * np.square(airflow_m3s) + self.filter_drop(airflow_m3s))


@dataclass(frozen=True)
class Tables:
    """Fixed-speed blowers: rising ``airflow_m3s`` [n, k] and falling ``static_pa`` [n, k]; shorter tables
    repeat their last point."""

    airflow_m3s: FloatArray
    static_pa: FloatArray

    def at(self, airflow_m3s: FloatArray) -> FloatArray:
        """Static in Pa [n], straight between the points and held beyond them."""
        flows, statics = self.airflow_m3s, self.static_pa
        last = flows.shape[1] - 1
        right = np.clip((flows < airflow_m3s[:, None]).sum(axis=1), 1, last)
        rows = np.arange(len(flows))
        low, high = flows[rows, right - 1], flows[rows, right]
        part = np.clip((airflow_m3s - low) / np.maximum(high - low, 1e-12), 0.0, 1.0)
        return np.asarray(statics[rows, right - 1] * (1 - part) + statics[rows, right] * part)


@dataclass(frozen=True)
class Points:
    """Operating points, [n]: airflow in m3/s and external static in Pa, NaN where there is none;
    ``overcome`` where the path is too strong already at the table's lowest airflow, ``beyond`` where it is
    too weak at its highest."""

    airflow_m3s: FloatArray
    static_pa: FloatArray
    overcome: BoolArray
    beyond: BoolArray


def fixed_speed(tables: Tables, paths: Paths) -> Points:
    """Where each table meets its path, by bisection for all at once."""
    low, high = tables.airflow_m3s[:, 0].copy(), tables.airflow_m3s[:, -1].copy()
    overcome = tables.at(low) < paths.static(low)
    beyond = tables.at(high) > paths.static(high)
    for _ in range(_STEPS):
        middle = 0.5 * (low + high)
        spare = tables.at(middle) >= paths.static(middle)
        low, high = np.where(spare, middle, low), np.where(spare, high, middle)
    airflow = np.where(overcome | beyond, np.nan, 0.5 * (low + high))
    return Points(airflow, paths.static(airflow), overcome, beyond)


def constant_airflow(
    design_m3s: FloatArray,
    paths: Paths,
    highest_static_pa: FloatArray,
    highest_power_w: FloatArray | None = None,
    efficiency: float = 0.3,
) -> Points:
    """The design airflow, or less where a ceiling of static or of electric power ([n], infinite for none)
    is met first. ``efficiency`` is that of blower and motor together."""
    power = np.full(len(design_m3s), np.inf) if highest_power_w is None else highest_power_w

    def within(airflow: FloatArray) -> BoolArray:
        static = paths.static(airflow)
        return np.asarray((static <= highest_static_pa) & (static * airflow / efficiency <= power))

    low, high = np.zeros_like(design_m3s), design_m3s.astype(np.float64)
    holds = within(high)
    for _ in range(_STEPS):
        middle = 0.5 * (low + high)
        inside = within(middle)
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    airflow = np.where(holds, design_m3s, low)
    none = np.zeros(len(design_m3s), dtype=np.bool_)
    return Points(airflow, paths.static(airflow), none, none)


def electric_power(points: Points, efficiency: float | FloatArray) -> FloatArray:
    """Electric power in W [n] of moving the air against the external static at one efficiency.

    For constant-airflow motors; a fixed-speed motor's efficiency falls faster than its static rises, so that
    it draws less power with less air.
    """
    return np.asarray(points.airflow_m3s * points.static_pa / efficiency)
