"""Filter media: clean drop from the points on the label, growth with dust, MERV from efficiencies."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from equipment.airside.refused import BadFigure, OutOfOrder, want_above_nought, want_finite

FloatArray = NDArray[np.float64]

# Drop goes with airflow to this power where the label gives one point: Q ~ dP ** 0.85, LBNL Modelica
# Buildings, air filters.
USUAL_EXPONENT = 1.18

# ASHRAE 52.2 Table 12-1 as quoted in a second source: MERV and the least E1, E2, E3 in percent, 0 where
# a range does not count. E3 of MERV 13 is from memory (90; one table prints 95).
_MERV_FLOORS = (
    (16, 95, 95, 95),
    (15, 85, 90, 95),
    (14, 75, 90, 95),
    (13, 50, 85, 90),
    (12, 35, 80, 90),
    (11, 20, 65, 85),
    (10, 0, 50, 80),
    (9, 0, 35, 75),
    (8, 0, 20, 70),
    (7, 0, 0, 50),
    (6, 0, 0, 35),
    (5, 0, 0, 20),
)


@dataclass(frozen=True)
class LabelCurve:
    """Points of a label: ``airflow_m3s`` [k] rising, ``drop_pa`` [k], k >= 1, all above nought.

    Between points log of drop is straight in log of airflow; outside them the end segment goes on. Points
    out of order are refused, never sorted: OutOfOrder; NotFinite for NaN or an infinity, else BadFigure.
    """

    airflow_m3s: FloatArray
    drop_pa: FloatArray

    def __post_init__(self) -> None:
        if len(self.airflow_m3s) == 0 or len(self.airflow_m3s) != len(self.drop_pa):
            raise BadFigure("a label curve needs as many drops as airflows, and at least one")
        want_finite("each airflow and drop of a label curve", self.airflow_m3s, self.drop_pa)
        if np.any(self.airflow_m3s <= 0) or np.any(self.drop_pa <= 0):
            raise BadFigure("airflows and drops of a label curve must be above nought")
        if np.any(np.diff(self.airflow_m3s) <= 0):
            raise OutOfOrder("the airflows of a label curve must rise and not repeat")

    def clean_drop(self, airflow_m3s: FloatArray) -> FloatArray:
        """Clean drop in Pa at ``airflow_m3s`` (any shape). Raises BadFigure for one not above nought."""
        want_above_nought("the airflow through a filter", airflow_m3s)
        log_q, log_p = np.log(self.airflow_m3s), np.log(self.drop_pa)
        wanted = np.log(airflow_m3s)
        exponent = self._exponents()
        segment = np.clip(np.searchsorted(log_q, wanted) - 1, 0, len(exponent) - 1)
        drop = log_p[segment] + exponent[segment] * (wanted - log_q[segment])
        # A senseless label far outside its points must not overflow; no drop is near e ** 200 Pa.
        return np.asarray(np.exp(np.clip(drop, -200.0, 200.0)))

    def extrapolates(self, airflow_m3s: FloatArray) -> NDArray[np.bool_]:
        """Whether ``airflow_m3s`` lies outside the label's points."""
        low, high = self.airflow_m3s[0], self.airflow_m3s[-1]
        return np.asarray((airflow_m3s < low * (1 - 1e-9)) | (airflow_m3s > high * (1 + 1e-9)))

    def outside(self, airflow_m3s: float) -> bool:
        """The same of one airflow."""
        low, high = float(self.airflow_m3s[0]), float(self.airflow_m3s[-1])
        return airflow_m3s < low * (1 - 1e-9) or airflow_m3s > high * (1 + 1e-9)

    def carry(self, drop_pa: FloatArray, from_m3s: FloatArray, to_m3s: FloatArray) -> FloatArray:
        """A drop read at one airflow as it would be at another, by the medium's own curve."""
        return np.asarray(drop_pa * self.clean_drop(to_m3s) / self.clean_drop(from_m3s))

    def _exponents(self) -> FloatArray:
        if len(self.airflow_m3s) == 1:
            return np.array([USUAL_EXPONENT])
        return np.asarray(np.diff(np.log(self.drop_pa)) / np.diff(np.log(self.airflow_m3s)))


def loading_multiplier(base: FloatArray, loading: FloatArray) -> FloatArray:
    """Times the clean drop, at ``loading`` as a share of the dust capacity: base ** loading.

    Shapes broadcast, no units. After Li et al., Sep. Purif. Technol. 284:120209 (2022), as used in
    LBNL's Modelica Buildings; measured for loadings from 0 to 1. Raises BadFigure for a base below 1
    or a negative loading, NotFinite for NaN or an infinity.
    """
    want_finite("base and loading", base, loading)
    if not (np.all(base >= 1) and np.all(loading >= 0)):
        raise BadFigure("the base must be 1 or more and the loading not negative")
    return np.asarray(base**loading)


def merv(e1_percent: float, e2_percent: float, e3_percent: float) -> int | None:
    """MERV, 5 to 16, from the average efficiencies in percent for 0.3-1, 1-3 and 3-10 micrometres.

    ASHRAE 52.2 Table 12-1, not its editions up to 2007. None below MERV 5, where arrestance decides.
    Raises BadFigure outside 0 to 100.
    """
    found = (e1_percent, e2_percent, e3_percent)
    if not all(0 <= value <= 100 for value in found):
        raise BadFigure("an efficiency lies from 0 to 100 percent")
    for grade, *floors in _MERV_FLOORS:
        if all(value >= floor for value, floor in zip(found, floors, strict=True)):
            return grade
    return None
