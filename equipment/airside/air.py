"""Air itself: its density with altitude, and the speed at which it meets a filter."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# ICAO standard atmosphere (Doc 7488), lowest layer: sea level, lapse rate, gas constant of air, gravity.
_SEA_LEVEL_PA = 101_325.0
_SEA_LEVEL_K = 288.15
_LAPSE_K_PER_M = 0.0065
_GAS_J_PER_KG_K = 287.05287
_GRAVITY_MS2 = 9.80665
_EARTH_M = 6_356_766.0
_LAYER_M = 11_000.0


def standard_pressure(altitude_m: npt.ArrayLike) -> FloatArray:
    """Pressure in Pa at an altitude above sea level in m, any shape.

    ICAO standard atmosphere, the altitude taken as geometric. Valid from -500 m to 11 km; raises
    ValueError outside.
    """
    ratio = _standard_temperature(altitude_m) / _SEA_LEVEL_K
    return np.asarray(_SEA_LEVEL_PA * ratio ** (_GRAVITY_MS2 / (_LAPSE_K_PER_M * _GAS_J_PER_KG_K)))


def standard_density(altitude_m: npt.ArrayLike) -> FloatArray:
    """Density of dry air in kg/m3 at an altitude in m, any shape: standard pressure at its own temperature.

    Source and range as standard_pressure. Indoors air is warmer than that and some 3 % lighter.
    """
    return np.asarray(standard_pressure(altitude_m) / (_GAS_J_PER_KG_K * _standard_temperature(altitude_m)))


def face_velocity(airflow_m3s: npt.ArrayLike, area_m2: npt.ArrayLike) -> FloatArray:
    """Mean velocity in m/s of an airflow in m3/s through an area in m2; shapes broadcast.

    Raises ValueError for an area that is not above 0.
    """
    area = np.asarray(area_m2, dtype=float)
    if not np.all(area > 0):
        raise ValueError("a face area must be above 0")
    return np.asarray(np.asarray(airflow_m3s, dtype=float) / area)


def nominal_area(width_m: npt.ArrayLike, height_m: npt.ArrayLike) -> FloatArray:
    """Face area in m2 from the nominal sides in m; shapes broadcast. The actual face is some 5 % smaller."""
    return np.asarray(np.asarray(width_m, dtype=float) * np.asarray(height_m, dtype=float))


def _standard_temperature(altitude_m: npt.ArrayLike) -> FloatArray:
    altitude = np.asarray(altitude_m, dtype=float)
    if not np.all((altitude >= -500.0) & (altitude <= _LAYER_M)):
        raise ValueError("the standard atmosphere is used from -500 m to 11,000 m only")
    geopotential = _EARTH_M * altitude / (_EARTH_M + altitude)
    return np.asarray(_SEA_LEVEL_K - _LAPSE_K_PER_M * geopotential)
