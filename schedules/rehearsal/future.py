"""What happens after the as-of day when nobody changes a filter: once as the truth, often for the oracle.

The oracle knows every house exactly (its dust, its fan's habits, its filter's growth, today's state of
all of them) and lacks only the future. Its quantiles are those of ``draws`` futures; with 200 of them
the 10 % and 90 % days scatter by some 2 % in chance.
"""

from copy import deepcopy
from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.rehearsal.course import Plant, State, drop_at, one_day
from schedules.rehearsal.filters import Slots, Systems
from schedules.rehearsal.fleet import Fleet

HORIZON_DAYS = 3652
NEVER = np.inf


def truth(fleet: Fleet) -> FloatArray:
    """Days [slots] from the as-of day to the first at whose end the true drop at design airflow has reached
    the limit; 0 where it already has, inf beyond ten years."""
    rng = np.random.default_rng([fleet.seed, 1])
    return reached(fleet, 1, rng)[:, 0]


@dataclass(frozen=True)
class Oracle:
    """Quantile days [slots] from the as-of day at 10, 50 and 90 %, inf beyond ten years."""

    p10: FloatArray
    p50: FloatArray
    p90: FloatArray


def oracle(fleet: Fleet, draws: int = 200) -> Oracle:
    """The quantiles of somebody who knows all but the future."""
    rng = np.random.default_rng([fleet.seed, 2])
    days = np.sort(reached(fleet, draws, rng), axis=1)

    def at(chance: float) -> FloatArray:
        return np.asarray(days[:, int(np.ceil(chance * draws)) - 1])

    return Oracle(at(0.1), at(0.5), at(0.9))


def reached(fleet: Fleet, draws: int, rng: np.random.Generator) -> FloatArray:
    """Days to the limit in each of ``draws`` futures, [slots, draws]; houses that are done are let go."""
    plant, state = fleet.plant, _spread(fleet, draws)
    limit = fleet.limit_pa[:, None]
    days = np.full((fleet.count, draws), NEVER)
    alive = np.arange(fleet.count)
    design = fleet.design[:, None]
    days[drop_at(plant, state, design) >= limit] = 0.0
    for ahead in range(1, HORIZON_DAYS + 1):
        one_day(plant, state, fleet.as_of + ahead, rng)
        past = (drop_at(plant, state, design[alive]) >= limit[alive]) & np.isinf(days[alive])
        rows, courses = np.nonzero(past)
        days[alive[rows], courses] = ahead
        if ahead % 15 == 0:
            open_slots = np.isinf(days[alive]).any(axis=1)
            if not open_slots.any():
                break
            if open_slots.mean() < 0.9:
                plant, state, alive = _only(plant, state, alive, open_slots)
    return days


def _spread(fleet: Fleet, draws: int) -> State:
    state = deepcopy(fleet.state)
    houses = np.arange(len(fleet.plant.systems.slots))
    return State(
        state.air.spread(draws),
        state.life.spread(houses, draws),
        np.repeat(state.dust, draws, axis=1),
        state.piece,
    )


def _only(plant: Plant, state: State, alive: IntArray, kept: BoolArray) -> tuple[Plant, State, IntArray]:
    """The same plant and state with the slots ``kept`` and their houses only."""
    slots = plant.slots
    houses, house = np.unique(slots.house[kept], return_inverse=True)
    fewer = Slots(house, *(getattr(slots, name)[kept] for name in (
        "medium", "area", "design", "doubling", "family", "shape")))  # fmt: skip
    systems = Systems(
        **{name: getattr(plant.systems, name)[houses] for name in plant.systems.__dataclass_fields__}
    )
    chosen = np.zeros(len(plant.systems.slots), dtype=bool)
    chosen[houses] = True
    smaller = replace(plant, houses=plant.houses.some(houses), systems=systems, slots=fewer)
    life = state.life.keep(chosen)
    return smaller, State(state.air, life, state.dust[kept], state.piece[kept]), alive[kept]
