"""How fast filters load: the growth of the drop, and what the readings of one filter's life say of it.

The drop at design airflow over the clean drop grows as ``g(u) = 1 + expm1(a u) / expm1(a)`` with
dose ``u = kappa * exposure``: one at nought, two at u = 1, straight for small a; a = ln 2 is b ** M
with b = 2 (LBNL Modelica Buildings, air filters, after Li et al. 2022). Exposure is air passed over
face area, in m. What a manometer shows is ``c * g``: c is the slot's own lasting factor between its
true airflow and label and those on record; it touches the readings, not the date.
"""

from dataclasses import dataclass, field

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray, SingleArray
from schedules.planning.facts import Slots

# Growth shapes and lasting factors that are held possible, and all their pairs, shape by shape.
SHAPES = np.array([0.05, 0.7, 1.4, 2.3])
FACTORS = np.exp(np.array([-0.18, -0.09, 0.0, 0.09, 0.18]))
PAIR_SHAPE = np.repeat(SHAPES, len(FACTORS))
PAIR_FACTOR = np.tile(FACTORS, len(SHAPES))
GRID = np.arange(-3.6, 3.61, 0.2)
# A manometer's hundredth of an inch and its method; the tails are those of Student's t. Dust that
# wanders for weeks makes an early reading of a life say less of the life's mean than a late one.
METER_PA = 2.4
METHOD_SHARE = 0.066
WANDER = 0.2
# No blower of a home draws more, and no meter there shows it.
HIGHEST_PA = 2500.0
_TAIL = 4.0
# Readings at once, three kilobytes each: few enough to stay in the processor's cache.
_AT_ONCE = 192
# Its square is still a number in single precision.
_STEEPEST = np.float32(36.0)


def _usual_pairs() -> FloatArray:
    return np.outer([0.35, 0.3, 0.2, 0.15], [0.08, 0.24, 0.36, 0.24, 0.08]).ravel()


@dataclass(frozen=True)
class Prior:
    """What is held of a slot before its own readings: a class mean of log kappa (kappa in 1/m), the
    spread of houses about it and of one house's lives, and the weight of each pair of shape and factor.

    The values here are the fixed ones for a desk with too few records: twice the clean drop after some
    720 h at 1.5 m/s in a thin MERV 8, first estimates of ours fitted to no fleet.
    """

    coefficients: FloatArray = field(
        default_factory=lambda: np.array([-np.log(3.9e6), 0.03, -0.8, 0.25, 0.2])
    )
    """Mean at MERV 8 and 25 mm, a MERV, the log of depth over 25 mm, pets, smokers."""
    house: float = 0.6
    """Spread of homes, of the slots of one home (``slot``) and of one slot's lives (``life``)."""
    life: float = 0.3
    pairs: FloatArray = field(default_factory=_usual_pairs)
    slot: float = 0.25
    learned_from: int = 0
    """Lives with readings behind it; nought for the fixed one."""
    noise: float = 1.0
    """How far readings scatter for meter and method, beside METER_PA and METHOD_SHARE."""


NO_LOG_SPREAD = 0.35


def features(merv: FloatArray, depth_m: FloatArray, pets: FloatArray, smokers: FloatArray) -> FloatArray:
    """[n, 5] for ``Prior.coefficients``; NaN means unknown: MERV 8, 25 mm, part of a household's effects."""
    depth = np.maximum(np.where(np.isnan(depth_m), 0.0254, depth_m), 0.005)
    return np.stack(
        [
            np.ones(len(merv)),
            np.where(np.isnan(merv), 8.0, merv) - 8.0,
            np.log(depth / 0.0254),
            np.nan_to_num(pets, nan=0.5) - 0.5,
            np.nan_to_num(smokers, nan=0.25) - 0.25,
        ],
        axis=1,
    )


def features_of(slots: Slots, slot: IntArray, merv: FloatArray) -> FloatArray:
    """``features`` of filters of ``merv`` [n] that are or were in the slots ``slot`` [n]."""
    return features(merv, slots.depth_m[slot], slots.pets[slot], slots.smokers[slot])


@dataclass(frozen=True)
class Lives:
    """Flat rows, those of a slot together and its present one last: slot, features [lives, 5], clean
    drop in Pa, exposure in m at the life's end (now, for the present one)."""

    slot: IntArray
    features: FloatArray
    clean_pa: FloatArray
    end_m: FloatArray
    current: BoolArray

    def of(self, rows: BoolArray) -> "Lives":
        """Some of them."""
        return Lives(*(part[rows] for part in vars(self).values()))


