"""From rows to arrays: everything that is known of the slots of some systems on a day."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np

from equipment.airflow import design_airflow
from equipment.airside.limit import budget_left, limit_drop
from equipment.curves import Medium, media_with_curves
from equipment.fan_log import FanLog, fan_log
from equipment.meanwhile import standing
from equipment.models import Desk, FilterSlot, Media, System
from schedules.dust import DustRecord
from schedules.findings import note_silent_logs, set_aside
from schedules.lives import (
    Life,
    SlotFacts,
    deal,
    life_arrays,
    local_ordinal,
    note_clean,
    or_nan,
    reading_arrays,
    reckon_clean,
    retired,
    same_size,
    suppose_fresh,
)
from schedules.models import Policy
from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.facts import FleetFacts, Slots, Systems, Weather
from schedules.slot_rows import Change, Read, changes_of, readings_of, slots_of
from schedules.weather_rows import WeatherRecord

# A record longer than this is cut: no life of a filter reaches so far.
LONGEST_RECORD_DAYS = 20 * 366
THIN_M = 0.0509


@dataclass(frozen=True)
class Gathered:
    """Arrays for the engine and, in the same order, the slots they speak of."""

    facts: FleetFacts
    slots: list[SlotFacts]


class Gatherer:
    """Reads batches of systems; what all batches share is read once."""

    def __init__(self, as_of: date, weather: WeatherRecord | None = None) -> None:
        """``weather`` that was read for the same day before, to be read no more."""
        self.as_of = as_of
        self.desk_zone = Desk.the().timezone
        self.policy = Policy.the()
        self._weather = weather or WeatherRecord(as_of)
        self._dust = DustRecord(as_of)
        self._media: dict[int, Medium] = {}

    def gather(self, system_ids: Sequence[int], fresh: Mapping[int, int] | None = None) -> Gathered:
        """Facts of every slot of the systems, sorted by slot name within the batch.

        ``fresh`` supposes of some slots that a medium goes in at the end of the as-of day.
        """
        slots = self._slots(system_ids)
        for slot in slots:
            if fresh and slot.row.pk in fresh:
                suppose_fresh(slot, self.as_of.toordinal() + 1.0, fresh[slot.row.pk])
                slot.out_by = slot.look_by = None
        media = self._media_of(slots)
        self._airflows(slots)
        self._drops(slots, media)
        set_aside(slots, media, self.as_of)
        log = fan_log(system_ids, self.as_of)
        note_silent_logs(slots, log, self.as_of)
        systems, row_of_slot, weather = self._systems(slots, log)
        self._weather.note_stale(slots)
        return Gathered(
            FleetFacts(
                as_of=self.as_of.toordinal(),
                weather=weather,
                systems=systems,
                slots=self._slot_arrays(slots, row_of_slot, media),
                lives=life_arrays(slots, media),
                readings=reading_arrays(slots),
            ),
            slots,
        )

    def _media_of(self, slots: list[SlotFacts]) -> dict[int, Medium]:
        wanted = {life.media for slot in slots for life in slot.lives if life.media} - self._media.keys()
        if wanted:
            self._media |= media_with_curves(wanted)
        return self._media

    def _slots(self, system_ids: Sequence[int]) -> list[SlotFacts]:
        rows = slots_of(system_ids)
        facts = {row.pk: SlotFacts(row, [], [], retired(row, self.as_of)) for row in rows}
        changes, readings = changes_of(facts, self.as_of), readings_of(facts)
        zones: dict[int, ZoneInfo] = {}
        for pk, slot in facts.items():
            site = slot.site
            if site.pk not in zones:
                zones[site.pk] = site.zone(self.desk_zone)
            self._lives(slot, changes[pk], readings[pk], zones[site.pk])
        for row in standing(facts, self.as_of):
            if facts[row.slot_id].now.media == row.media_id:
                facts[row.slot_id].out_by, facts[row.slot_id].look_by = row.ends_on, row.look_on
        return list(facts.values())

    def _lives(
        self,
        slot: SlotFacts,
        changes: list[Change],
        readings: list[Read],
        tz: ZoneInfo,
    ) -> None:
        row, end = slot.row, self.as_of.toordinal() + 1.0
        # A filter fitted later than the as-of day is a later fact: until then nobody knows the medium.
        first_medium = None if row.fitted_on and row.fitted_on > self.as_of else row.first_media_id
        local = [(local_ordinal(at, tz), drop, airflow) for at, drop, airflow in readings]
        local = [reading for reading in local if reading[0] < end]
        medium = first_medium
        if row.fitted_on is not None and row.fitted_on <= self.as_of:
            slot.lives.append(Life(float(row.fitted_on.toordinal()), medium, True, False))
        for change in changes:
            medium = self._medium_after(slot, change, medium)
            began = min(local_ordinal(change.changed_at, tz), end)
            at_end = began == change.changed_on.toordinal() + 1.0
            slot.lives.append(Life(began, medium, True, at_end))
        slot.lives.sort(key=lambda life: life.began)
        earliest = min((reading[0] for reading in local), default=None)
        if earliest is not None and (
            not slot.lives or (row.fitted_on is None and earliest <= slot.lives[0].began)
        ):
            slot.lives.insert(0, Life(earliest, first_medium, False, False))
        deal(slot.lives, local)
        if not slot.lives:
            slot.lives.append(Life(end, medium, False, False))
            slot.notes.append("no_record")
        elif not slot.now.known_start:
            slot.notes.append("fitted_unknown")

    @staticmethod
    def _medium_after(slot: SlotFacts, change: Change, before: int | None) -> int | None:
        if change.media_id is not None:
            return change.media_id
        if "medium_carried" not in slot.notes and before is not None:
            slot.notes.append("medium_carried")
        return before

    def _airflows(self, slots: list[SlotFacts]) -> None:
        """Each slot's share of its system's design airflow, by nominal area."""
        area: dict[int, float] = defaultdict(float)
        for slot in slots:
            if not slot.ended:
                area[slot.row.system_id] += slot.row.area_m2
        for slot in slots:
            whole, note = design_airflow(slot.system)
            if note:
                slot.notes.append(note)
            total = area.get(slot.row.system_id) or slot.row.area_m2
            slot.airflow_m3s = np.nan if whole is None else whole * slot.row.area_m2 / total

    def _drops(self, slots: list[SlotFacts], media: dict[int, Medium]) -> None:
        """Clean drop and limit of what is in each slot, and what was supposed of them."""
        reckon_clean(slots, media)
        for slot in slots:
            medium = media.get(slot.now.media or 0)
            note_clean(slot, medium)
            if medium is not None and not same_size(medium.row, slot.row):
                slot.notes.append("size_differs")
        systems = [slot.system for slot in slots]
        left = budget_left(
            _numbers(system.return_budget_pa for system in systems),
            _numbers(system.return_static_pa for system in systems),
            _numbers(system.rated_external_static_pa for system in systems),
            _numbers(system.supply_static_pa for system in systems),
        )
        given = _numbers(slot.row.limit_drop_pa for slot in slots)
        limit = limit_drop(given, _numbers(slot.clean_pa for slot in slots), left)
        was_given, left_known = np.isfinite(given).tolist(), np.isfinite(left).tolist()
        told = zip(slots, limit.drop_pa.tolist(), limit.nothing_left.tolist(), strict=True)
        for place, (slot, drop, nothing_left) in enumerate(told):
            slot.limit_pa = drop
            _note_limit(slot, nothing_left, was_given[place], left_known[place])

    def _first_day(self, slots: list[SlotFacts], log: FanLog) -> int:
        last = self.as_of.toordinal()
        days = [last, *(int(life.began) for slot in slots for life in slot.lives)]
        if len(log.day):
            days.append(int(log.day.min()))
        return max(min(days), last - LONGEST_RECORD_DAYS)

    def _systems(self, slots: list[SlotFacts], log: FanLog) -> tuple[Systems, IntArray, Weather]:
        """Hours, weather and dust by row, and the row of each slot: systems of one station that nothing was
        logged of are alike, and share a row where no dust tells them apart."""
        of_system = {slot.row.system_id: slot.system for slot in slots}
        keys = sorted(of_system)
        weather, station = self._weather.arrays([of_system[pk].site for pk in keys])
        first_day = self._first_day(slots, log)
        past, ahead = self._dust.arrays(slots, keys, first_day)
        logged = np.isin(keys, log.system)
        apart = logged | (np.ones(len(keys), dtype=np.bool_) if past is not None else False)
        # Beyond all stations' rows, so that no row of one's own is taken for a station's.
        kind = np.where(apart, len(weather.latitude) + np.arange(len(keys)), station)
        _kinds, first, row = np.unique(kind, return_index=True, return_inverse=True)
        place = dict(zip(keys, row.tolist(), strict=True))
        hours = self._hours(place, log, first_day, len(first))
        if past is not None and ahead is not None:
            past, ahead = past[first], ahead[first]
        mine = np.array([place[slot.row.system_id] for slot in slots], dtype=np.int64)
        return Systems(first_day, hours, station[first], past, ahead), mine, weather

    def _hours(self, place: Mapping[int, int], log: FanLog, first_day: int, rows: int) -> FloatArray:
        hours = np.full((rows, self.as_of.toordinal() - first_day + 1), np.nan)
        keys = np.array(list(place), dtype=np.int64)
        kept = (log.day >= first_day) & np.isin(log.system, keys)
        row = np.array(list(place.values()), dtype=np.int64)[np.searchsorted(keys, log.system[kept])]
        hours[row, log.day[kept] - first_day] = log.hours[kept]
        return hours

    def _slot_arrays(self, slots: list[SlotFacts], system: IntArray, media: dict[int, Medium]) -> Slots:
        now = [media.get(slot.now.media or 0) for slot in slots]

        rows = [slot.row for slot in slots]
        return Slots(
            system=system,
            home=np.array([slot.system.site_id for slot in slots], dtype=np.int64),
            area_m2=_numbers(row.area_m2 for row in rows),
            airflow_m3s=_numbers(slot.airflow_m3s for slot in slots),
            clean_pa=_numbers(slot.clean_pa for slot in slots),
            limit_pa=_numbers(slot.limit_pa for slot in slots),
            merv=_numbers(medium.row.merv if medium else None for medium in now),
            depth_m=_numbers(row.depth_m for row in rows),
            pets=_numbers(slot.site.pets for slot in slots),
            smokers=_numbers(slot.site.smokers for slot in slots),
            began=_numbers(slot.now.began for slot in slots),
            began_known=np.array([slot.now.known_start for slot in slots], dtype=np.bool_),
            began_at_end=np.array([slot.now.at_end for slot in slots], dtype=np.bool_),
            recorded=np.array(["no_record" not in slot.notes for slot in slots], dtype=np.bool_)
            & ~np.array([slot.ended for slot in slots], dtype=np.bool_),
            cap_days=_numbers(
                self._cap(slot, medium.row if medium else None)
                for slot, medium in zip(slots, now, strict=True)
            ),
            medium_days=_numbers(medium.row.max_days if medium else None for medium in now),
            change_price=_numbers(self._price(medium) for medium in now),
            constant_airflow=np.array([slot.system.blower != System.Blower.FIXED_SPEED for slot in slots]),
        )

    def _cap(self, slot: SlotFacts, medium: Media | None) -> int:
        """The calendar's cap, or the days until a filter that is in for a while comes out."""
        cap = self.cap_days(slot.row, medium)
        if slot.out_by is None:
            return cap
        began = slot.now.began - 1 if slot.now.at_end and slot.now.began % 1 == 0 else slot.now.began
        return min(cap, max(0, slot.out_by.toordinal() - int(began)))

    def cap_days(self, slot: FilterSlot, medium: Media | None) -> int:
        """The desk's calendar cap for this kind and depth."""
        if medium is not None and medium.kind == Media.Kind.WASHABLE:
            return self.policy.cap_washable_days
        deep = (medium is not None and medium.kind == Media.Kind.DEEP) or slot.depth_m > THIN_M
        return self.policy.cap_deep_days if deep else self.policy.cap_thin_days

    def _price(self, medium: Medium | None) -> float | None:
        if medium is None or medium.row.price is None:
            return None
        return float(medium.row.price) + (self.policy.change_price or 0.0)


def _numbers(values: Iterable[float | bool | None]) -> FloatArray:
    return np.array([or_nan(value) for value in values], dtype=np.float64)


def _note_limit(slot: SlotFacts, nothing_left: bool, given: bool, left_known: bool) -> None:
    system = slot.system
    if nothing_left:
        slot.notes.append("nothing_left")
    elif given:
        slot.notes.append("limit_given")
    elif not math.isnan(slot.limit_pa):
        slot.notes.append("limit_twice_clean" if slot.limit_pa == 2 * slot.clean_pa else "limit_budget")
    if left_known and (system.return_static_pa is None or system.supply_static_pa is None):
        slot.notes.append("statics_assumed")
