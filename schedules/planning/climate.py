"""The year that a weather station lets one expect.

A station's daily means are fitted by a mean and two harmonics of the year. The fit is drawn toward a
rough climate of the latitude with the weight of ``PRIOR_DAYS`` days, so that a short record or none
still gives a year, only a doubtful one.
"""

from dataclasses import dataclass
from datetime import date

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray

YEAR_DAYS = 365.2425
PRIOR_DAYS = 20.0
_COLDEST_DAY = 20.0
_USUAL_SPREAD_C = 5.0


@dataclass(frozen=True)
class Climate:
    """``coefficients`` [k, 5] of mean, cosine, sine and their second harmonics; ``spread_c`` [k]."""

    coefficients: FloatArray
    spread_c: FloatArray

    def normal(self, days: IntArray) -> FloatArray:
        """Expected daily mean in degrees Celsius, [k, len(days)], for proleptic ordinals ``days``."""
        return np.asarray(self.coefficients @ year_basis(days).T, dtype=np.float64)


def year_basis(days: IntArray) -> FloatArray:
    """[len(days), 5]: one, cosine and sine of the year from its coldest day, and of half the year."""
    jan_1 = date(2000, 1, 1).toordinal()
    angle = 2 * np.pi * ((days - jan_1 - _COLDEST_DAY) / YEAR_DAYS)
    ones = np.ones_like(angle)
    return np.stack([ones, np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)], axis=1)


def latitude_climate(latitude: FloatArray) -> FloatArray:
    """Rough coefficients [k, 5] by latitude in degrees; NaN is taken as 38.

    Straight lines through the annual means and amplitudes of a few cities of North America, from
    memory; good to some 4 K, which is why any record outweighs them within weeks.
    """
    lat = np.where(np.isnan(latitude), 38.0, latitude)
    mean = np.clip(47.0 - 0.87 * np.abs(lat), -15.0, 27.0)
    swing = np.clip(0.6 * np.abs(lat) - 11.0, 2.0, 25.0) * np.where(lat < 0, -1.0, 1.0)
    zero = np.zeros_like(mean)
    return np.stack([mean, -swing, zero, zero, zero], axis=1)


def fit_climate(temps_c: FloatArray, first_day: int, latitude: FloatArray) -> Climate:
    """Climate of k stations from ``temps_c`` [k, d] (NaN: no record), whose first column is ``first_day``."""
    days = np.arange(first_day, first_day + temps_c.shape[1])
    basis = year_basis(days)
    known = ~np.isnan(temps_c)
    filled = np.where(known, temps_c, 0.0)
    prior = latitude_climate(latitude)
    # A year has a mean and four waves to tell; second harmonics are held nearer to nought.
    weight = PRIOR_DAYS * np.diag([1.0, 1.0, 1.0, 4.0, 4.0])
    gram = np.einsum("kd,di,dj->kij", known.astype(np.float64), basis, basis, optimize=True) + weight
    moment = filled @ basis + prior @ weight
    coefficients = np.linalg.solve(gram, moment[..., None])[..., 0]
    residual = np.where(known, temps_c - coefficients @ basis.T, 0.0)
    count = known.sum(axis=1)
    variance = (np.square(residual).sum(axis=1) + 30 * _USUAL_SPREAD_C**2) / (count + 30)
    return Climate(coefficients, np.sqrt(variance))


def day_number(day: date) -> int:
    """The proleptic ordinal of ``day``."""
    return day.toordinal()


def day_of(number: int) -> date:
    """The day whose proleptic ordinal is ``number``."""
    return date.fromordinal(number)
