"""Media, systems and slots of a simulated fleet, and how a filter's drop grows with its dust.

Airflow in m3/s, drops in Pa, areas in m2, dust in g on a m2 of face.
"""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.rehearsal.worlds import World

CFM = 0.3048**3 / 60
INWC = 249.08891
INCH = 0.0254
FPM = 0.3048 / 60
# Faces sold readily, inches; own assumption.
FACES = ((12, 12), (12, 20), (12, 24), (14, 20), (14, 25), (14, 30), (16, 20), (16, 25), (18, 24), (20, 20),
         (20, 25), (20, 30), (24, 24), (24, 30))  # fmt: skip
# Clean drop of an inch of medium at 300 fpm by MERV, in. w.c.; own assumption within what labels say.
_CLEAN_INWC = {6: 0.12, 8: 0.16, 11: 0.22, 13: 0.27}
_BY_DEPTH = {1: 1.0, 2: 0.78, 4: 0.6, 5: 0.52}
_REFERENCE_FPM = 300.0


@dataclass(frozen=True)
class Media:
    """One row a medium: face in inches, depth, MERV, the true curve ``scale * q ** exponent`` and the
    label's points (airflow, drop), which are some per cent off it."""

    face: list[tuple[int, int]]
    depth: IntArray
    merv: IntArray
    scale: FloatArray
    exponent: FloatArray
    points: list[list[tuple[float, float]]]

    def name(self, row: int) -> str:
        """The medium's name in the sheets."""
        return f"m{self.merv[row]} {self.size(row)}"

    def size(self, row: int) -> str:
        """Nominal size as a label writes it."""
        return f"{self.face[row][0]}x{self.face[row][1]}x{self.depth[row]}"

    def true_clean(self, rows: IntArray, airflow: FloatArray) -> FloatArray:
        """Clean drop of a piece like the mean of its make."""
        return np.asarray(self.scale[rows] * airflow ** self.exponent[rows])

    def label_clean(self, row: int, airflow: float) -> float:
        """Clean drop as the label lets one reckon it: straight between its points in logarithms."""
        flows, drops = (np.log([point[i] for point in self.points[row]]) for i in (0, 1))
        if len(flows) == 1:
            return float(np.exp(drops[0] + 1.18 * (np.log(airflow) - flows[0])))
        at = int(np.clip(np.searchsorted(flows, np.log(airflow)) - 1, 0, len(flows) - 2))
        slope = (drops[at + 1] - drops[at]) / (flows[at + 1] - flows[at])
        return float(np.exp(drops[at] + slope * (np.log(airflow) - flows[at])))


def draw_media(world: World, rng: np.random.Generator) -> Media:
    """Every face in every depth and MERV, each with its own curve and label."""
    kinds = [(face, int(deep), merv) for face in FACES for deep, _ in world.depths for merv, _ in world.mervs]
    exponent = rng.uniform(*world.exponent, len(kinds))
    scale, points = np.empty(len(kinds)), []
    for row, (face, depth, merv) in enumerate(kinds):
        area = face[0] * face[1] * INCH**2
        at = _REFERENCE_FPM * FPM * area
        drop = _CLEAN_INWC[merv] * _BY_DEPTH[depth] * INWC * np.exp(0.12 * rng.standard_normal())
        scale[row] = drop / at ** exponent[row]
        speeds = np.sort(rng.choice(np.arange(125, 600, 25), rng.integers(1, 6), replace=False))
        flows = np.round(speeds * FPM * area / CFM, -1) * CFM
        off = np.exp(world.label_sd * rng.standard_normal())
        label = np.maximum(np.round(scale[row] * off * flows ** exponent[row] / INWC, 3), 0.002) * INWC
        points.append(_rising(list(zip(flows.tolist(), label.tolist(), strict=True))))
    depths, mervs = np.array([kind[1] for kind in kinds]), np.array([kind[2] for kind in kinds])
    return Media([kind[0] for kind in kinds], depths, mervs, scale, exponent, points)


