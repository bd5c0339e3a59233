"""The ideal observer, as nearly as it can be built: the desk's own facts, the simulator's laws as prior.

It knows the ranges and laws of ``worlds`` and reads the record as the sheets give it; it does not know
any house, filter, instrument or air. Possible filters, labels and blowers are drawn from those laws and,
for each, courses of dust and fan; they are weighed by the readings on a grid of the house's own pace. What
a past life says is averaged over its courses, since dust forgets within weeks; the slots of a home hear
of each other. More than a desk knows, in favour of the observer: where there is a log its hours have no
holes and the fan's habits to come are the true ones, and the first filter's day is known. Less than the
laws would allow: a change nobody reported is only an outlier to it.
"""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.rehearsal.drawn import (
    BLOCK_DAYS,
    BLOCKS,
    COURSES_A_KIND,
    MOST_LIVES,
    Courses,
    Guesses,
    draw_courses,
    draw_guesses,
    known_hours_ahead,
)
from schedules.rehearsal.filters import CFM, INWC, airflow_share, growth
from schedules.rehearsal.fleet import Fleet
from schedules.rehearsal.score import Promise, clipped
from schedules.rehearsal.worlds import World

_GRID = np.arange(-3.9, 3.91, 0.13)
_SAMPLES = 400
_ODD_SD = 0.6


@dataclass(frozen=True)
class Seen:
    """One slot's record: ``life`` and last day of exposure of each reading, the drop and airflow noted,
    and the day after which each life began."""

    began: IntArray
    life: IntArray
    day: IntArray
    drop_inwc: FloatArray
    airflow_cfm: FloatArray


def observe(fleet: Fleet, logged: BoolArray, draws: int = 2000) -> Promise:
    """What the ideal observer promises; ``logged`` [houses] have a fan log on record."""
    rng = np.random.default_rng([fleet.seed, 4])
    plant = fleet.plant
    courses = [draw_courses(fleet, station, draws, rng) for station in range(len(plant.sky.climates))]
    hours_ahead = known_hours_ahead(fleet, rng)
    guesses = draw_guesses(plant.world, draws, rng)
    seen = _records(fleet)
    days = np.zeros((3, fleet.count))
    for house in range(len(plant.systems.slots)):
        slots: list[int] = np.flatnonzero(plant.slots.house == house).tolist()
        at = courses[int(plant.houses.station[house, 0])]
        passed = [_passed(fleet, slot, seen[slot], at, bool(logged[house])) for slot in slots]
        told = [
            _misfit(fleet, slot, seen[slot], part, guesses) for slot, part in zip(slots, passed, strict=True)
        ]
        prior = _priors(told, plant.world, 0.0 if logged[house] else at.fan_spread)
        for slot, part, log, held in zip(slots, passed, told, prior, strict=True):
            ahead = at.ahead_dust * hours_ahead[house] if logged[house] else at.ahead_ran
            days[:, slot] = _quantiles(fleet, slot, seen[slot], part, log + held, ahead, guesses, rng)
    return Promise(clipped(days))


def _by_label(fleet: Fleet, slot: int, flow: float, guesses: Guesses) -> FloatArray:
    """Clean drop in Pa that the label tells of, [draws]; with one point any exponent may be the true one."""
    medium = int(fleet.plant.slots.medium[slot])
    points = fleet.plant.media.points[medium]
    if len(points) == 1:
        return np.asarray(points[0][1] * (flow / points[0][0]) ** guesses.exponent * guesses.label)
    return np.asarray(fleet.plant.media.label_clean(medium, flow) * guesses.label)


def _records(fleet: Fleet) -> list[Seen]:
    """Each slot's reported changes and readings; the last lives where there are too many."""
    changes: list[list[int]] = [[int(fleet.began[house]) - 1] for house in fleet.plant.slots.house]
    for slot, day, _, _ in fleet.record.changes:
        changes[slot].append(day)
    readings: list[list[tuple[int, float, float]]] = [[] for _ in changes]
    for slot, day, _, drop, airflow in fleet.record.readings:
        readings[slot].append((day, drop, airflow))
    return [_seen(lives, rows) for lives, rows in zip(changes, readings, strict=True)]


def _seen(lives: list[int], rows: list[tuple[int, float, float]]) -> Seen:
    began = np.array(sorted(lives)[-MOST_LIVES:], dtype=np.int64)
    kept_rows = [row for row in rows if row[0] > began[0]]
    days = np.array([row[0] for row in kept_rows], dtype=np.int64)
    drops, airflows = (np.array([row[part] for row in kept_rows], dtype=np.float64) for part in (1, 2))
    life = np.searchsorted(began, days, side="left").astype(np.int64) - 1
    return Seen(began, life, days, drops, airflows)


