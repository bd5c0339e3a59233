"""What the ideal observer holds possible: courses of dust and fan, filters, labels and blowers."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from schedules.planning.arrays import FloatArray, IntArray
from schedules.rehearsal.fleet import Fleet
from schedules.rehearsal.future import HORIZON_DAYS
from schedules.rehearsal.houses import draw_houses, first_life, step
from schedules.rehearsal.weather import Air, kept
from schedules.rehearsal.worlds import World

BLOCK_DAYS = 10
BLOCKS = HORIZON_DAYS // BLOCK_DAYS
MOST_LIVES = 16
# Courses of dust and fan for each drawn filter, label and blower.
COURSES_A_KIND = 40


@dataclass(frozen=True)
class Courses:
    """Drawn possibilities at one station, [draws, ...]: what a house with a typical amount of dust would
    put on a filter a metre of air (``dust``), with its own fan's hours summed up (``ran``), and the
    same by blocks of the future: with the drawn fan, and for a known mean of hours. Fans are drawn to the
    same mean; how far houses lie apart in it (``fan_spread``, of the logarithm) goes into their pace."""

    fan_spread: float
    dust: NDArray[np.float32]
    ran: FloatArray
    ahead_ran: FloatArray
    ahead_dust: FloatArray


@dataclass(frozen=True)
class Guesses:
    """Drawn filters, labels and blowers, [draws] or [draws, lives]."""

    family: IntArray
    shape: FloatArray
    label: FloatArray
    piece: FloatArray
    exponent: FloatArray
    off: FloatArray
    fan_slope: FloatArray
    filter_part: FloatArray


def draw_courses(fleet: Fleet, station: int, draws: int, rng: np.random.Generator) -> Courses:
    """``draws`` houses at a station, lived from the record's first day to ten years after the as-of day."""
    plant, world = fleet.plant, fleet.plant.world
    houses = draw_houses(draws, 1, world, rng)
    houses = replace(houses, dust=np.ones_like(houses.dust))
    life, air = first_life(draws, rng), fleet.state.air.spread(draws)
    air = Air(air.noise, air.anomaly, np.zeros_like(air.smoke))
    past = fleet.record.temps_c.shape[1]
    dust = np.empty((draws, past), dtype=np.float32)
    ran = np.empty((draws, past), dtype=np.float32)
    blocks = np.zeros((2, draws, BLOCKS), dtype=np.float32)
    habit, fade = rng.standard_normal(draws), float(kept(world.habit_days))
    for place in range(past + BLOCKS * BLOCK_DAYS):
        if place == past:
            now = fleet.state.air.spread(draws)
            air = Air(now.noise, now.anomaly, air.smoke)
        drawn = plant.sky.step(air, fleet.start + place, rng)[station]
        temperature = np.full(draws, fleet.record.temps_c[station, place]) if place < past else drawn
        hours, level = step(houses, life, temperature[:, None], world, rng)
        heavy = level[:, 0] * np.exp(air.smoke[station])
        if place < past:
            dust[:, place], ran[:, place] = heavy, heavy * hours[:, 0]
            continue
        block = (place - past) // BLOCK_DAYS
        habit = fade * habit + np.sqrt(1 - fade**2) * rng.standard_normal(draws)
        blocks[0, :, block] += heavy * hours[:, 0]
        blocks[1, :, block] += heavy * np.exp(world.habit_sd * habit - world.habit_sd**2 / 2)
    much = np.log(ran.mean(axis=1) / dust.mean(axis=1))
    even = np.exp(much.mean() - much)[:, None].astype(np.float32)
    running = np.cumsum(ran * even, axis=1, dtype=np.float64)
    fan_ahead = np.asarray(blocks[0] * even, dtype=np.float64)
    return Courses(float(much.std()), dust, running, fan_ahead, blocks[1])


def known_hours_ahead(fleet: Fleet, rng: np.random.Generator, courses: int = 16) -> FloatArray:
    """Mean fan hours a day of each house by blocks of the future, [houses, blocks], by its own habits."""
    plant = fleet.plant
    count = len(plant.systems.slots)
    life, air = fleet.state.life.spread(np.arange(count), courses), fleet.state.air.spread(courses)
    out = np.zeros((count, BLOCKS))
    station = plant.houses.station[:, 0]
    for ahead in range(BLOCKS * BLOCK_DAYS):
        temperature = plant.sky.step(air, fleet.as_of + 1 + ahead, rng)
        hours, _ = step(plant.houses, life, temperature[station], plant.world, rng)
        out[:, ahead // BLOCK_DAYS] += hours.mean(axis=1) / BLOCK_DAYS
    return out


def draw_guesses(world: World, draws: int, rng: np.random.Generator) -> Guesses:
    kinds = draws // COURSES_A_KIND

    def each(values: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(np.repeat(values, COURSES_A_KIND))

    family = rng.choice(3, kinds, p=world.shapes)
    power, blend = rng.uniform(*world.power_shape, kinds), rng.uniform(0.2, 0.9, kinds)
    low, high = np.log(world.exponential_base)
    base = np.exp(rng.uniform(low, high, kinds))
    return Guesses(
        each(family),
        each(np.choose(family, [power, base, blend])),
        each(np.exp(world.label_sd * rng.standard_normal(kinds))),
        np.exp(world.piece_sd * rng.standard_normal((draws, MOST_LIVES))),
        each(rng.uniform(*world.exponent, kinds)),
        each(rng.standard_normal(kinds)),
        each(rng.uniform(*world.fan_slope, kinds)),
        each(rng.uniform(*world.filter_part, kinds)),
    )
