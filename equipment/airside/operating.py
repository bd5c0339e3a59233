"""Operating points of many systems at once: the airflow at which blower and resistances agree.

Ducts and coils go with the airflow's square, the filter with a power of its own times its loading. A
fixed-speed blower follows its table; a constant-airflow one holds its design airflow up to a highest static
or power, and gives way beyond.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from equipment.airside.duct import AIR_KG_M3
from equipment.airside.fan import SamePoint, TooFewPoints
from equipment.airside.refused import (
    BadFigure,
    OutOfOrder,
    want_above_nought,
    want_finite,
    want_not_negative,
)

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_STEPS = 60


@dataclass(frozen=True)
class Paths:
    """What n air paths resist, [n]: ``square`` in Pa for one (m3/s) squared for return, coil and supply
    together; the clean filter's ``filter_pa`` at ``filter_at_m3s`` with its ``exponent``; ``loading`` times
    clean (1 or more).

    All belong to the air they were measured in; at_density carries them to another. Raises BadFigure for
    a negative resistance or an airflow, exponent or loading not above 0, NotFinite for NaN or an infinity.
    """

    square: FloatArray
    filter_pa: FloatArray
    filter_at_m3s: FloatArray
    exponent: FloatArray
    loading: FloatArray

    def __post_init__(self) -> None:
        want_not_negative("resistances", self.square, self.filter_pa)
        want_above_nought(
            "the filter's airflow, exponent and loading", self.filter_at_m3s, self.exponent, self.loading
        )

    def filter_drop(self, airflow_m3s: FloatArray) -> FloatArray:
        """Drop of the filter as loaded, in Pa [n]."""
        return np.asarray(self.loading * self.filter_pa * (airflow_m3s / self.filter_at_m3s) ** self.exponent)

    def static(self, airflow_m3s: FloatArray) -> FloatArray:
        """External static in Pa [n]."""
        return np.asarray(self.square * np.square(airflow_m3s) + self.filter_drop(airflow_m3s))

    def at_density(
        self, from_kg_m3: npt.ArrayLike, to_kg_m3: npt.ArrayLike, viscosity_ratio: npt.ArrayLike = 1.0
    ) -> "Paths":
        """The same paths in other air, at the same airflows in m3/s; densities [n] or one for all.

        What goes with the square is turbulent and goes with density. A filter's drop ~ V ** n goes with
        density ** (n - 1) * viscosity ** (2 - n), the one form in which units agree: n = 1 feels viscosity
        alone, n = 2 density alone; n is held from 1 to 2 here. ``viscosity_ratio`` is the dynamic viscosity
        after over before: 1 at another altitude, as it goes with temperature alone. Raises BadFigure for
        figures not above 0, NotFinite for NaN or an infinity.
        """
        want_above_nought("density and viscosity", from_kg_m3, to_kg_m3, viscosity_ratio)
        ratio = np.asarray(to_kg_m3, dtype=float) / np.asarray(from_kg_m3, dtype=float)
        turbulent = np.clip(self.exponent, 1.0, 2.0) - 1.0
        times = ratio**turbulent * np.asarray(viscosity_ratio, dtype=float) ** (1.0 - turbulent)
        return replace(self, square=self.square * ratio, filter_pa=self.filter_pa * times)


@dataclass(frozen=True)
class Tables:
    """Fixed-speed blowers: rising ``airflow_m3s`` [n, k] and falling ``static_pa`` [n, k], k >= 2; shorter
    tables repeat their last point.

    Raises TooFewPoints, OutOfOrder for airflows that fall, SamePoint for two points of one airflow before the
    last, BadFigure for arrays of different shape, NotFinite for NaN or an infinity. A table whose static does
    not fall is taken, but gets no operating point.
    """

    airflow_m3s: FloatArray
    static_pa: FloatArray

    def __post_init__(self) -> None:
        if self.airflow_m3s.ndim != 2 or self.airflow_m3s.shape != self.static_pa.shape:
            raise BadFigure("blower tables need as many statics as airflows, a row a table")
        if self.airflow_m3s.shape[1] < 2:
            raise TooFewPoints("the blower table needs at least two points")
        want_finite("each airflow and static of a blower table", self.airflow_m3s, self.static_pa)
        rise = np.diff(self.airflow_m3s, axis=1)
        if np.any(rise < 0):
            raise OutOfOrder("the airflows of a blower table must rise")
        if np.any((rise == 0) & ~self._repeats_the_last()):
            raise SamePoint("the blower table has two points of the same airflow")

    def not_falling(self) -> BoolArray:
        """Tables whose static does not fall from every point to the next, [n]."""
        level = np.diff(self.static_pa, axis=1) >= 0
        return np.asarray((level & ~self._repeats_the_last()).any(axis=1))

    def at_density(self, to_kg_m3: npt.ArrayLike, from_kg_m3: npt.ArrayLike = AIR_KG_M3) -> "Tables":
        """The same blowers in other air: at the same airflow in m3/s the static goes with density.

        Printed tables are for standard air, 1.204 kg/m3. ``to_kg_m3`` is [n] or one for all. The speed is
        taken as held, though lighter air lets a fixed-speed motor turn a little faster. Raises BadFigure for
        a density not above 0, NotFinite for NaN or an infinity.
        """
        want_above_nought("a density", to_kg_m3, from_kg_m3)
        ratio = np.asarray(to_kg_m3, dtype=float) / np.asarray(from_kg_m3, dtype=float)
        return Tables(self.airflow_m3s, self.static_pa * np.reshape(ratio, (-1, 1)))

    def _repeats_the_last(self) -> BoolArray:
        """Points after the first that are the last over again, [n, k - 1]."""
        flows, statics = self.airflow_m3s, self.static_pa
        return np.asarray((flows[:, :-1] == flows[:, -1:]) & (statics[:, :-1] == statics[:, -1:]))

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
    too weak at its highest, ``not_falling`` where the table is no blower's."""

    airflow_m3s: FloatArray
    static_pa: FloatArray
    overcome: BoolArray
    beyond: BoolArray
    not_falling: BoolArray