def _passed(fleet: Fleet, slot: int, seen: Seen, at: Courses, logged: bool) -> FloatArray:
    """Exposure of each reading and, last, of the present filter today, [draws, readings + 1]."""
    since = np.append(seen.began[seen.life], seen.began[-1]) - fleet.start
    until = np.append(seen.day, fleet.as_of) - fleet.start
    speed = fleet.design[slot] / fleet.plant.slots.area[slot] * 3600.0 * 1e-6
    if logged:
        hours = fleet.record.hours[fleet.plant.slots.house[slot]]
        days = np.arange(len(hours))[:, None]
        masks = ((days > since) & (days <= until)) * hours[:, None]
        passed = np.asarray(at.dust @ masks.astype(np.float32), dtype=np.float64)
    else:
        passed = np.asarray(at.ran[:, until] - at.ran[:, np.maximum(since, 0)])
    return np.asarray(passed * speed)


def _airflow_off(fleet: Fleet, slot: int, guesses: Guesses) -> FloatArray:
    """Real over reckoned airflow with a clean filter, [draws]."""
    plant, house = fleet.plant, int(fleet.plant.slots.house[slot])
    constant = int(not plant.systems.constant[house])
    off = np.exp(plant.world.true_airflow_sd[constant] * guesses.off)
    if fleet.airflow_stated[house]:
        return np.asarray(off)
    high = bool(plant.systems.high_velocity[house])
    low, top = plant.world.cfm_a_ton[0 if high else 1]
    return np.asarray(off * (low + top) / 2 / (250.0 if high else 350.0))


def _pace(fleet: Fleet, slot: int) -> float:
    """Log of the usual dust over the usual doubling dust of this medium's depth, by what is on record."""
    world, house = fleet.plant.world, int(fleet.plant.slots.house[slot])
    depth = fleet.plant.media.depth[fleet.plant.slots.medium[slot]]
    homes = fleet.plant.houses
    effect = float(homes.pets[house, 0] - world.pets) * np.log(world.pets_factor)
    effect += float(homes.smokers[house, 0] - world.smokers) * np.log(world.smokers_factor)
    usual = np.log(world.dust_ug_m3) - np.log(world.doubling_g_m2[0]) - world.depth_power * np.log(depth)
    return float(usual + effect)


def _misfit(fleet: Fleet, slot: int, seen: Seen, passed: FloatArray, guesses: Guesses) -> FloatArray:
    """Log likelihood of the slot's readings, [draws, grid]; past lives averaged over their courses."""
    off = _airflow_off(fleet, slot, guesses)
    pace = np.exp(_pace(fleet, slot) + _GRID) * off[:, None]
    total = np.zeros((len(off), len(_GRID)))
    present = len(seen.began) - 1
    for life in np.unique(seen.life):
        mine = np.zeros_like(total)
        for row in np.flatnonzero(seen.life == life).tolist():
            drop = _drop(fleet, slot, seen, row, pace * passed[:, row, None], guesses)
            mine += _log_chance(fleet.plant.world, seen.drop_inwc[row], drop, seen.airflow_cfm[row])
        total += mine if life == present else _mean_over_courses(mine)
    return total


def _mean_over_courses(log: FloatArray) -> FloatArray:
    by_kind = log.reshape(-1, COURSES_A_KIND, log.shape[1])
    top = by_kind.max(axis=1, keepdims=True)
    mean = np.log(np.exp(by_kind - top).mean(axis=1, keepdims=True)) + top
    return np.asarray(np.broadcast_to(mean, by_kind.shape).reshape(log.shape))


def _drop(fleet: Fleet, slot: int, seen: Seen, row: int, dose: FloatArray, guesses: Guesses) -> FloatArray:
    """Drop in in. w.c. that an instrument without fault would have shown, [draws, grid]."""
    ratio = _grown(fleet, dose, guesses)
    piece = guesses.piece[:, seen.life[row], None]
    noted = seen.airflow_cfm[row]
    if not np.isnan(noted):
        return np.asarray(
            _by_label(fleet, slot, max(noted, 1.0) * CFM, guesses)[:, None] * piece * ratio / INWC
        )
    constant = np.array([[fleet.plant.systems.constant[fleet.plant.slots.house[slot]]]])
    share = airflow_share(ratio, constant, guesses.fan_slope[:, None], guesses.filter_part[:, None])
    flow = _airflow_off(fleet, slot, guesses)[:, None] * share
    clean = _by_label(fleet, slot, float(fleet.design[slot]), guesses)[:, None]
    return np.asarray(clean * flow ** guesses.exponent[:, None] * piece * ratio / INWC)


