"""Many simulated lives in arrays, a slot each, with growth and noise drawn here and not by the engine."""

from dataclasses import replace

import numpy as np
from numpy.random import Generator

from schedules.planning.arrays import FloatArray
from schedules.planning.facts import FleetFacts, LifeRows, ReadingRows, Slots, Systems, Weather
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot

# Air passed in a day, at the five hours of a usual one.
HOURS = 5.0


def fleet_of(count: int, days_in: FloatArray, readings: list[list[tuple[float, float]]]) -> FleetFacts:
    """``count`` slots like ``one_slot``, each in its own home; readings as days before the as-of day's
    end and Pa."""
    one = one_slot(days_in=100.0)
    slots = {name: np.repeat(value, count) for name, value in vars(one.slots).items()}
    slots |= {"system": np.arange(count), "home": np.arange(count), "began": AS_OF + 1.0 - days_in}
    flat = [(life, AS_OF + 1.0 - ago, pa) for life, rows in enumerate(readings)
            for ago, pa in sorted(rows, reverse=True)]  # fmt: skip
    life, at, drop = (np.array(part) for part in zip(*flat, strict=True))
    return FleetFacts(
        as_of=AS_OF,
        weather=Weather(AS_OF - 400, np.full((1, 401), np.nan), np.array([41.9])),
        systems=Systems(AS_OF + 1 - 800, np.full((count, 800), HOURS), np.zeros(count, dtype=np.int64)),
        slots=Slots(**slots),
        lives=LifeRows(
            np.arange(count),
            slots["began"],
            np.full(count, CLEAN_PA),
            np.full(count, 8.0),
            np.full(count, True),
        ),
        readings=ReadingRows(life.astype(np.int64), at.astype(float), drop.astype(float)),
    )


def days_to_double(rng: Generator, count: int) -> FloatArray:
    """Days in which each filter would reach twice its clean drop: houses differ widely."""
    return np.asarray(200.0 * np.exp(0.65 * rng.standard_normal(count)))


def true_drop(age: FloatArray, doubling: FloatArray | float, power: float = 1.4) -> FloatArray:
    """Drop in Pa at ``age`` days: a power of the age, no shape of the engine's."""
    return np.asarray(CLEAN_PA * (1.0 + (age / doubling) ** power))


def as_read(rng: Generator, drop: FloatArray) -> FloatArray:
    """What a manometer says of ``drop``: 6 % of method, 2 Pa, steps of 0.01 in. w.c."""
    said = drop * (1 + 0.06 * rng.standard_normal(drop.shape)) + 2.0 * rng.standard_normal(drop.shape)
    return np.asarray(np.round(said / 2.49) * 2.49)


def normal_lives(rng: Generator, count: int) -> FleetFacts:
    """Filters that only load, up to two and a half times clean, read three to eight times."""
    doubling = days_to_double(rng, count)
    days_in = np.minimum(rng.uniform(60, 400, count), 1.3 * doubling + 20)
    factor = np.exp(0.08 * rng.standard_normal(count))
    readings = []
    for row in range(count):
        age = np.sort(rng.uniform(1.0, days_in[row], rng.integers(3, 9)))
        said = as_read(rng, factor[row] * true_drop(age, doubling[row], rng.choice([1.0, 1.3, 1.7])))
        readings.append(list(zip((days_in[row] - age).tolist(), said.tolist(), strict=True)))
    return fleet_of(count, days_in, readings)


def with_readings(facts: FleetFacts, drop_pa: FloatArray) -> FleetFacts:
    """The same with other drops."""
    return replace(facts, readings=replace(facts.readings, drop_pa=drop_pa))
