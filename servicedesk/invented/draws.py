"""An invented desk of any size, drawn chunk by chunk: homes, systems, slots and what was read of them.

Nothing here is anybody's: streets and people are made of syllables and numbers, and the laws are rough ones
for measuring with, not those of the rehearsal. A chunk depends on its seed and its place alone.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

SIZES_IN = (
    (16, 25, 1),
    (20, 25, 1),
    (20, 20, 1),
    (14, 25, 1),
    (16, 20, 1),
    (20, 30, 1),
    (16, 25, 4),
    (20, 25, 5),
)
MERVS = (8, 11, 13)
STATIONS = 40
# Of a hundred homes so many have two systems; of a hundred systems so many have two filters.
_TWO_SYSTEMS, _TWO_SLOTS = 0.12, 0.25
_LONGEST_PAST_DAYS = 3 * 365


@dataclass(frozen=True)
class Chunk:
    """Homes [h] by number from nought; ``system_site`` [m] and ``slot_system`` [n] lead back to them.

    ``began`` [n] are days before the as-of day; ``change_*`` and ``reading_*`` are flat rows of slots, the
    latter with Pa; ``logged`` [m] says whose fan is metered; ``seed`` draws their hours.
    """

    first_site: int
    latitude: Floats
    longitude: Floats
    station: Ints
    pets: Ints
    system_site: Ints
    airflow_m3s: Floats
    logged: NDArray[np.bool_]
    slot_system: Ints
    size: Ints
    merv: Ints
    fitted_days_ago: Ints
    change_slot: Ints
    change_days_ago: Ints
    reading_slot: Ints
    reading_days_ago: Floats
    reading_pa: Floats


def clean_pa(size: Ints, merv: Ints, airflow_m3s: Floats) -> Floats:
    """Clean drop in Pa at an airflow in m3/s: a power of the face velocity, steeper for finer media."""
    inches = np.array(SIZES_IN, dtype=np.float64)[size]
    area = inches[:, 0] * inches[:, 1] * METRE_PER_INCH**2
    finer = 1.0 + 0.12 * (np.array(MERVS)[merv] - 8)
    depth = np.where(inches[:, 2] > 2, 0.55, 1.0)
    return np.asarray(0.12 * PA_PER_INWC * finer * depth * (airflow_m3s / area / 1.5) ** 1.4)


def draw(seed: int, first_site: int, homes: int, logged_share: float) -> Chunk:
    """``homes`` homes from number ``first_site`` on."""
    rng = np.random.default_rng([seed, first_site])
    station = rng.integers(0, STATIONS, homes)
    system_site = np.repeat(np.arange(homes), 1 + (rng.random(homes) < _TWO_SYSTEMS))
    m = len(system_site)
    slot_system = np.repeat(np.arange(m), 1 + (rng.random(m) < _TWO_SLOTS))
    n = len(slot_system)
    airflow = rng.uniform(700, 1400, m) * M3S_PER_CFM
    shared = airflow[slot_system] / np.bincount(slot_system, minlength=m)[slot_system]
    size, merv = rng.integers(0, len(SIZES_IN), n), rng.integers(0, len(MERVS), n)
    fitted = rng.integers(30, _LONGEST_PAST_DAYS, n)
    every = rng.integers(70, 200, n)
    change_slot, change_ago = _changes(fitted, every)
    since = fitted.copy()
    np.minimum.at(since, change_slot, change_ago)
    reading_slot, ago, pa = _readings(rng, since, every, clean_pa(size, merv, shared))
    return Chunk(
        first_site, latitude_of(station) + rng.normal(0, 0.2, homes), -100 + rng.normal(0, 4, homes),
        station, rng.integers(0, 2, homes), system_site, airflow, rng.random(m) < logged_share, slot_system,
        size, merv, fitted, change_slot, change_ago, reading_slot, ago, pa,
    )  # fmt: skip


def latitude_of(station: Ints) -> Floats:
    """Degrees north of the invented stations, from 28 to 47."""
    return 28.0 + 19.0 * np.asarray(station, dtype=np.float64) / (STATIONS - 1)


def _changes(fitted: Ints, every: Ints) -> tuple[Ints, Ints]:
    """Slot and days ago of every change since the first filter went in."""
    times = np.maximum(fitted - 1, 0) // every
    slot = np.repeat(np.arange(len(fitted)), times)
    turn = np.arange(len(slot)) - np.repeat(np.cumsum(times) - times, times) + 1
    return slot, fitted[slot] - turn * every[slot]


def _readings(
    rng: np.random.Generator, since: Ints, every: Ints, clean: Floats
) -> tuple[Ints, Floats, Floats]:
    """From none to four drops of the present filter, rising with its age."""
    times = rng.integers(0, 5, len(since))
    slot = np.repeat(np.arange(len(since)), times)
    ago = rng.uniform(0.5, 1.0, len(slot)) * rng.uniform(0, 1, len(slot)) * since[slot] + 0.5
    age = np.maximum(since[slot] - ago, 0.0) / every[slot]
    drop = clean[slot] * (1 + 1.1 * age**1.5) * rng.lognormal(0, 0.05, len(slot))
    return slot, ago, np.round(drop, 2)


def hours(seed: int, first_site: int, systems: Ints, temps_c: Floats) -> Floats:
    """Fan hours [k, days] of logged systems at the daily means of their stations [k, days], to a tenth."""
    rng = np.random.default_rng([seed, first_site, 1])
    base, heat, cool = (
        rng.uniform(low, high, (len(systems), 1)) for low, high in ((0.5, 3), (0.2, 0.5), (0.3, 0.8))
    )
    mean = base + heat * np.maximum(0, 14 - temps_c) + cool * np.maximum(0, temps_c - 20)
    return np.asarray(np.round(np.clip(mean + rng.normal(0, 1, mean.shape), 0, 24), 1))


def temperatures(seed: int, as_of: date, days: int) -> Floats:
    """Daily means in Celsius [stations, days] up to the as-of day."""
    rng = np.random.default_rng([seed, 2])
    of_year = np.array([(as_of - timedelta(days=days - 1 - i)).timetuple().tm_yday for i in range(days)])
    north = latitude_of(np.arange(STATIONS))[:, None]
    swing = 6 + 0.45 * (north - 28)
    mean = 30 - 0.6 * north + 8 - swing * np.cos(2 * np.pi * (of_year - 20) / 365.25)
    return np.asarray(np.round(mean + rng.normal(0, 4, mean.shape), 1))


def instant(as_of: date, days_ago: float) -> datetime:
    """A moment so many days before the end of the as-of day, in UTC."""
    return datetime.combine(as_of + timedelta(days=1), datetime.min.time(), UTC) - timedelta(
        days=float(days_ago)
    )