def _grown(fleet: Fleet, dose: FloatArray, guesses: Guesses) -> FloatArray:
    world = fleet.plant.world
    return growth(dose, guesses.family[:, None], guesses.shape[:, None], world.highest_growth)


def _log_chance(world: World, said: float, drop: FloatArray, noted: float) -> FloatArray:
    """Log density of the meter's ``said`` in. w.c. where the drop is ``drop``, odd ones let through."""
    share = world.method_sd**2 + world.gain_sd**2 + world.gain_drift_a_year**2
    odd = world.gross_errors
    if not np.isnan(noted):
        share += (1.2 * world.airflow_noted_sd) ** 2
        odd += world.airflow_wrong
    odd += world.unreported
    variance = share * np.square(drop) + world.offset_inwc**2 + world.resolution_inwc**2 / 12
    usual = (1 - odd) * np.exp(-0.5 * np.square(said - drop) / variance) / np.sqrt(2 * np.pi * variance)
    away = np.log((said + 0.005) / (drop + 0.005)) / _ODD_SD
    broad = odd * np.exp(-0.5 * np.square(away)) / (_ODD_SD * np.sqrt(2 * np.pi) * (said + 0.005))
    return np.asarray(np.log(usual + broad + 1e-12))


def _priors(told: list[FloatArray], world: World, fan_spread: float) -> list[FloatArray]:
    """Log weight [grid] of each slot's pace before its own readings: the house's dust as the home's other
    slots show it, and the spread of filters."""
    spread = world.doubling_g_m2[1]
    kernel = np.exp(-0.5 * np.square((_GRID[:, None] - _GRID) / spread))
    kernel /= kernel.sum(axis=0)
    house = -0.5 * np.square(_GRID) / (world.dust_house_sd**2 + fan_spread**2)
    heard = [np.log(np.exp(log - log.max()).mean(axis=0) @ kernel + 1e-300) for log in told]
    out = []
    for mine in range(len(told)):
        level = house + sum((log for other, log in enumerate(heard) if other != mine), np.zeros(len(_GRID)))
        out.append(np.log(kernel @ np.exp(level - level.max()) + 1e-300))
    return out


def _quantiles(
    fleet: Fleet,
    slot: int,
    seen: Seen,
    passed: FloatArray,
    log: FloatArray,
    ahead: FloatArray,
    guesses: Guesses,
    rng: np.random.Generator,
) -> FloatArray:
    """Days at 10, 50 and 90 % from draws of the weighed possibilities, each with its own future."""
    weight = np.exp(log - log.max()).ravel()
    drawn = rng.choice(len(weight), _SAMPLES, p=weight / weight.sum())
    course, pace = np.divmod(drawn, len(_GRID))
    clean = _by_label(fleet, slot, float(fleet.design[slot]), guesses)[course]
    piece = guesses.piece[course, len(seen.began) - 1]
    wanted = _dose_at(fleet, fleet.limit_pa[slot] / (clean * piece), course, guesses)
    kappa = np.exp(_pace(fleet, slot) + _GRID[pace]) * _airflow_off(fleet, slot, guesses)[course]
    left = wanted / kappa - passed[course, -1]
    speed = fleet.design[slot] / fleet.plant.slots.area[slot] * 3600.0 * 1e-6
    running = np.cumsum(ahead[course] * speed, axis=1)
    place = (running < left[:, None]).sum(axis=1)
    before = np.where(place > 0, running[np.arange(len(place)), np.maximum(place - 1, 0)], 0.0)
    step_m = running[np.arange(len(place)), np.minimum(place, BLOCKS - 1)] - before
    days = BLOCK_DAYS * (place + np.clip((left - before) / np.maximum(step_m, 1e-12), 0.0, 1.0))
    days = np.where(left <= 0, 0.0, np.where(place >= BLOCKS, np.inf, days))
    return np.sort(days)[[int(np.ceil(chance * _SAMPLES)) - 1 for chance in (0.1, 0.5, 0.9)]]


def _dose_at(fleet: Fleet, ratio: FloatArray, course: IntArray, guesses: Guesses) -> FloatArray:
    """The dose at which each drawn filter's drop is ``ratio`` times its clean drop; by bisection."""
    family, shape = guesses.family[course], guesses.shape[course]
    low, high = np.zeros_like(ratio), np.full_like(ratio, 12.0)
    for _ in range(40):
        middle = (low + high) / 2
        over = growth(middle, family, shape, fleet.plant.world.highest_growth) >= ratio
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return np.where(ratio <= 1.0, 0.0, high)
