"""From rows to arrays: everything that is known of the slots of some systems on a day."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from equipment.airflow import design_airflow
from equipment.airside.limit import budget_left, limit_drop
from equipment.curves import Medium, media_with_curves
from equipment.meanwhile import standing
from equipment.models import Desk, FilterChange, FilterSlot, Media, Reading, RuntimeDay, System, WeatherDay
from equipment.stations import is_stale
from schedules.dust import DustRecord
from schedules.findings import note_silent_logs, set_aside
from schedules.lives import (
    Life,
    SlotFacts,
    clean_drop,
    deal,
    life_arrays,
    local_ordinal,
    or_nan,
    reading_arrays,
    retired,
    same_size,
    suppose_fresh,
)
from schedules.models import Policy
from schedules.planning.arrays import FloatArray
from schedules.planning.facts import FleetFacts, Slots, Systems, Weather

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

    def __init__(self, as_of: date) -> None:
        self.as_of = as_of
        self.desk_zone = Desk.the().timezone
        self.policy = Policy.the()
        self._weather: dict[int, dict[int, float]] = {}
        self._dust = DustRecord(as_of)

    def gather(self, system_ids: Sequence[int], fresh: Mapping[int, int] | None = None) -> Gathered:
        """Facts of every slot of the systems, sorted by slot name within the batch.

        ``fresh`` supposes of some slots that a medium goes in at the end of the as-of day.
        """
        slots = self._slots(system_ids)
        for slot in slots:
            if fresh and slot.row.pk in fresh:
                suppose_fresh(slot, self.as_of.toordinal() + 1.0, fresh[slot.row.pk])
                slot.out_by = slot.look_by = None
        media = media_with_curves({life.media for slot in slots for life in slot.lives if life.media})
        self._airflows(slots)
        for slot in slots:
            self._drops(slot, media)
        set_aside(slots, media, self.as_of)
        runtime = self._runtime(system_ids)
        note_silent_logs(slots, runtime, self.as_of)
        first_day = self._first_day(slots, runtime)
        systems = sorted({slot.row.system_id for slot in slots})
        place = {pk: row for row, pk in enumerate(systems)}
        weather, station = self._weather_arrays(slots, systems)
        dust = self._dust.arrays(slots, systems, first_day)
        return Gathered(
            FleetFacts(
                as_of=self.as_of.toordinal(),
                weather=weather,
                systems=Systems(first_day, self._hours(systems, runtime, first_day), station, *dust),
                slots=self._slot_arrays(slots, place, media),
                lives=life_arrays(slots, media),
                readings=reading_arrays(slots, media),
            ),
            slots,
        )

    def _slots(self, system_ids: Sequence[int]) -> list[SlotFacts]:
        rows = (
            FilterSlot.objects.filter(system__in=system_ids)
            .select_related("system__site__station", "system__site__customer")
            .order_by("name")
        )
        facts = {row.pk: SlotFacts(row, [], []) for row in rows}
        zones = {row.pk: row.system.site.zone(self.desk_zone) for row in rows}
        changes: dict[int, list[FilterChange]] = defaultdict(list)
        readings: dict[int, list[tuple[datetime, float, float | None]]] = defaultdict(list)
        found = FilterChange.objects.filter(slot__in=facts, undone_at=None, changed_on__lte=self.as_of)
        for change in found.order_by("changed_at"):
            changes[change.slot_id].append(change)
        values = Reading.objects.filter(slot__in=facts).order_by("taken_at")
        for slot, at, drop, airflow in values.values_list(
            "slot_id", "taken_at", "filter_drop_pa", "airflow_m3s"
        ):
            readings[slot].append((at, drop, airflow))
        for pk, slot_facts in facts.items():
            self._lives(slot_facts, changes[pk], readings[pk], zones[pk])
        for row in standing(facts, self.as_of):
            if facts[row.slot_id].now.media == row.media_id:
                facts[row.slot_id].out_by, facts[row.slot_id].look_by = row.ends_on, row.look_on
        return list(facts.values())

    def _lives(
        self,
        slot: SlotFacts,
        changes: list[FilterChange],
        readings: list[tuple[datetime, float, float | None]],
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
    def _medium_after(slot: SlotFacts, change: FilterChange, before: int | None) -> int | None:
        if change.media_id is not None:
            return change.media_id
        if "medium_carried" not in slot.notes and before is not None:
            slot.notes.append("medium_carried")
        return before

    def _airflows(self, slots: list[SlotFacts]) -> None:
        """Each slot's share of its system's design airflow, by nominal area."""
        area: dict[int, float] = defaultdict(float)
        for slot in slots:
            if not retired(slot.row, self.as_of):
                area[slot.row.system_id] += slot.row.area_m2
        for slot in slots:
            whole, note = design_airflow(slot.row.system)
            if note:
                slot.notes.append(note)
            total = area.get(slot.row.system_id) or slot.row.area_m2
            slot.airflow_m3s = np.nan if whole is None else whole * slot.row.area_m2 / total

    def _drops(self, slot: SlotFacts, media: dict[int, Medium]) -> None:
        system, medium = slot.row.system, media.get(slot.now.media or 0)
        slot.clean_pa = clean_drop(medium, slot.airflow_m3s, slot.notes)
        if medium is not None and not same_size(medium.row, slot.row):
            slot.notes.append("size_differs")
        left = budget_left(
            *(
                np.array([or_nan(value)])
                for value in (
                    system.return_budget_pa,
                    system.return_static_pa,
                    system.rated_external_static_pa,
                    system.supply_static_pa,
                )
            )
        )
        given = np.array([or_nan(slot.row.limit_drop_pa)])
        limit = limit_drop(given, np.array([slot.clean_pa]), left)
        slot.limit_pa = float(limit.drop_pa[0])
        if limit.nothing_left[0]:
            slot.notes.append("nothing_left")
        elif not np.isnan(given[0]):
            slot.notes.append("limit_given")
        elif not np.isnan(slot.limit_pa):
            slot.notes.append("limit_twice_clean" if slot.limit_pa == 2 * slot.clean_pa else "limit_budget")
        if not np.isnan(left[0]) and (system.return_static_pa is None or system.supply_static_pa is None):
            slot.notes.append("statics_assumed")

    def _runtime(self, system_ids: Sequence[int]) -> list[tuple[int, date, float]]:
        rows = RuntimeDay.objects.filter(system__in=system_ids, day__lte=self.as_of)
        return list(rows.values_list("system_id", "day", "fan_hours"))

    def _first_day(self, slots: list[SlotFacts], runtime: list[tuple[int, date, float]]) -> int:
        last = self.as_of.toordinal()
        days = [last, *(int(life.began) for slot in slots for life in slot.lives)]
        days.extend(day.toordinal() for _, day, _ in runtime)
        return max(min(days), last - LONGEST_RECORD_DAYS)

    def _hours(
        self, systems: list[int], runtime: list[tuple[int, date, float]], first_day: int
    ) -> FloatArray:
        place = {pk: row for row, pk in enumerate(systems)}
        hours = np.full((len(systems), self.as_of.toordinal() - first_day + 1), np.nan)
        if runtime:
            row = np.fromiter((place[pk] for pk, _, _ in runtime), dtype=np.int64, count=len(runtime))
            day = np.fromiter((day.toordinal() for _, day, _ in runtime), dtype=np.int64, count=len(runtime))
            value = np.fromiter((hours for _, _, hours in runtime), dtype=np.float64, count=len(runtime))
            kept = day >= first_day
            hours[row[kept], day[kept] - first_day] = value[kept]
        return hours

    def _weather_arrays(self, slots: list[SlotFacts], systems: list[int]) -> tuple[Weather, Any]:
        """One row a station, and one for each place without a station, by whole degree of latitude."""
        rows: dict[tuple[str, int], int] = {}
        latitudes: list[float] = []
        of_system: dict[int, int] = {}
        for slot in slots:
            site = slot.row.system.site
            latitude = site.station.latitude if site.station else or_nan(site.latitude)
            key = (
                ("station", site.station_id) if site.station_id else ("place", round(np.nan_to_num(latitude)))
            )
            if key not in rows:
                rows[key] = len(rows)
                latitudes.append(latitude)
            of_system[slot.row.system_id] = rows[key]
        stations = [pk for kind, pk in rows if kind == "station"]
        self._read_weather(stations)
        self._note_stale(slots)
        last = self.as_of.toordinal()
        first = min((min(days) for pk in stations if (days := self._weather[pk])), default=last)
        temps = np.full((len(rows), last - first + 1), np.nan)
        for pk in stations:
            days = self._weather[pk]
            place = np.fromiter(days.keys(), dtype=np.int64, count=len(days)) - first
            temps[rows["station", pk], place] = np.fromiter(days.values(), dtype=np.float64, count=len(days))
        station = np.array([of_system[pk] for pk in systems], dtype=np.int64)
        return Weather(first, temps, np.array(latitudes, dtype=np.float64)), station

    def _note_stale(self, slots: list[SlotFacts]) -> None:
        for slot in slots:
            station = slot.row.system.site.station_id
            if station is not None and not self._weather[station]:
                slot.notes.append("station_unfed")
            elif station is not None and is_stale(max(self._weather[station]), self.as_of):
                slot.notes.append("stale_station")

    def _read_weather(self, stations: Iterable[int]) -> None:
        fresh = [pk for pk in stations if pk not in self._weather]
        for pk in fresh:
            self._weather[pk] = {}
        rows = WeatherDay.objects.filter(station__in=fresh, day__lte=self.as_of)
        for station, day, temperature in rows.values_list("station_id", "day", "mean_temp_c"):
            self._weather[station][day.toordinal()] = temperature

    def _slot_arrays(self, slots: list[SlotFacts], place: dict[int, int], media: dict[int, Medium]) -> Slots:
        now = [media.get(slot.now.media or 0) for slot in slots]

        def numbers(values: Iterable[float | bool | None]) -> FloatArray:
            return np.array([or_nan(value) for value in values], dtype=np.float64)

        rows = [slot.row for slot in slots]
        return Slots(
            system=np.array([place[row.system_id] for row in rows], dtype=np.int64),
            home=np.array([row.system.site_id for row in rows], dtype=np.int64),
            area_m2=numbers(row.area_m2 for row in rows),
            airflow_m3s=numbers(slot.airflow_m3s for slot in slots),
            clean_pa=numbers(slot.clean_pa for slot in slots),
            limit_pa=numbers(slot.limit_pa for slot in slots),
            merv=numbers(medium.row.merv if medium else None for medium in now),
            depth_m=numbers(row.depth_m for row in rows),
            pets=numbers(row.system.site.pets for row in rows),
            smokers=numbers(row.system.site.smokers for row in rows),
            began=numbers(slot.now.began for slot in slots),
            began_known=np.array([slot.now.known_start for slot in slots], dtype=np.bool_),
            began_at_end=np.array([slot.now.at_end for slot in slots], dtype=np.bool_),
            recorded=np.array(["no_record" not in slot.notes for slot in slots], dtype=np.bool_)
            & ~np.array([retired(row, self.as_of) for row in rows], dtype=np.bool_),
            cap_days=numbers(
                self._cap(slot, medium.row if medium else None)
                for slot, medium in zip(slots, now, strict=True)
            ),
            medium_days=numbers(medium.row.max_days if medium else None for medium in now),
            change_price=numbers(self._price(medium) for medium in now),
            constant_airflow=np.array([row.system.blower != System.Blower.FIXED_SPEED for row in rows]),
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
