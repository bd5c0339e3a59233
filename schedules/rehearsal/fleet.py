"""A whole fleet: its past as a desk would have it on record, and its present as only we know it."""

from dataclasses import dataclass, field
from datetime import date

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.rehearsal.course import Plant, State, drop_at, one_day
from schedules.rehearsal.filters import CFM, INWC, draw_media, draw_slots, draw_systems
from schedules.rehearsal.houses import draw_houses, first_life
from schedules.rehearsal.meters import Meters
from schedules.rehearsal.weather import Sky, first_air
from schedules.rehearsal.worlds import DEFAULT, World

# The day of the printed scores: a fleet of one seed is the same whenever it is asked for.
AS_OF = date(2026, 11, 24)


@dataclass
class Record:
    """What was written down, as flat lists: days are ordinals, hours of the day whole."""

    readings: list[tuple[int, int, int, float, float]] = field(default_factory=list)
    """slot, day, hour, drop in in. w.c., airflow in cfm or NaN"""
    changes: list[tuple[int, int, int, str]] = field(default_factory=list)
    """slot, day said, medium row or -1 where not said, who"""
    temps_c: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))
    hours: FloatArray = field(default_factory=lambda: np.zeros((0, 0)))


@dataclass
class Fleet:
    """The record, and the truth behind it on the as-of day."""

    seed: int
    as_of: int
    start: int
    plant: Plant
    state: State
    record: Record
    began: IntArray
    """[houses] day the record of a house begins."""
    first_medium: IntArray
    limit_pa: FloatArray
    """[slots], as the sheets' contract sets it from the label."""
    limit_given: BoolArray
    statics: dict[str, FloatArray]
    """[houses] in. w.c., NaN where not stated."""
    lives: IntArray
    """[slots] true changes so far."""
    airflow_stated: BoolArray
    """[houses] whether the sheets give the design airflow."""
    design: FloatArray
    """[slots] the design airflow that the sheets' contract arrives at."""
    rng: np.random.Generator

    @property
    def count(self) -> int:
        """How many slots."""
        return len(self.plant.slots.house)

    def drop_now(self) -> FloatArray:
        """True drop in Pa at each slot's design airflow, [slots]."""
        return np.asarray(drop_at(self.plant, self.state, self.design[:, None])[:, 0])


@dataclass
class Habits:
    """Who comes and changes when, [slots] unless said: next days as ordinals."""

    by_technician: BoolArray
    visited: BoolArray
    interval: FloatArray
    visit_interval: FloatArray
    threshold: FloatArray
    reads_itself: BoolArray
    next_change: IntArray
    next_visit: IntArray
    next_reading: IntArray
    read_after: IntArray


def simulate(seed: int, slots: int, as_of: date, world: World = DEFAULT) -> Fleet:
    """About ``slots`` slots (whole systems) on record up to ``as_of``; the same seed, the same fleet."""
    rng = np.random.default_rng(seed)
    plant = _plant(slots, world, rng)
    houses, last = len(plant.systems.slots), as_of.toordinal()
    length = rng.uniform(*world.record_days, houses)
    new = rng.random(houses) < world.newcomers
    length = np.where(new, rng.uniform(*world.newcomer_days, houses), length)
    began = (last - length).astype(np.int64)
    start = int(began.min()) - 30
    count = len(plant.slots.house)
    state = State(
        first_air(plant.sky.climates, rng),
        first_life(houses, rng),
        np.zeros((count, 1)),
        _pieces(count, world, rng),
    )
    stated = rng.random(houses) < world.airflow_stated
    design = _contract_design(plant, stated)
    statics, given, limit = _limits(plant, design, world, rng)
    fleet = Fleet(
        seed, last, start, plant, state, Record(), began, plant.slots.medium.copy(), limit, given, statics,
        np.zeros(count, dtype=np.int64), stated, design, rng,
    )  # fmt: skip
    _live_through(fleet, _habits(fleet, world, rng), world)
    return fleet


def _plant(slots: int, world: World, rng: np.random.Generator) -> Plant:
    stations = int(rng.integers(world.stations[0], world.stations[1] + 1))
    climates = [world.climates[row] for row in rng.choice(len(world.climates), stations)]
    mean_slots = sum((row + 1) * share for row, share in enumerate(world.slots_a_system))
    systems = draw_systems(max(1, round(slots / mean_slots)), world, rng)
    media = draw_media(world, rng)
    drawn = draw_slots(systems, media, world, rng)
    houses = draw_houses(len(systems.slots), stations, world, rng)
    return Plant(Sky(climates, world), houses, systems, media, drawn, world)


def _pieces(count: int, world: World, rng: np.random.Generator) -> FloatArray:
    return np.exp(world.piece_sd * rng.standard_normal((count, 1)))


def _contract_design(plant: Plant, stated: BoolArray) -> FloatArray:
    """Each slot's share of the stated airflow, or of capacity times 250 or 350 cfm a ton."""
    systems, slots = plant.systems, plant.slots
    a_ton = np.where(systems.high_velocity, 250.0, 350.0) * CFM
    whole = np.where(stated, systems.design, systems.tons * a_ton)
    return np.asarray(slots.design * (whole / systems.design)[slots.house])


