"""Outdoor air of each station day by day: temperature and smoke, as chains that forget all but today.

Arrays are [stations, draws]; a draw is one course of the future, the past has a single one.
"""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import FloatArray
from schedules.rehearsal.worlds import Climate, World

YEAR = 365.25
# 1 January 2000, from which the days of the year are counted.
_NEW_YEAR = 730_120


@dataclass
class Air:
    """Today's weather and yearly anomaly in K, and the logarithm of the smoke factor (0: none)."""

    noise: FloatArray
    anomaly: FloatArray
    smoke: FloatArray

    def spread(self, draws: int) -> "Air":
        """The same state at the start of ``draws`` courses."""
        return Air(*(np.repeat(part, draws, axis=1) for part in (self.noise, self.anomaly, self.smoke)))


def first_air(climates: list[Climate], rng: np.random.Generator) -> Air:
    """A state drawn from the long run."""
    normal = rng.standard_normal((2, len(climates), 1))
    noise = normal[0] * _column(climates, "noise_c")
    return Air(noise, normal[1] * _column(climates, "year_c"), np.zeros((len(climates), 1)))


def _column(climates: list[Climate], name: str) -> FloatArray:
    return np.array([[float(getattr(climate, name))] for climate in climates])


def kept(days: float | FloatArray) -> FloatArray:
    """What is left of a deviation the day after, where it fades with a time scale of ``days``."""
    return np.exp(-1.0 / np.asarray(days, dtype=np.float64))


class Sky:
    """The climates of a fleet's stations, ready to step."""

    def __init__(self, climates: list[Climate], world: World) -> None:
        self.climates = climates
        self.world = world
        self.mean, self.season, self.warmest, self.noise_sd, self.memory, self.year_sd = (
            _column(climates, name)
            for name in ("mean_c", "season_c", "warmest_day", "noise_c", "memory_days", "year_c")
        )

    def step(self, air: Air, ordinal: int, rng: np.random.Generator) -> FloatArray:
        """Carry ``air`` to the day ``ordinal`` (proleptic) and give its mean temperatures in °C."""
        normal = rng.standard_normal((2, *air.noise.shape))
        for state, memory, sd, drawn in (
            (air.noise, self.memory, self.noise_sd, normal[0]),
            (air.anomaly, YEAR, self.year_sd, normal[1]),
        ):
            fade = kept(memory)
            state *= fade
            state += sd * np.sqrt(1.0 - fade**2) * drawn
        self._smoke(air, ordinal, rng)
        cycle = np.cos(2 * np.pi * ((ordinal - _NEW_YEAR) % YEAR - self.warmest) / YEAR)
        return self.mean + self.season * cycle + air.anomaly + air.noise * (1.0 - 0.25 * cycle)

    def _smoke(self, air: Air, ordinal: int, rng: np.random.Generator) -> None:
        world = self.world
        cycle = np.cos(2 * np.pi * ((ordinal - _NEW_YEAR) % YEAR - world.smoke_season_day) / YEAR)
        starts = world.smoke_a_year / YEAR * (1.0 + cycle)
        flip_events(air.smoke, starts, world.smoke_days, world.smoke_factor, rng)


def flip_events(
    level: FloatArray, starts: float, days: float, factor: tuple[float, float], rng: np.random.Generator
) -> None:
    """One day of events that start by chance, last ``days`` on average and forget how old they are.

    ``level`` holds the logarithm of a factor from the range ``factor``, 0 where none goes on.
    """
    chance = rng.random(level.shape, dtype=np.float32)
    level[(level > 0) & (chance < 1.0 / days)] = 0.0
    new = (level == 0) & (chance > 1.0 - starts)
    count = int(new.sum())
    if count:
        low, high = np.log(factor)
        level[new] = rng.uniform(low, high, count)
