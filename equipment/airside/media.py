"""Clean drop of a filter medium from the points printed on its label."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# Drop goes with airflow to this power where the label gives one point: Q ~ dP ** 0.85, LBNL Modelica
# Buildings, air filters.
USUAL_EXPONENT = 1.18


@dataclass(frozen=True)
class LabelCurve:
    """Points of a label: ``airflow_m3s`` [k] rising, ``drop_pa`` [k], k >= 1, all above nought.

    Between points log of drop is straight in log of airflow; outside them the end segment goes on.
    """

    airflow_m3s: FloatArray
    drop_pa: FloatArray

    def __post_init__(self) -> None:
        if len(self.airflow_m3s) == 0 or len(self.airflow_m3s) != len(self.drop_pa):
            raise ValueError("a label curve needs as many drops as airflows, and at least one")
        if np.any(self.airflow_m3s <= 0) or np.any(self.drop_pa <= 0):
            raise ValueError("airflows and drops of a label curve must be above nought")
        if np.any(np.diff(self.airflow_m3s) <= 0):
            raise ValueError("the airflows of a label curve must rise and not repeat")

    def clean_drop(self, airflow_m3s: FloatArray) -> FloatArray:
        """Clean drop in Pa at ``airflow_m3s`` (any shape, above nought)."""
        log_q, log_p = np.log(self.airflow_m3s), np.log(self.drop_pa)
        wanted = np.log(airflow_m3s)
        exponent = self._exponents()
        segment = np.clip(np.searchsorted(log_q, wanted) - 1, 0, len(exponent) - 1)
        return np.asarray(np.exp(log_p[segment] + exponent[segment] * (wanted - log_q[segment])))

    def extrapolates(self, airflow_m3s: FloatArray) -> NDArray[np.bool_]:
        """Whether ``airflow_m3s`` lies outside the label's points."""
        low, high = self.airflow_m3s[0], self.airflow_m3s[-1]
        return np.asarray((airflow_m3s < low * (1 - 1e-9)) | (airflow_m3s > high * (1 + 1e-9)))

    def carry(self, drop_pa: FloatArray, from_m3s: FloatArray, to_m3s: FloatArray) -> FloatArray:
        """A drop read at one airflow as it would be at another, by the medium's own curve."""
        return np.asarray(drop_pa * self.clean_drop(to_m3s) / self.clean_drop(from_m3s))

    def _exponents(self) -> FloatArray:
        if len(self.airflow_m3s) == 1:
            return np.array([USUAL_EXPONENT])
        return np.asarray(np.diff(np.log(self.drop_pa)) / np.diff(np.log(self.airflow_m3s)))