def _limits(
    plant: Plant, design: FloatArray, world: World, rng: np.random.Generator
) -> tuple[dict[str, FloatArray], BoolArray, FloatArray]:
    """Statics as stated, and the limit that the contract's rule makes of them and of the label."""
    systems, slots = plant.systems, plant.slots
    houses, count = len(systems.slots), len(slots.house)
    high = systems.high_velocity
    stated = rng.random(houses) < world.statics_stated
    back = np.round(np.where(high, 0.08, 0.12) * np.exp(0.3 * rng.standard_normal(houses)), 2)
    supply = np.round(np.where(high, 1.1, 0.2) * np.exp(0.15 * rng.standard_normal(houses)), 2)
    rated = np.where(high, 1.8, 0.8)
    statics = {
        "rated_external_static_inwc": np.where(stated, rated, np.nan),
        "return_static_inwc": np.where(stated, back, np.nan),
        "supply_static_inwc": np.where(stated, supply, np.nan),
    }
    clean = np.array(
        [plant.media.label_clean(m, q) for m, q in zip(slots.medium, design, strict=True)],
        dtype=np.float64,
    )
    left = np.where(stated, rated - back - supply, np.nan)[slots.house] * INWC
    given = rng.random(count) < world.limit_stated
    ruled = np.maximum(np.fmin(2 * clean, left), clean)
    typed = np.round(clean * rng.uniform(1.6, 2.6, count) / INWC, 2) * INWC
    return statics, given, np.where(given, typed, ruled)


def _habits(fleet: Fleet, world: World, rng: np.random.Generator) -> Habits:
    slots, houses = fleet.plant.slots, len(fleet.plant.systems.slots)
    count = fleet.count
    by_technician = (rng.random(houses) < world.by_technician)[slots.house]
    visited = ((rng.random(houses) < world.agreement)[slots.house]) | by_technician
    interval = rng.uniform(*world.habit_change_days, houses)[slots.house]
    visits = rng.uniform(*world.visit_days, houses)[slots.house]
    reads = (rng.random(houses) < world.self_reading)[slots.house]
    began = fleet.began[slots.house]
    first_visit = began + (visits * rng.uniform(0.3, 1.0, houses)[slots.house]).astype(np.int64)
    return Habits(
        by_technician, visited, interval, visits, rng.uniform(*world.changes_at_share, count), reads,
        began + (interval * np.exp(0.2 * rng.standard_normal(count))).astype(np.int64),
        first_visit,
        began + rng.integers(5, 40, count),
        np.full(count, -1),
    )  # fmt: skip


def _live_through(fleet: Fleet, habits: Habits, world: World) -> None:
    """Every day from the first to the as-of day."""
    meters = Meters(world, fleet.rng)
    temps, hours = [], []
    house = fleet.plant.slots.house
    for day in range(fleet.start, fleet.as_of + 1):
        fleet.state.dust[fleet.began[house] == day] = 0.0
        temperature, ran = one_day(fleet.plant, fleet.state, day, fleet.rng)
        temps.append(temperature[:, 0])
        hours.append(ran[:, 0])
        on_record = fleet.began[house] <= day
        _read_and_change(fleet, habits, world, meters, day, on_record)
    fleet.record.temps_c, fleet.record.hours = np.array(temps).T, np.array(hours).T


def _read_and_change(
    fleet: Fleet, habits: Habits, world: World, meters: Meters, day: int, on_record: BoolArray
) -> None:
    rng, count = fleet.rng, fleet.count
    visit = on_record & habits.visited & (habits.next_visit == day)
    alone = on_record & habits.reads_itself & (habits.next_reading == day)
    after = on_record & (habits.read_after == day)
    reading = np.flatnonzero(visit | alone | after)
    shown = np.full(count, np.nan)
    if len(reading):
        shown[reading] = _write_readings(fleet, meters, reading, day)
    near = visit & habits.by_technician & (shown * INWC >= habits.threshold * fleet.limit_pa)
    habit = on_record & (habits.next_change == day)
    change = np.flatnonzero(near | habit)
    if len(change):
        _change(fleet, habits, world, change, day)
    later = np.exp(0.15 * rng.standard_normal(count))
    habits.next_visit = np.where(
        visit, day + np.maximum(habits.visit_interval * later, 7).astype(np.int64), habits.next_visit
    )
    gap = rng.uniform(*world.self_reading_days, count).astype(np.int64)
    habits.next_reading = np.where(alone, day + gap, habits.next_reading)


def _write_readings(fleet: Fleet, meters: Meters, slots: IntArray, day: int) -> FloatArray:
    read = meters.read(fleet.plant, fleet.state, slots, (day - fleet.start) / 365.25)
    hour = fleet.rng.integers(9, 17, len(slots))
    rows = zip(read.slot, hour, read.drop_inwc, read.airflow_cfm, strict=True)
    fleet.record.readings.extend((int(s), day, int(h), float(d), float(q)) for s, h, d, q in rows)
    return read.drop_inwc


def _change(fleet: Fleet, habits: Habits, world: World, slots: IntArray, day: int) -> None:
    rng, count = fleet.rng, len(slots)
    fleet.state.dust[slots] = 0.0
    fleet.state.piece[slots] = _pieces(count, world, rng)
    fleet.lives[slots] += 1
    interval = habits.interval[slots] * np.exp(0.2 * rng.standard_normal(count))
    # A technician's filter is left longer than the household's: the drop decides, the year is the end of it.
    interval = np.where(habits.by_technician[slots], 2.0 * interval, interval)
    habits.next_change[slots] = day + np.maximum(interval, 20).astype(np.int64)
    habits.read_after[slots] = np.where(rng.random(count) < world.after_change_reading, day + 1, -1)
    told = rng.random(count) >= world.unreported
    off = np.where(rng.random(count) < world.reported_off, rng.integers(-4, 5, count), 0)
    silent = rng.random(count) < world.media_left_empty
    for slot, reported, days, empty in zip(slots, told, off, silent, strict=True):
        if reported:
            said = min(day + int(days), fleet.as_of)
            medium = -1 if empty else int(fleet.plant.slots.medium[slot])
            who = "technician" if habits.by_technician[slot] else "occupant"
            fleet.record.changes.append((int(slot), said, medium, who))
