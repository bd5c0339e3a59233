"""Houses: how long their fan runs and how dusty their air is, day by day.

Arrays of habits are [houses, 1], of states [houses, draws].
"""

from dataclasses import dataclass, fields

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.rehearsal.weather import YEAR, flip_events, kept
from schedules.rehearsal.worlds import World


@dataclass(frozen=True)
class Houses:
    """What stays the same in a house; [houses, 1] each. Hours a day, °C, µg/m3, days."""

    station: IntArray
    pets: BoolArray
    smokers: BoolArray
    dust: FloatArray
    base: FloatArray
    cooling: FloatArray
    heating: FloatArray
    cooling_above: FloatArray
    heating_below: FloatArray
    wander_sd: FloatArray
    wander_kept: FloatArray

    def some(self, rows: IntArray) -> "Houses":
        """The houses at ``rows``, in that order and as often as they stand there."""
        return Houses(**{part.name: getattr(self, part.name)[rows] for part in fields(self)})


@dataclass
class Life:
    """Today's state of houses, [houses, draws]: two wandering logarithms in sd, and what goes on."""

    wander: FloatArray
    habit: FloatArray
    works: FloatArray
    away: BoolArray
    fan_week: BoolArray

    def spread(self, rows: IntArray, draws: int) -> "Life":
        """The states of the houses at ``rows`` at the start of ``draws`` courses."""
        parts = (getattr(self, part.name)[rows] for part in fields(self))
        return Life(*(np.repeat(part, draws, axis=1) for part in parts))

    def keep(self, rows: BoolArray) -> "Life":
        """Only the houses where ``rows`` is true."""
        return Life(*(getattr(self, part.name)[rows] for part in fields(self)))


def draw_houses(count: int, stations: int, world: World, rng: np.random.Generator) -> Houses:
    """``count`` houses of ``world``."""
    shape = (count, 1)

    def spread(median: float, sd: float) -> FloatArray:
        return median * np.exp(sd * rng.standard_normal(shape))

    pets, smokers = rng.random(shape) < world.pets, rng.random(shape) < world.smokers
    # Divided by the mean effect, so that the median over all houses is the published one.
    effect = pets * np.log(world.pets_factor) + smokers * np.log(world.smokers_factor)
    usual = world.pets * np.log(world.pets_factor) + world.smokers * np.log(world.smokers_factor)
    fan_on = (rng.random(shape) < world.fan_on_houses) * rng.uniform(*world.fan_on_hours, shape)
    cooling_above = world.cooling_above_c[0] + world.cooling_above_c[1] * rng.standard_normal(shape)
    heating_below = world.heating_below_c[0] + world.heating_below_c[1] * rng.standard_normal(shape)
    return Houses(
        station=rng.integers(0, stations, shape),
        pets=pets,
        smokers=smokers,
        dust=spread(world.dust_ug_m3, world.dust_house_sd) * np.exp(effect - usual),
        base=spread(world.base_hours, world.base_sd) + fan_on,
        cooling=spread(world.cooling_hours_per_k, world.slope_sd),
        heating=spread(world.heating_hours_per_k, world.slope_sd),
        cooling_above=cooling_above,
        heating_below=np.minimum(heating_below, cooling_above - 1.0),
        wander_sd=rng.uniform(*world.wander_sd, shape),
        wander_kept=kept(rng.uniform(*world.wander_days, shape)),
    )


def first_life(count: int, rng: np.random.Generator) -> Life:
    """A state drawn from the long run, with nothing special going on."""
    wander, habit = rng.standard_normal((2, count, 1))
    nothing = np.zeros((count, 1), dtype=bool)
    return Life(wander, habit, np.zeros((count, 1)), nothing, nothing.copy())


def step(
    houses: Houses, life: Life, temp_c: FloatArray, world: World, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Carry ``life`` one day on; fan hours of that day and dust in µg/m3 without smoke, [houses, draws]."""
    wander, habit, noise = rng.standard_normal((3, *life.wander.shape), dtype=np.float32)
    life.wander *= houses.wander_kept
    life.wander += np.sqrt(1.0 - houses.wander_kept**2) * wander
    fade = float(kept(world.habit_days))
    life.habit *= fade
    life.habit += np.sqrt(1.0 - fade**2) * habit
    flip_events(life.works, world.works_a_year / YEAR, world.works_days, world.works_factor, rng)
    _turn(life, world, rng)
    called = houses.cooling * np.maximum(temp_c - houses.cooling_above, 0.0)
    called += houses.heating * np.maximum(houses.heating_below - temp_c, 0.0)
    called += houses.base
    called *= np.exp(world.habit_sd * life.habit + world.hours_noise_sd * noise)
    called *= np.where(life.away, world.away_share, 1.0)
    called += world.fan_weeks_hours * life.fan_week
    dust = houses.dust * np.exp(houses.wander_sd * life.wander + life.works)
    return np.clip(called, 0.0, 24.0), dust


def _turn(life: Life, world: World, rng: np.random.Generator) -> None:
    """Begin and end holidays and weeks with the fan on."""
    chance = rng.random(life.away.shape, dtype=np.float32)
    starts, fan_starts = world.away_a_year / YEAR, world.fan_weeks_a_year / YEAR
    ends = np.where(life.away, 1.0 / world.away_days, 1.0 / world.fan_weeks_days)
    busy = life.away | life.fan_week
    ending = busy & (chance < ends)
    life.away &= ~ending
    life.fan_week &= ~ending
    life.away |= ~busy & (chance < starts)
    life.fan_week |= ~busy & (chance > 1.0 - fan_starts)
