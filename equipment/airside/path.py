"""A return path part by part: what grille, boxes and ducts take at an airflow, in the air of the place.

Parts in a row all pass the whole airflow; of ducts side by side give each its own path and share of the air.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from equipment.airside.air import (
    dry_density,
    dynamic_viscosity,
    face_velocity,
    nominal_area,
    standard_pressure,
)
from equipment.airside.duct import (
    AIR_KG_M3,
    AIR_VISCOSITY_M2S,
    FLEXIBLE_ROUGHNESS_M,
    SHEET_ROUGHNESS_M,
    flexible_correction,
    friction_pa,
)
from equipment.airside.refused import BadFigure, NoArea, want_above_nought, want_finite, want_not_negative

FloatArray = npt.NDArray[np.float64]

# Own assumptions. A quarter turn of smooth, wide bend; the share of a grille's face that bars leave free;
# and what a grille loses on the velocity pressure between its bars: half of it going in, all of it behind.
ELBOW_LOSS = 0.25
GRILLE_FREE_SHARE = 0.75
GRILLE_LOSS = 1.5
# Going from a box into a duct with a plain edge, on the duct's velocity pressure, the box being very wide.
_PLAIN_ENTRY = 0.5


@dataclass(frozen=True, slots=True)
class Air:
    """Density in kg/m3 and kinematic viscosity in m2/s, each a float or [n]; 20 degrees C at sea level."""

    density_kg_m3: npt.ArrayLike = AIR_KG_M3
    viscosity_m2s: npt.ArrayLike = AIR_VISCOSITY_M2S

    def __post_init__(self) -> None:
        want_above_nought("density and viscosity", self.density_kg_m3, self.viscosity_m2s)


STANDARD_AIR = Air()


def air_at(altitude_m: npt.ArrayLike, temperature_c: npt.ArrayLike = 20.0) -> Air:
    """Dry air indoors at an altitude in m and a temperature in degrees C; ranges as standard_pressure's and
    dry_density's."""
    density = dry_density(standard_pressure(altitude_m), temperature_c)
    return Air(density, dynamic_viscosity(temperature_c) / density)


class Part(Protocol):
    """Anything on the way that takes pressure."""

    def loss_pa(self, airflow_m3s: npt.ArrayLike, air: Air = STANDARD_AIR) -> FloatArray:
        """Loss in Pa at airflows in m3/s, shapes broadcast; nought without airflow."""
        ...


@dataclass(frozen=True, slots=True)
class Duct:
    """Round duct of ``diameter_m`` and ``length_m`` as it lies, sheet or flexible, with bends and fittings.

    ``compression`` is flexible duct's share of slack (0 to 0.3; its rule holds for 100 to 500 mm),
    ``elbows`` quarter turns at ELBOW_LOSS each, ``fittings`` every other loss coefficient added up; both on
    the duct's velocity pressure. Raises NoArea for a diameter not above 0, BadFigure for other figures that
    cannot be, NotFinite for NaN or an infinity.
    """

    diameter_m: float
    length_m: float
    flexible: bool = False
    compression: float = 0.0
    elbows: float = 0.0
    fittings: float = 0.0

    def __post_init__(self) -> None:
        want_above_nought("a duct's diameter", self.diameter_m, error=NoArea)
        want_not_negative("length, elbows and fittings", self.length_m, self.elbows, self.fittings)
        want_not_negative("compression", self.compression)
        if self.compression and not self.flexible:
            raise BadFigure("only flexible duct is compressed")
        self._times_stretched()

    def loss_pa(self, airflow_m3s: npt.ArrayLike, air: Air = STANDARD_AIR) -> FloatArray:
        """Friction, times the rule for compressed flexible duct, and fittings; as Part.loss_pa."""
        rough = FLEXIBLE_ROUGHNESS_M if self.flexible else SHEET_ROUGHNESS_M
        friction = friction_pa(
            airflow_m3s, self.diameter_m, self.length_m, rough,
            density_kg_m3=air.density_kg_m3, viscosity_m2s=air.viscosity_m2s,
        )  # fmt: skip
        loss = self.elbows * ELBOW_LOSS + self.fittings
        local = loss * _velocity_pressure(airflow_m3s, self.area_m2, air)
        return np.asarray(friction * self._times_stretched() + local)

    @property
    def area_m2(self) -> float:
        """Cross-section in m2."""
        return float(np.pi / 4.0 * self.diameter_m**2)

    def _times_stretched(self) -> float:
        return float(flexible_correction(self.diameter_m, self.compression)) if self.compression else 1.0