def fixed_speed(tables: Tables, paths: Paths) -> Points:
    """Where each table meets its path, by bisection for all at once."""
    low, high = tables.airflow_m3s[:, 0].copy(), tables.airflow_m3s[:, -1].copy()
    overcome = tables.at(low) < paths.static(low)
    beyond = tables.at(high) > paths.static(high)
    wrong = tables.not_falling()
    for _ in range(_STEPS):
        middle = 0.5 * (low + high)
        spare = tables.at(middle) >= paths.static(middle)
        low, high = np.where(spare, middle, low), np.where(spare, high, middle)
    airflow = np.where(overcome | beyond | wrong, np.nan, 0.5 * (low + high))
    return Points(airflow, paths.static(airflow), overcome & ~wrong, beyond & ~wrong, wrong)


def constant_airflow(
    design_m3s: FloatArray,
    paths: Paths,
    highest_static_pa: FloatArray,
    highest_power_w: FloatArray | None = None,
    efficiency: float = 0.3,
) -> Points:
    """The design airflow, or less where a ceiling of static or of electric power ([n], infinite for none)
    is met first. ``efficiency`` is that of blower and motor together.

    Raises BadFigure for an airflow, ceiling or efficiency not above 0, NotFinite for an airflow that is none.
    """
    want_above_nought("design airflow and efficiency", design_m3s, efficiency)
    power = np.full(len(design_m3s), np.inf) if highest_power_w is None else highest_power_w

    if not (np.all(highest_static_pa > 0) and np.all(power > 0)):
        raise BadFigure("ceilings of static and power must be above 0, infinite where there is none")

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
    return Points(airflow, paths.static(airflow), none, none, none)


def electric_power(points: Points, efficiency: float | FloatArray) -> FloatArray:
    """Electric power in W [n] of moving the air against the external static at one efficiency.

    For constant-airflow motors; a fixed-speed motor's efficiency falls faster than its static rises, so that
    it draws less power with less air. Raises BadFigure for an efficiency not above 0.
    """
    want_above_nought("an efficiency", efficiency)
    return np.asarray(points.airflow_m3s * points.static_pa / efficiency)
