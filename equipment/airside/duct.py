"""What a duct resists: friction in round and flexible duct, and the round that equals a rectangle."""

import numpy as np
import numpy.typing as npt
from scipy.special import lambertw

from equipment.airside.refused import BadFigure, NoArea, want_above_nought, want_finite, want_not_negative

FloatArray = npt.NDArray[np.float64]

# Dry air at 20 degrees C and sea level; roughness of galvanised sheet and of stretched flexible duct.
AIR_KG_M3 = 1.204
AIR_VISCOSITY_M2S = 1.5e-5
SHEET_ROUGHNESS_M = 0.12e-3
FLEXIBLE_ROUGHNESS_M = 0.9e-3
_LAMINAR = 2300.0
# ASHRAE Fundamentals chapter 21, Eq. 22 holds for these diameters in m and for compression to this share.
FLEXIBLE_DIAMETERS_M = (0.1, 0.5)
FLEXIBLE_COMPRESSION = 0.3


def friction_factor(reynolds: npt.ArrayLike, relative_roughness: npt.ArrayLike) -> FloatArray:
    """Darcy's friction factor, shapes broadcast, no units: Colebrook's above a Reynolds number of 2300,
    64 / Re below.

    Colebrook's equation is solved exactly with Lambert's W. Raises BadFigure for a Reynolds number that
    is not above 0 or a roughness outside 0 to 0.05, NotFinite for NaN or an infinity.
    """
    want_finite("Reynolds number and roughness", reynolds, relative_roughness)
    re, rough = np.asarray(reynolds, dtype=float), np.asarray(relative_roughness, dtype=float)
    if not (np.all(re > 0) and np.all((rough >= 0) & (rough <= 0.05))):
        raise BadFigure("the Reynolds number must be above 0 and the relative roughness from 0 to 0.05")
    turbulent = np.maximum(re, _LAMINAR)
    # 1 / sqrt(f) = -2 log10(rough / 3.7 + 2.51 / (re sqrt(f))); with x = 1 / sqrt(f) + shift it is W's.
    scale = np.log(10.0) / 2.0
    shift = rough * turbulent / (3.7 * 2.51)
    argument = scale * turbulent / 2.51
    # W of a number too large for a float, from its logarithm.
    x = _lambert_of_exp(np.log(argument) + scale * shift) / scale
    return np.asarray(np.where(re < _LAMINAR, 64.0 / re, np.square(1.0 / (x - shift))))


def _lambert_of_exp(log: FloatArray) -> FloatArray:
    """W(exp(log)), by Newton's steps where exp overflows."""
    within: FloatArray = np.atleast_1d(np.exp(np.minimum(log, 500.0)))
    small = np.real(lambertw(within, 0)).reshape(np.shape(log))
    big = np.maximum(log, 2.0)
    w = big - np.log(big)
    for _ in range(4):
        w = w * (1.0 + big - np.log(w)) / (1.0 + w)
    return np.asarray(np.where(log < 500.0, small, w))


def friction_pa(
    airflow_m3s: npt.ArrayLike,
    diameter_m: npt.ArrayLike,
    length_m: npt.ArrayLike,
    roughness_m: npt.ArrayLike = SHEET_ROUGHNESS_M,
    *,
    density_kg_m3: npt.ArrayLike = AIR_KG_M3,
    viscosity_m2s: npt.ArrayLike = AIR_VISCOSITY_M2S,
) -> FloatArray:
    """Friction loss in Pa of round duct (Darcy and Weisbach), shapes broadcast; nought without airflow.

    Raises NoArea for a diameter that is not above 0, BadFigure for a negative length or airflow or air
    without density or viscosity, NotFinite for NaN or an infinity.
    """
    want_above_nought("a duct's diameter", diameter_m, error=NoArea)
    want_not_negative("a duct's length and airflow", length_m, airflow_m3s)
    want_above_nought("density and viscosity", density_kg_m3, viscosity_m2s)
    flow, diameter, length = (np.asarray(one, dtype=float) for one in (airflow_m3s, diameter_m, length_m))
    velocity = flow / (np.pi / 4.0 * np.square(diameter))
    reynolds = np.maximum(velocity * diameter / viscosity_m2s, 1e-9)
    factor = friction_factor(reynolds, np.asarray(roughness_m, dtype=float) / diameter)
    return np.asarray(factor * length / diameter * 0.5 * np.asarray(density_kg_m3) * np.square(velocity))


def flexible_correction(diameter_m: npt.ArrayLike, compression: npt.ArrayLike) -> FloatArray:
    """How many times the loss of fully stretched flexible duct it has when ``compression`` (a share, 0 for
    stretched) shorter than that; shapes broadcast.

    ``1 + 58 c exp(-4.96 D)``, ASHRAE Fundamentals chapter 21, Eq. 22. Raises BadFigure for a compression
    outside 0 to 0.3 or a diameter outside 0.1 to 0.5 m.
    """
    diameter, share = np.asarray(diameter_m, dtype=float), np.asarray(compression, dtype=float)
    low, high = FLEXIBLE_DIAMETERS_M
    if not (np.all((share >= 0) & (share <= FLEXIBLE_COMPRESSION))):
        raise BadFigure("the rule for flexible duct holds up to 30 % of compression")
    if not np.all((diameter >= low) & (diameter <= high)):
        raise BadFigure("the rule for flexible duct holds for diameters from 100 to 500 mm")
    return np.asarray(1.0 + 58.0 * share * np.exp(-4.96 * diameter))


def equivalent_round(one_side_m: npt.ArrayLike, other_side_m: npt.ArrayLike) -> FloatArray:
    """Diameter in m of the round duct that loses as much as a rectangle at the same airflow.

    ASHRAE Fundamentals chapter 21, Eq. 25; sides in m, shapes broadcast. Raises NoArea for a side that is
    not above 0, NotFinite for NaN or an infinity.
    """
    want_above_nought("the sides of a duct", one_side_m, other_side_m, error=NoArea)
    a, b = np.asarray(one_side_m, dtype=float), np.asarray(other_side_m, dtype=float)
    return np.asarray(1.30 * (a * b) ** 0.625 / (a + b) ** 0.25)
