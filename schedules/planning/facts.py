"""What is known of a fleet on a day, in arrays.

Days are proleptic ordinals of the site's own calendar; an instant is an ordinal with the local
day's fraction, so that ``n + 1.0`` is the end of day n. Everything else is in SI; NaN is unknown.
"""

from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray, rows_of


@dataclass(frozen=True)
class Weather:
    """``temps_c`` [k, days] from ``first_day``, NaN where there is no record; ``latitude`` [k]."""

    first_day: int
    temps_c: FloatArray
    latitude: FloatArray


@dataclass(frozen=True)
class Systems:
    """``hours`` [m, days] from ``first_day`` to the as-of day, NaN where there is no log; ``station`` [m]
    is a row of Weather. ``dust`` [m, days] and ``dust_ahead`` [m, 365] say how many times the usual dust
    a day's air held or will hold; None: the usual throughout."""

    first_day: int
    hours: FloatArray
    station: IntArray
    dust: FloatArray | None = None
    dust_ahead: FloatArray | None = None


@dataclass(frozen=True)
class Slots:
    """n slots: system row, home (slots of one home share a number), face area, share of the design
    airflow, and what the present filter is.

    NaN stands for unknown. ``began`` is the instant the present filter went in, or the first record
    where ``began_known`` is False; ``began_at_end`` marks a change, which lies at its day's end where
    no time is known; ``recorded`` is False where there is no record at all.
    """

    system: IntArray
    home: IntArray
    area_m2: FloatArray
    airflow_m3s: FloatArray
    clean_pa: FloatArray
    limit_pa: FloatArray
    merv: FloatArray
    depth_m: FloatArray
    pets: FloatArray
    smokers: FloatArray
    began: FloatArray
    began_known: BoolArray
    began_at_end: BoolArray
    recorded: BoolArray
    cap_days: FloatArray
    medium_days: FloatArray
    change_price: FloatArray
    constant_airflow: BoolArray


@dataclass(frozen=True)
class LifeRows:
    """Flat rows of lives, those of a slot together and in order, its present one last."""

    slot: IntArray
    began: FloatArray
    clean_pa: FloatArray
    merv: FloatArray
    current: BoolArray


@dataclass(frozen=True)
class ReadingRows:
    """Flat rows of readings sorted by life; drop carried to the slot's design airflow."""

    life: IntArray
    at: FloatArray
    drop_pa: FloatArray


@dataclass(frozen=True)
class FleetFacts:
    """All that is known of a batch of slots on the as-of day."""

    as_of: int
    weather: Weather
    systems: Systems
    slots: Slots
    lives: LifeRows
    readings: ReadingRows

    def of(self, systems: IntArray) -> "FleetFacts":
        """Of some of the systems, in rising order; homes keep their numbers."""
        rows = np.flatnonzero(np.isin(self.slots.system, systems))
        mine = np.flatnonzero(np.isin(self.lives.slot, rows))
        read = np.flatnonzero(np.isin(self.readings.life, mine))
        slots, lives, readings = (
            rows_of(self.slots, rows),
            rows_of(self.lives, mine),
            rows_of(self.readings, read),
        )
        return replace(
            self,
            systems=rows_of(self.systems, systems),
            slots=replace(slots, system=np.searchsorted(systems, slots.system)),
            lives=replace(lives, slot=np.searchsorted(rows, lives.slot)),
            readings=replace(readings, life=np.searchsorted(mine, readings.life)),
        )


@dataclass(frozen=True)
class Settings:
    """The desk's decision rules; a price of None leaves the cost rule out. Risk and cost ask for no
    change sooner than ``shortest_days`` after the last. Where so many ``late_days`` past the limit weigh as
    much as one change, each filter has the risk at which waiting stops to pay, instead of the one for all."""

    accepted_risk: float = 0.2
    energy_price_kwh: float | None = None
    shortest_days: int = 0
    late_days: float | None = None
