"""How fast the filter of a slot loads: prior, readings of this life, readings of past lives.

The drop at design airflow over the clean drop grows as ``g(u) = 1 + expm1(a u) / expm1(a)`` with
dose ``u = kappa * exposure``: one at nought, two at u = 1, straight for small a; a = ln 2 is b ** M
with b = 2 (LBNL Modelica Buildings, air filters, after Li et al. 2022). Exposure is air passed over
face area, in m. Log kappa of a life is a class mean, plus the house's own effect, plus that life's.
All constants here are fixed; they are documented beside each.
"""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray

# Twice the clean drop after about 720 h at 1.5 m/s in a thin MERV 8: a season of a usual house.
USUAL_EXPOSURE_TO_TWICE_M = 3.9e6
_BY_MERV = 0.03
_BY_DEPTH = -0.8
_BY_PETS = 0.25
_BY_SMOKERS = 0.2
HOUSE_SPREAD = 0.65
NO_LOG_SPREAD = 0.35
LIFE_SPREAD = 0.2
# Growth shapes and how likely each is before anything was read.
SHAPES = np.array([0.1, 0.4, 0.7, 1.1, 1.6, 2.2])
SHAPE_WEIGHTS = np.array([0.12, 0.2, 0.26, 0.2, 0.14, 0.08])
GRID = np.linspace(-2.8, 2.8, 71)
# A manometer's hundredth of an inch and its method; the tails are those of Student's t.
METER_PA = 2.0
METHOD_SHARE = 0.05
WANDER_SHARE = 0.1
_TAIL = 4.0


@dataclass(frozen=True)
class Lives:
    """Flat rows: life l belongs to slot ``slot[l]``; ``centre`` is its class mean of log kappa."""

    slot: IntArray
    centre: FloatArray
    clean_pa: FloatArray
    current: BoolArray


@dataclass(frozen=True)
class Readings:
    """Flat rows, sorted by life: exposure since the life began in m, drop at design airflow in Pa."""

    life: IntArray
    exposure_m: FloatArray
    drop_pa: FloatArray


@dataclass(frozen=True)
class Loading:
    """Posterior of n slots: ``weight`` [n, shapes, grid] sums to one; log kappa = centre + GRID;
    ``evidence`` [n] is the log of how well the readings fit, up to a constant."""

    centre: FloatArray
    weight: FloatArray
    evidence: FloatArray


def class_mean(merv: FloatArray, depth_m: FloatArray, pets: FloatArray, smokers: FloatArray) -> FloatArray:
    """Prior mean of log kappa (kappa in 1/m) by class and household, arrays of one shape.

    NaN means unknown: MERV 8, 25 mm, and half the effect of pets or smokers.
    """
    merv = np.where(np.isnan(merv), 8.0, merv)
    depth_m = np.where(np.isnan(depth_m), 0.0254, depth_m)
    mean = -np.log(USUAL_EXPOSURE_TO_TWICE_M) + _BY_MERV * (merv - 8)
    mean = mean + _BY_DEPTH * np.log(np.maximum(depth_m, 0.005) / 0.0254)
    mean = mean + _BY_PETS * (np.nan_to_num(pets, nan=0.5) - 0.5)
    return np.asarray(mean + _BY_SMOKERS * (np.nan_to_num(smokers, nan=0.25) - 0.25))


def growth(dose: FloatArray, shape: FloatArray) -> FloatArray:
    """Drop over clean drop at ``dose`` >= 0 for growth ``shape`` > 0 (broadcast)."""
    return np.asarray(1.0 + np.expm1(np.minimum(shape * dose, 60.0)) / np.expm1(shape))


def dose_at(ratio: FloatArray, shape: FloatArray) -> FloatArray:
    """The dose at which the drop is ``ratio`` times the clean drop; nought for ratios of one or less."""
    return np.asarray(np.log1p(np.maximum(ratio - 1.0, 0.0) * np.expm1(shape)) / shape)


def learn(n: int, lives: Lives, readings: Readings, has_log: BoolArray, prior_centre: FloatArray) -> Loading:
    """Posterior of n slots. A slot's past lives narrow what its present life starts from."""
    likelihood = _by_life(lives, readings)
    spread = np.sqrt(HOUSE_SPREAD**2 + np.where(has_log, 0.0, NO_LOG_SPREAD**2))
    house = np.log(SHAPE_WEIGHTS)[None, :, None] - 0.5 * np.square(
        GRID[None, None, :] / spread[:, None, None]
    )
    past = np.flatnonzero(~lives.current)
    if len(past):
        np.add.at(house, lives.slot[past], _smeared(likelihood[past]))
    posterior = _smeared(house)
    now = np.flatnonzero(lives.current)
    np.add.at(posterior, lives.slot[now], likelihood[now])
    top = posterior.max(axis=(1, 2), keepdims=True)
    weight = np.exp(posterior - top)
    total = weight.sum(axis=(1, 2), keepdims=True)
    return Loading(prior_centre, weight / total, (np.log(total) + top)[:, 0, 0])


def _by_life(lives: Lives, readings: Readings) -> FloatArray:
    """Log likelihood [lives, shapes, grid] of the readings of each life."""
    total = np.zeros((len(lives.slot), len(SHAPES), len(GRID)))
    if len(readings.life):
        starts = np.flatnonzero(np.diff(readings.life, prepend=-1))
        total[readings.life[starts]] = np.add.reduceat(_log_likelihood(lives, readings), starts, axis=0)
    return total


def _log_likelihood(lives: Lives, readings: Readings) -> FloatArray:
    clean = lives.clean_pa[readings.life]
    kappa = np.exp(lives.centre[readings.life][:, None] + GRID)
    dose = (kappa * readings.exposure_m[:, None])[:, None, :]
    shape = SHAPES[None, :, None]
    ratio = growth(dose, shape)
    seen = (readings.drop_pa / clean)[:, None, None]
    steepness = dose * shape * (ratio - 1.0 + 1.0 / np.expm1(shape))
    variance = (
        np.square(METER_PA / clean)[:, None, None]
        + np.square(METHOD_SHARE * ratio)
        + np.square(WANDER_SHARE * steepness)
    )
    misfit = np.square(seen - ratio) / variance
    return np.asarray(-0.5 * (_TAIL + 1) * np.log1p(misfit / _TAIL) - 0.5 * np.log(variance))


def _smeared(log_weight: FloatArray) -> FloatArray:
    """Log of the weights after one life's own scatter, along the last axis."""
    step = GRID[1] - GRID[0]
    kernel = np.exp(-0.5 * np.square((GRID[:, None] - GRID[None, :]) / LIFE_SPREAD)) * step
    kernel /= kernel.sum(axis=1, keepdims=True)
    top = log_weight.max(axis=-1, keepdims=True)
    return np.asarray(np.log(np.maximum(np.exp(log_weight - top) @ kernel.T, 1e-300)) + top)
