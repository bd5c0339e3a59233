"""What instruments say of a filter: rounded, a little off, now and then badly wrong."""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.rehearsal.course import Plant, State, drop_at
from schedules.rehearsal.filters import CFM, INWC
from schedules.rehearsal.worlds import World


@dataclass(frozen=True)
class Read:
    """Readings of some slots on one day: what the sheet gets, in. w.c. and cfm (NaN: not noted)."""

    slot: IntArray
    drop_inwc: FloatArray
    airflow_cfm: FloatArray


class Meters:
    """The instruments of a desk; each has a gain of its own that drifts with the years."""

    def __init__(self, world: World, rng: np.random.Generator) -> None:
        self.world = world
        self.rng = rng
        self.gain = world.gain_sd * rng.standard_normal(6)
        self.drift = world.gain_drift_a_year * rng.standard_normal(6)

    def read(self, plant: Plant, state: State, slots: IntArray, years: float) -> Read:
        """One visit's reading at each of ``slots``."""
        world, rng, count = self.world, self.rng, len(slots)
        real = plant.airflow(plant.ratio(state.dust))[:, 0]
        low = rng.random(count) < world.low_tap
        share = np.where(low, rng.uniform(*world.low_tap_share, count), 1.0)
        flow = real[slots] * share
        at = np.ones_like(real)
        at[slots] = flow
        drop = drop_at(plant, state, at[:, None])[slots, 0] / INWC
        meter = rng.integers(0, len(self.gain), count)
        gain = (
            1.0 + self.gain[meter] + self.drift[meter] * years + world.method_sd * rng.standard_normal(count)
        )
        said = drop * gain + world.offset_inwc * rng.standard_normal(count)
        said = self._badly_wrong(said)
        steps = np.round(np.minimum(said, world.meter_ends_inwc) / world.resolution_inwc)
        rounded = np.asarray(np.maximum(steps * world.resolution_inwc, 0.0), dtype=np.float64)
        return Read(slots, rounded, self._airflow(flow, low))

    def _badly_wrong(self, said: FloatArray) -> FloatArray:
        """Grille and filter together, a wrong tap, a slip of the decimal point."""
        wrong = self.rng.random(len(said)) < self.world.gross_errors
        factor = self.rng.choice([1.45, 1.8, 0.4, 0.1], len(said))
        return np.where(wrong, said * factor, said)

    def _airflow(self, flow: FloatArray, low: BoolArray) -> FloatArray:
        world, rng, count = self.world, self.rng, len(flow)
        noted = (rng.random(count) < world.airflow_noted) | low
        said = flow * np.exp(world.airflow_noted_sd * rng.standard_normal(count))
        wrong = rng.random(count) < world.airflow_wrong
        said = np.where(wrong, said * rng.choice([0.5, 0.75, 1.35, 2.0], count), said)
        return np.where(noted, np.round(said / CFM), np.nan)