def _rising(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    kept: list[tuple[float, float]] = []
    for point in points:
        if not kept or point[0] > kept[-1][0] * 1.01:
            kept.append(point)
    return kept


@dataclass(frozen=True)
class Systems:
    """[systems]: one a house. ``true_over_stated`` is real over stated airflow with clean filters;
    ``filter_part`` the clean filter's part of the external static."""

    high_velocity: BoolArray
    constant: BoolArray
    tons: FloatArray
    design: FloatArray
    true_over_stated: FloatArray
    fan_slope: FloatArray
    filter_part: FloatArray
    slots: IntArray


def draw_systems(count: int, world: World, rng: np.random.Generator) -> Systems:
    """``count`` systems."""
    high = rng.random(count) < world.high_velocity
    constant = rng.random(count) < np.where(high, *world.constant_airflow)
    tons = rng.choice(world.tons, count)
    a_ton = np.where(high, rng.uniform(*world.cfm_a_ton[0], count), rng.uniform(*world.cfm_a_ton[1], count))
    off = np.where(constant, *world.true_airflow_sd) * rng.standard_normal(count)
    return Systems(
        high,
        constant,
        tons,
        np.round(tons * a_ton, -1) * CFM,
        np.exp(off),
        rng.uniform(*world.fan_slope, count),
        rng.uniform(*world.filter_part, count),
        1 + rng.choice(3, count, p=world.slots_a_system),
    )


@dataclass(frozen=True)
class Slots:
    """[slots]: house row, medium row, area, share of the design airflow, the dust at which the drop has
    doubled, and the growth's family (0 power, 1 exponential, 2 blend) with its one parameter."""

    house: IntArray
    medium: IntArray
    area: FloatArray
    design: FloatArray
    doubling: FloatArray
    family: IntArray
    shape: FloatArray


def draw_slots(systems: Systems, media: Media, world: World, rng: np.random.Generator) -> Slots:
    """The slots of all systems, sized for their airflow."""
    house = np.repeat(np.arange(len(systems.slots)), systems.slots)
    count = len(house)
    depth = rng.choice([d for d, _ in world.depths], count, p=[p for _, p in world.depths])
    merv = rng.choice([m for m, _ in world.mervs], count, p=[p for _, p in world.mervs])
    fpm = world.face_fpm[0] * np.exp(world.face_fpm[1] * rng.standard_normal(count))
    wanted = systems.design[house] / systems.slots[house] / (fpm * FPM)
    areas = np.array([w * h * INCH**2 for w, h in FACES])
    face = np.abs(np.log(areas[None, :] / wanted[:, None])).argmin(axis=1)
    place = {
        (f, d, m): row for row, (f, d, m) in enumerate(zip(media.face, media.depth, media.merv, strict=True))
    }
    medium = np.array([place[FACES[f], d, m] for f, d, m in zip(face, depth, merv, strict=True)])
    area = areas[face]
    total = np.bincount(house, weights=area)
    family = rng.choice(3, count, p=world.shapes)
    power, blend = rng.uniform(*world.power_shape, count), rng.uniform(0.2, 0.9, count)
    low, high = np.log(world.exponential_base)
    base = np.exp(rng.uniform(low, high, count))
    doubling = world.doubling_g_m2[0] * np.exp(world.doubling_g_m2[1] * rng.standard_normal(count))
    return Slots(
        house,
        medium,
        area,
        systems.design[house] * area / total[house],
        doubling * depth**world.depth_power,
        family,
        np.choose(family, [power, base, blend]),
    )


def growth(x: FloatArray, family: IntArray, shape: FloatArray, highest: float) -> FloatArray:
    """Drop over clean drop at ``x`` times the doubling dust: one at nought, two at one, convex."""
    power = x ** np.where(family == 0, shape, 1.0)
    base = np.where(family == 1, shape, 2.0)
    exponential = np.expm1(np.minimum(x, 12.0) * np.log(base)) / (base - 1.0)
    blend = shape * x + (1.0 - shape) * x * x
    return np.asarray(np.minimum(1.0 + np.choose(family, [power, exponential, blend]), highest))


def airflow_share(ratio: FloatArray, constant: BoolArray, slope: FloatArray, part: FloatArray) -> FloatArray:
    """Airflow over that with a clean filter: held by a constant-airflow blower, falling with a fixed speed.

    The blower's static falls straight by ``slope``; the filter's part of it grows by ``ratio``. Four
    steps of Newton's rule from the clean point; good to a thousandth up to ten times the clean drop.
    """
    q = np.ones_like(ratio)
    for _ in range(4):
        gap = 1 - slope * (q - 1) - (1 - part) * q * q - part * ratio * q**1.2
        fall = -slope - 2 * (1 - part) * q - 1.2 * part * ratio * q**0.2
        q = np.clip(q - gap / fall, 0.05, 1.2)
    return np.where(constant, 1.0, q)
