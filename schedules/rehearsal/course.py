"""One day of a fleet: air, houses, dust on the filters. The past has one course, the future many."""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import FloatArray
from schedules.rehearsal.filters import Media, Slots, Systems, airflow_share, growth
from schedules.rehearsal.houses import Houses, Life, step
from schedules.rehearsal.weather import Air, Sky
from schedules.rehearsal.worlds import World

_SECONDS = 3600.0


@dataclass(frozen=True)
class Plant:
    """Everything that stays the same: stations, houses, systems, media, slots."""

    sky: Sky
    houses: Houses
    systems: Systems
    media: Media
    slots: Slots
    world: World

    def ratio(self, dust: FloatArray) -> FloatArray:
        """Drop over clean drop of filters that hold ``dust`` [slots, draws]."""
        slots = self.slots
        return growth(
            dust / slots.doubling[:, None],
            slots.family[:, None],
            slots.shape[:, None],
            self.world.highest_growth,
        )

    def airflow(self, ratio: FloatArray) -> FloatArray:
        """Real airflow through each slot, m3/s."""
        systems, house = self.systems, self.slots.house
        share = airflow_share(
            ratio,
            systems.constant[house, None],
            systems.fan_slope[house, None],
            systems.filter_part[house, None],
        )
        return self.slots.design[:, None] * systems.true_over_stated[house, None] * share


@dataclass
class State:
    """What changes: air, lives, dust held [slots, draws], each piece's own clean factor [slots, 1]."""

    air: Air
    life: Life
    dust: FloatArray
    piece: FloatArray


def one_day(
    plant: Plant, state: State, ordinal: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Carry the state over a day; its temperatures [stations, draws] and fan hours [houses, draws]."""
    temperature = plant.sky.step(state.air, ordinal, rng)
    station = plant.houses.station[:, 0]
    hours, dust = step(plant.houses, state.life, temperature[station], plant.world, rng)
    dust = dust * np.exp(state.air.smoke[station])
    house = plant.slots.house
    air_m = plant.airflow(plant.ratio(state.dust)) * hours[house] * _SECONDS / plant.slots.area[:, None]
    state.dust += air_m * dust[house] * 1e-6
    return temperature, hours


def drop_at(plant: Plant, state: State, airflow: FloatArray) -> FloatArray:
    """True drop in Pa at ``airflow`` [slots, draws]."""
    rows = plant.slots.medium
    clean = plant.media.scale[rows][:, None] * airflow ** plant.media.exponent[rows][:, None]
    return np.asarray(clean * state.piece * plant.ratio(state.dust))
