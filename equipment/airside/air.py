"""Air itself: its density and viscosity, with altitude too, and the speed at which it meets a filter."""

import numpy as np
import numpy.typing as npt

from equipment.airside.refused import BadFigure, NoArea, want_above_nought, want_finite

FloatArray = npt.NDArray[np.float64]

# ICAO standard atmosphere (Doc 7488), lowest layer: sea level, lapse rate, gas constant of air, gravity.
_SEA_LEVEL_PA = 101_325.0
_SEA_LEVEL_K = 288.15
_LAPSE_K_PER_M = 0.0065
_GAS_J_PER_KG_K = 287.05287
_GRAVITY_MS2 = 9.80665
_EARTH_M = 6_356_766.0
_LAYER_M = 11_000.0
# ASHRAE Fundamentals chapter 1 reckons dry air indoors with this gas constant, 8314.472 / 28.966.
_DRY_AIR_J_PER_KG_K = 287.042
_ZERO_C_K = 273.15
# Sutherland's law with the constants of the U.S. Standard Atmosphere, 1976.
_SUTHERLAND, _SUTHERLAND_K = 1.458e-6, 110.4


def standard_pressure(altitude_m: npt.ArrayLike) -> FloatArray:
    """Pressure in Pa at an altitude above sea level in m, any shape.

    ICAO standard atmosphere, the altitude taken as geometric. Valid from -500 m to 11 km; raises
    BadFigure outside.
    """
    ratio = _standard_temperature(altitude_m) / _SEA_LEVEL_K
    return np.asarray(_SEA_LEVEL_PA * ratio ** (_GRAVITY_MS2 / (_LAPSE_K_PER_M * _GAS_J_PER_KG_K)))


def standard_density(altitude_m: npt.ArrayLike) -> FloatArray:
    """Density of dry air in kg/m3 at an altitude in m, any shape: standard pressure at its own temperature.

    Source and range as standard_pressure. Indoors air is warmer than that and lighter; see dry_density.
    """
    return np.asarray(standard_pressure(altitude_m) / (_GAS_J_PER_KG_K * _standard_temperature(altitude_m)))


def dry_density(pressure_pa: npt.ArrayLike, temperature_c: npt.ArrayLike) -> FloatArray:
    """Density of dry air in kg/m3 at a pressure in Pa and a temperature in degrees C; shapes broadcast.

    As an ideal gas (ASHRAE Fundamentals, chapter 1), within 0.05 % of real air in a house; moisture makes
    room air up to 1 % lighter. Raises BadFigure for a pressure not above 0 or a temperature outside -60 to
    100.
    """
    want_above_nought("a pressure", pressure_pa)
    pressure = np.asarray(pressure_pa, dtype=float)
    return np.asarray(pressure / (_DRY_AIR_J_PER_KG_K * _kelvin(temperature_c)))


def dynamic_viscosity(temperature_c: npt.ArrayLike) -> FloatArray:
    """Dynamic viscosity of air in Pa s at a temperature in degrees C, any shape; it hardly knows pressure.

    Sutherland's law, U.S. Standard Atmosphere 1976. Raises BadFigure outside -60 to 100.
    """
    kelvin = _kelvin(temperature_c)
    return np.asarray(_SUTHERLAND * kelvin**1.5 / (kelvin + _SUTHERLAND_K))


def face_velocity(airflow_m3s: npt.ArrayLike, area_m2: npt.ArrayLike) -> FloatArray:
    """Mean velocity in m/s of an airflow in m3/s through an area in m2; shapes broadcast.

    Raises NoArea for an area that is not above 0, NotFinite for NaN or an infinity.
    """
    want_finite("an airflow", airflow_m3s)
    want_above_nought("a face area", area_m2, error=NoArea)
    area = np.asarray(area_m2, dtype=float)
    return np.asarray(np.asarray(airflow_m3s, dtype=float) / area)


def nominal_area(width_m: npt.ArrayLike, height_m: npt.ArrayLike) -> FloatArray:
    """Face area in m2 from the nominal sides in m; shapes broadcast. The actual face is some 5 % smaller.

    Raises NoArea for a side that is not above 0, NotFinite for NaN or an infinity.
    """
    want_above_nought("the sides of a face", width_m, height_m, error=NoArea)
    return np.asarray(np.asarray(width_m, dtype=float) * np.asarray(height_m, dtype=float))


def _standard_temperature(altitude_m: npt.ArrayLike) -> FloatArray:
    altitude = np.asarray(altitude_m, dtype=float)
    if not np.all((altitude >= -500.0) & (altitude <= _LAYER_M)):
        raise BadFigure("the standard atmosphere is used from -500 m to 11,000 m only")
    geopotential = _EARTH_M * altitude / (_EARTH_M + altitude)
    return np.asarray(_SEA_LEVEL_K - _LAPSE_K_PER_M * geopotential)


def _kelvin(temperature_c: npt.ArrayLike) -> FloatArray:
    celsius = np.asarray(temperature_c, dtype=float)
    if not np.all((celsius >= -60.0) & (celsius <= 100.0)):
        raise BadFigure("air is reckoned from -60 to 100 degrees C only")
    return np.asarray(celsius + _ZERO_C_K)
