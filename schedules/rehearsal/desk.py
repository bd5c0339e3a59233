"""The record of a simulated fleet in the engine's arrays, so that it can grow day by day."""

from dataclasses import dataclass, field

import numpy as np

from equipment.airside.fan import drop_at_held_airflow
from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.facts import FleetFacts, LifeRows, ReadingRows, Slots, Systems, Weather
from schedules.rehearsal.filters import CFM, INCH, INWC
from schedules.rehearsal.fleet import Fleet

_A_DAY = 2.0**24
_UNCAPPED_DAYS = 36_500.0


@dataclass
class DeskRecord:
    """What a desk has on record of ``fleet``: lives and readings as flat lists, fan hours where ``logged``
    [houses]; ``hours`` [houses, days] and ``temps_c`` [stations, days] from ``fleet.start`` on."""

    fleet: Fleet
    logged: BoolArray
    hours: FloatArray
    temps_c: FloatArray
    capped: bool = False
    life_slot: list[int] = field(default_factory=list)
    life_began: list[float] = field(default_factory=list)
    read_slot: list[int] = field(default_factory=list)
    read_at: list[float] = field(default_factory=list)
    read_pa: list[float] = field(default_factory=list)

    @classmethod
    def of(cls, fleet: Fleet, logged: BoolArray, days_ahead: int, *, capped: bool = False) -> "DeskRecord":
        """The record on the fleet's as-of day, with room for ``days_ahead`` days more."""
        room = ((0, 0), (0, days_ahead))
        hours = np.pad(fleet.record.hours, room, constant_values=np.nan)
        temps = np.pad(fleet.record.temps_c, room, constant_values=np.nan)
        made = cls(fleet, logged, hours, temps, capped)
        for slot, house in enumerate(fleet.plant.slots.house):
            made.add_life(slot, float(fleet.began[house]))
        for slot, day, _, _ in fleet.record.changes:
            made.add_life(slot, day + 1.0)
        for slot, day, hour, drop, airflow in fleet.record.readings:
            made.add_reading(slot, day + hour / 24, drop, airflow)
        return made

    def add_life(self, slot: int, began: float) -> None:
        """A filter went in at ``began`` (ordinal with its fraction)."""
        self.life_slot.append(slot)
        self.life_began.append(began)

    def add_reading(self, slot: int, at: float, drop_inwc: float, airflow_cfm: float) -> None:
        """A reading as the sheet would hold it, carried to design airflow as the desk carries it."""
        fleet, medium = self.fleet, int(self.fleet.plant.slots.medium[slot])
        clean = fleet.plant.media.label_clean(medium, float(fleet.design[slot]))
        drop = drop_inwc * INWC
        if not np.isnan(airflow_cfm):
            drop *= clean / fleet.plant.media.label_clean(medium, max(airflow_cfm, 1.0) * CFM)
        elif not fleet.plant.systems.constant[fleet.plant.slots.house[slot]]:
            drop = float(drop_at_held_airflow(np.array([drop]), np.array([clean]))[0])
        self.read_slot.append(slot)
        self.read_at.append(at)
        self.read_pa.append(drop)

    def facts(self, as_of: int) -> FleetFacts:
        """Everything on record up to the end of ``as_of``."""
        fleet, days = self.fleet, as_of - self.fleet.start + 1
        slot, began = self._lives(as_of)
        lives = LifeRows(
            slot, began, self._clean[slot], self._merv[slot], np.append(slot[1:] != slot[:-1], True)
        )
        hours = np.where(self.logged[:, None], self.hours[:, :days], np.nan)
        return FleetFacts(
            as_of=as_of,
            weather=Weather(
                fleet.start,
                self.temps_c[:, :days],
                np.array([climate.latitude for climate in fleet.plant.sky.climates]),
            ),
            systems=Systems(fleet.start, hours, fleet.plant.houses.station[:, 0].astype(np.int64)),
            slots=self._slots(began[lives.current]),
            lives=lives,
            readings=self._readings(slot, began, as_of),
        )

    def _lives(self, as_of: int) -> tuple[IntArray, FloatArray]:
        slot, began = np.array(self.life_slot), np.array(self.life_began)
        known = began <= as_of + 1.0
        order = np.lexsort((began[known], slot[known]))
        return slot[known][order], began[known][order]

    def _readings(self, slot: IntArray, began: FloatArray, as_of: int) -> ReadingRows:
        read, at, drop = np.array(self.read_slot), np.array(self.read_at), np.array(self.read_pa)
        if not len(read):
            nothing = np.zeros(0)
            return ReadingRows(np.zeros(0, dtype=np.int64), nothing, nothing)
        life = np.searchsorted(slot * _A_DAY + began, read * _A_DAY + at, side="left") - 1
        kept = (at < as_of + 1.0) & (life >= 0) & (slot[np.maximum(life, 0)] == read)
        order = np.lexsort((at[kept], life[kept]))
        return ReadingRows(life[kept][order].astype(np.int64), at[kept][order], drop[kept][order])

    @property
    def _clean(self) -> FloatArray:
        plant = self.fleet.plant
        pairs = zip(plant.slots.medium, self.fleet.design, strict=True)
        return np.array([plant.media.label_clean(int(m), float(q)) for m, q in pairs], dtype=np.float64)

    @property
    def _merv(self) -> FloatArray:
        return self.fleet.plant.media.merv[self.fleet.plant.slots.medium].astype(np.float64)

    def _slots(self, began: FloatArray) -> Slots:
        plant = self.fleet.plant
        house, count = plant.slots.house.astype(np.int64), self.fleet.count
        depth = np.asarray(plant.media.depth[plant.slots.medium] * INCH, dtype=np.float64)
        cap = np.where(depth > 0.0509, 365.0, 183.0) if self.capped else np.full(count, _UNCAPPED_DAYS)
        return Slots(
            system=house,
            home=house,
            area_m2=plant.slots.area,
            airflow_m3s=self.fleet.design,
            clean_pa=self._clean,
            limit_pa=self.fleet.limit_pa,
            merv=self._merv,
            depth_m=depth,
            pets=plant.houses.pets[house, 0].astype(np.float64),
            smokers=plant.houses.smokers[house, 0].astype(np.float64),
            began=began,
            began_known=np.full(count, True),
            began_at_end=began % 1 == 0,
            recorded=np.full(count, True),
            cap_days=cap,
            medium_days=np.full(count, np.nan),
            change_price=np.full(count, np.nan),
            constant_airflow=plant.systems.constant[house],
        )
