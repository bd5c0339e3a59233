"""What the dates of a fleet cost beside one pass of numpy over as many grid points."""

import time
from collections.abc import Callable
from dataclasses import fields, replace

import numpy as np
import pytest

from schedules.planning.facts import FleetFacts, Settings, Slots
from schedules.planning.forecast import forecast
from schedules.planning.interval import NEVER
from schedules.planning.loading import GRID, PAIR_SHAPE
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot, with_weather

SLOTS = 10_000
BATCH = 500
LOG_DAYS = 400
PER_LIFE = ("began", "clean_pa", "merv", "current")
READ_DAYS_AGO = (50.0, 35.0, 20.0, 5.0)


def fleet(count: int, rng: np.random.Generator) -> FleetFacts:
    """A batch of houses: a year of log with holes, two years of weather, four readings of each filter."""
    days = np.arange(730)
    one = with_weather(
        one_slot(log_days=LOG_DAYS), 11 - 14 * np.cos(2 * np.pi * days / 365) + rng.normal(0, 4, len(days))
    )
    log = rng.uniform(0, 14, (count, LOG_DAYS))
    log[rng.random(log.shape) < 0.1] = np.nan
    slots = {field.name: np.repeat(getattr(one.slots, field.name), count) for field in fields(Slots)}
    slots["system"] = slots["home"] = np.arange(count)
    drops = CLEAN_PA * (1 + np.outer(rng.uniform(0.1, 1, count), 60 - np.array(READ_DAYS_AGO)) / 60)
    return replace(
        one,
        systems=replace(one.systems, hours=log, station=np.zeros(count, dtype=np.int64)),
        slots=Slots(**slots),
        lives=replace(
            one.lives,
            slot=np.arange(count),
            **{
                name: np.repeat(getattr(one.lives, name), count)
                for name in ("began", "clean_pa", "merv", "current")
            },
        ),
        readings=replace(
            one.readings,
            life=np.repeat(np.arange(count), len(READ_DAYS_AGO)),
            at=np.tile(AS_OF + 1 - np.array(READ_DAYS_AGO), count),
            drop_pa=drops.ravel(),
        ),
    )


def _one_exp_s(grid: np.ndarray) -> float:
    """Into memory that was touched before: a first pass takes ten times as long for its pages alone."""
    out, seconds = np.empty_like(grid), []
    for _ in range(5):
        start = time.process_time()
        np.exp(grid, out=out)
        seconds.append(time.process_time() - start)
    return min(seconds)


@pytest.mark.benchmark
def test_forecast_of_10000_slots(ratio: Callable[[str, float, float], float]) -> None:
    rng = np.random.default_rng(6)
    batches = [fleet(BATCH, rng) for _ in range(SLOTS // BATCH)]
    grid = rng.normal(size=(SLOTS, len(PAIR_SHAPE), len(GRID)))
    yardstick_s = _one_exp_s(grid)
    start = time.process_time()
    results = [forecast(batch, Settings()) for batch in batches]
    seconds = time.process_time() - start
    assert sum(int((result.due != NEVER).sum()) for result in results) == SLOTS
    ratio("dates of 10,000 slots / one np.exp over their grid points", seconds, yardstick_s)