@dataclass(frozen=True)
class Readings:
    """Flat rows, sorted by life: exposure since the life began in m, drop at design airflow in Pa, and by
    how much of a reading each counts (``weight``, of one)."""

    life: IntArray
    exposure_m: FloatArray
    drop_pa: FloatArray
    weight: FloatArray

    def of(self, rows: BoolArray | slice) -> "Readings":
        """Some of them."""
        return Readings(*(part[rows] for part in vars(self).values()))


def growth(dose: FloatArray, shape: FloatArray) -> FloatArray:
    """Drop over clean drop at ``dose`` >= 0 for growth ``shape`` > 0 (broadcast)."""
    return np.asarray(1.0 + np.expm1(np.minimum(shape * dose, 60.0)) / np.expm1(shape))


def growth_in_single(bent: SingleArray, shape: SingleArray) -> tuple[SingleArray, SingleArray]:
    """``growth`` in single precision at ``bent``, shape times dose (broadcast), and the part that grows: a
    reading is not known to seven digits."""
    per = np.reciprocal(np.expm1(shape))
    rise = np.asarray(np.exp(np.minimum(bent, _STEEPEST)) * per, dtype=np.float32)
    return np.asarray(rise + (1.0 - per), dtype=np.float32), rise


def dose_at(ratio: FloatArray, shape: FloatArray) -> FloatArray:
    """The dose at which the drop is ``ratio`` times the clean drop; nought for ratios of one or less."""
    return np.asarray(np.log1p(np.maximum(ratio - 1.0, 0.0) * np.expm1(shape)) / shape)


def likelihood(lives: Lives, readings: Readings, centre: FloatArray, noise: float = 1.0) -> SingleArray:
    """Log likelihood [grid, lives, pairs] of each life's readings at log kappa = ``centre`` + GRID, their
    meter and method being ``noise`` times the usual; every life was read."""
    total = np.zeros((len(GRID), len(lives.slot), len(PAIR_SHAPE)), dtype=np.float32)
    for first in range(0, len(readings.life), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        part = readings.of(some)
        logs = _by_life(part.life, _of_readings(lives, part, centre, noise))
        here = total[:, part.life[0] : part.life[-1] + 1]
        here += logs.transpose(3, 0, 2, 1).reshape(here.shape)
    constant = np.bincount(readings.life, readings.weight)[:, None] * np.log(_TAIL**2 * PAIR_FACTOR)
    total -= constant.astype(np.float32)
    return total


def _by_life(life: IntArray, logs: SingleArray) -> SingleArray:
    """Sums of ``logs`` [readings, ...] over each life's: first all first ones, then all second ones, which
    for a few readings each takes a sixth of ``reduceat``'s time."""
    starts = np.flatnonzero(np.diff(life, prepend=-1))
    counts = np.diff(starts, append=len(life))
    out = logs[starts]
    for place in range(1, int(counts.max())):
        more = np.flatnonzero(counts > place)
        out[more] += logs[starts[more] + place]
    return out


def _of_readings(lives: Lives, readings: Readings, centre: FloatArray, noise: float) -> SingleArray:
    """Log likelihood [readings, factors, shapes, grid], in single precision. The growth is reckoned
    once a shape, all beside the clean drop times the factor; what a factor adds the same to all is left out.

    Student's t with four degrees of freedom, its constants left out: with misfit d and variance v it is
    ``v^2 / (4 v + d^2)^2.5``.
    """
    clean = lives.clean_pa[readings.life]
    dose = np.outer(np.exp(centre[readings.life]) * readings.exposure_m, np.exp(GRID)).astype(np.float32)
    shape = SHAPES.astype(np.float32)[:, None]
    bent = shape * dose[:, None, :]
    grown, rise = growth_in_single(bent, shape)
    steep = np.minimum(bent * rise, 3.0 * grown)
    age = readings.exposure_m / np.maximum(lives.end_m[readings.life], readings.exposure_m)
    seen, floor, wander = (
        part.astype(np.float32)[:, None, None]
        for part in (
            readings.drop_pa / clean,
            _TAIL * np.square(noise * METER_PA / clean),
            _TAIL * np.square(WANDER) * (0.15 + 1.0 - age),
        )
    )
    spread = (_TAIL * (noise * METHOD_SHARE) ** 2) * np.square(grown) + wander * np.square(steep)
    logs = np.empty((len(clean), len(FACTORS), len(SHAPES), len(GRID)), dtype=np.float32)
    for place, factor in enumerate(FACTORS.tolist()):
        variance = spread + floor / factor**2
        wide = variance + np.square(seen / factor - grown)
        variance /= wide
        np.square(variance, out=variance)
        variance /= np.sqrt(wide, out=wide)
        np.log(variance, out=logs[:, place])
    if len(part := np.flatnonzero(readings.weight < 1.0)):
        logs[part] *= readings.weight[part].astype(np.float32)[:, None, None, None]
    return logs
