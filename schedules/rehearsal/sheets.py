"""A simulated fleet's record as the desk's own sheets, holding no fact later than the as-of day."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from pathlib import Path

import numpy as np

from schedules.rehearsal.filters import CFM, INWC
from schedules.rehearsal.fleet import Fleet

_STATICS = ("rated_external_static_inwc", "return_static_inwc", "supply_static_inwc")


def slot_name(slot: int) -> str:
    """The slot's name in the sheets; names sort as the slots do."""
    return f"f{slot:06d}"


def write_sheets(fleet: Fleet, directory: Path) -> None:
    """Write all eight sheets into ``directory``, which is made where it is missing."""
    directory.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng([fleet.seed, 3])
    used = sorted({*map(int, fleet.first_medium), *map(int, fleet.plant.slots.medium)})
    media, stations = fleet.plant.media, fleet.plant.sky.climates
    for name, header, rows in (
        (
            "media",
            ("media", "nominal_size", "merv"),
            ((media.name(m), media.size(m), media.merv[m]) for m in used),
        ),
        ("media_points", ("media", "airflow_cfm", "clean_drop_inwc"), _points(fleet, used)),
        (
            "stations",
            ("station", "latitude", "longitude"),
            ((f"st{row}", climate.latitude, climate.longitude) for row, climate in enumerate(stations)),
        ),
        ("weather", ("station", "date", "mean_temp_f"), _weather(fleet)),
        ("installed", _INSTALLED, _installed(fleet, rng)),
        ("runtime", ("system", "date", "fan_hours"), _runtime(fleet, rng)),
        ("readings", ("filter_slot", "taken_at", "filter_drop_inwc", "airflow_cfm"), _readings(fleet)),
        ("changes", ("filter_slot", "changed_on", "media", "changed_by"), _changes(fleet)),
    ):
        _write(directory / f"{name}.csv", header, rows)


_INSTALLED = (
    "customer", "site", "system", "filter_slot", "nominal_size", "timezone", "weather_station", "system_kind",
    "capacity_tons", "design_airflow_cfm", "blower", *_STATICS, "media", "fitted_on", "limit_drop_inwc",
    "changed_by", "pets", "smokers",
)  # fmt: skip


def _write(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def _day(ordinal: int) -> str:
    return date.fromordinal(int(ordinal)).isoformat()


def _points(fleet: Fleet, used: list[int]) -> Iterator[Sequence[object]]:
    for medium in used:
        for airflow, drop in fleet.plant.media.points[medium]:
            yield fleet.plant.media.name(medium), f"{airflow / CFM:.0f}", f"{drop / INWC:.3f}"


def _weather(fleet: Fleet) -> Iterator[Sequence[object]]:
    for station, temps in enumerate(fleet.record.temps_c):
        for place, celsius in enumerate(temps):
            yield f"st{station}", _day(fleet.start + place), f"{celsius * 1.8 + 32:.1f}"


def _blank(value: float, places: int = 2) -> str:
    return "" if np.isnan(value) else f"{value:.{places}f}"


def _installed(fleet: Fleet, rng: np.random.Generator) -> Iterator[Sequence[object]]:
    plant, world = fleet.plant, fleet.plant.world
    houses = len(plant.systems.slots)
    facts_stated = rng.random(houses) < world.facts_stated
    unknown = rng.random(fleet.count) < world.fitted_unknown
    for slot, house in enumerate(plant.slots.house):
        systems, folk = plant.systems, plant.houses
        yield (
            f"c{house}", f"s{house}", f"y{house}", slot_name(slot),
            plant.media.size(fleet.first_medium[slot]),
            plant.sky.climates[folk.station[house, 0]].zone,
            f"st{folk.station[house, 0]}",
            "high_velocity" if systems.high_velocity[house] else "conventional",
            f"{systems.tons[house]:g}",
            f"{systems.design[house] / CFM:.0f}" if fleet.airflow_stated[house] else "",
            "constant_airflow" if systems.constant[house] else "fixed_speed",
            *(_blank(fleet.statics[name][house]) for name in _STATICS),
            plant.media.name(fleet.first_medium[slot]),
            "" if unknown[slot] else _day(fleet.began[house]),
            _blank(fleet.limit_pa[slot] / INWC if fleet.limit_given[slot] else np.nan),
            "",
            int(folk.pets[house, 0]) if facts_stated[house] else "",
            int(folk.smokers[house, 0]) if facts_stated[house] else "",
        )  # fmt: skip


def _runtime(fleet: Fleet, rng: np.random.Generator) -> Iterator[Sequence[object]]:
    """Logs with holes; some stop early, some systems have none."""
    world = fleet.plant.world
    for house, hours in enumerate(fleet.record.hours):
        if rng.random() >= world.logged:
            continue
        stops = fleet.as_of - (int(rng.integers(20, 300)) if rng.random() < world.log_stops else 0)
        missing = rng.random(len(hours)) < world.days_missing
        hole = int(rng.integers(0, len(hours)))
        missing[hole : hole + int(rng.integers(3, 45))] = True
        for place, ran in enumerate(hours):
            day = fleet.start + place
            if fleet.began[house] <= day <= stops and not missing[place]:
                yield f"y{house}", _day(day), f"{ran:.1f}"


def _readings(fleet: Fleet) -> Iterator[Sequence[object]]:
    seen: set[tuple[int, int, int]] = set()
    for slot, day, hour, drop, airflow in fleet.record.readings:
        if (slot, day, hour) not in seen:
            seen.add((slot, day, hour))
            yield slot_name(slot), f"{_day(day)}T{hour:02d}:00", f"{drop:.2f}", _blank(airflow, 0)


def _changes(fleet: Fleet) -> Iterator[Sequence[object]]:
    seen: set[tuple[int, int]] = set()
    for slot, day, medium, who in fleet.record.changes:
        if (slot, day) not in seen:
            seen.add((slot, day))
            yield slot_name(slot), _day(day), fleet.plant.media.name(medium) if medium >= 0 else "", who