@dataclass(frozen=True, slots=True)
class Grille:
    """A grille of nominal sides in m; the filter in it is no part of this.

    Assumed unless its papers say better: bars leave GRILLE_FREE_SHARE of the face free, and GRILLE_LOSS of
    the velocity pressure between them is lost. Raises NoArea for a side not above 0, BadFigure for a share
    outside 0 to 1 or a negative loss, NotFinite for NaN or an infinity.
    """

    width_m: float
    height_m: float
    free_share: float = GRILLE_FREE_SHARE
    loss: float = GRILLE_LOSS

    def __post_init__(self) -> None:
        nominal_area(self.width_m, self.height_m)
        want_finite("a grille's free share", self.free_share)
        if not 0 < self.free_share <= 1:
            raise BadFigure("a grille's free share lies above 0 and up to 1")
        want_not_negative("a grille's loss", self.loss)

    def loss_pa(self, airflow_m3s: npt.ArrayLike, air: Air = STANDARD_AIR) -> FloatArray:
        """As Part.loss_pa."""
        free = float(nominal_area(self.width_m, self.height_m)) * self.free_share
        return np.asarray(self.loss * _velocity_pressure(airflow_m3s, free, air))


@dataclass(frozen=True, slots=True)
class Box:
    """A box behind the grille or a plenum, between an opening of ``inlet_m2`` and one of ``outlet_m2``.

    Air loses what a sudden widening takes (Borda and Carnot) and a plain edge on the way out; a box no wider
    than an opening takes nothing there. Raises NoArea for an area not above 0 or a box narrower than an
    opening, NotFinite for NaN or an infinity.
    """

    area_m2: float
    inlet_m2: float
    outlet_m2: float

    def __post_init__(self) -> None:
        want_above_nought("a box's areas", self.area_m2, self.inlet_m2, self.outlet_m2, error=NoArea)
        if self.area_m2 < max(self.inlet_m2, self.outlet_m2) * (1 - 1e-9):
            raise NoArea("a box must not be narrower than its openings")

    def loss_pa(self, airflow_m3s: npt.ArrayLike, air: Air = STANDARD_AIR) -> FloatArray:
        """As Part.loss_pa."""
        widening = np.square(1.0 - self.inlet_m2 / self.area_m2)
        edge = _PLAIN_ENTRY * (1.0 - self.outlet_m2 / self.area_m2)
        into = widening * _velocity_pressure(airflow_m3s, self.inlet_m2, air)
        return np.asarray(into + edge * _velocity_pressure(airflow_m3s, self.outlet_m2, air))


def path_loss_pa(parts: Sequence[Part], airflow_m3s: npt.ArrayLike, air: Air = STANDARD_AIR) -> FloatArray:
    """Loss in Pa of parts in a row at airflows in m3/s, shapes broadcast; nought for no parts.

    Raises BadFigure for a negative airflow, NotFinite for NaN or an infinity.
    """
    want_not_negative("an airflow", airflow_m3s)
    nought = np.zeros(np.shape(airflow_m3s))
    return np.asarray(sum((part.loss_pa(airflow_m3s, air) for part in parts), start=nought))


def path_square(parts: Sequence[Part], design_m3s: npt.ArrayLike, air: Air = STANDARD_AIR) -> FloatArray:
    """Pa for one (m3/s) squared of parts in a row, as operating.Paths takes it, exact at the design airflow.

    Friction goes with a little less than the square: at half the airflow the square falls some per cent
    short of it. Raises BadFigure for an airflow not above 0, NotFinite for NaN or an infinity.
    """
    want_above_nought("the design airflow", design_m3s)
    return np.asarray(path_loss_pa(parts, design_m3s, air) / np.square(np.asarray(design_m3s, dtype=float)))


def _velocity_pressure(airflow_m3s: npt.ArrayLike, area_m2: float, air: Air) -> FloatArray:
    speed = face_velocity(airflow_m3s, area_m2)
    return np.asarray(0.5 * np.asarray(air.density_kg_m3, dtype=float) * np.square(speed))
