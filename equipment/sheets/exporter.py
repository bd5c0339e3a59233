"""The record as the sheets that the import reads.

What is exported is what the sheets can say: media and their labels, stations with weather and air, filter
slots in use with their systems, sites and who changes the filters there, and what ran, was read and was
changed there. Retired slots, replaced systems and customers who have gone are left out with all their days,
as no sheet can say that something is over: brought in again they would be in use. So are changes that were
taken back, systems without a slot and sites without a system. Who told of a change, names of people (whoever
changes the filters comes back under the customer's), other people of a home, visits, letters and plans stand
in no sheet. Sites without a zone of their own follow the desk's, which no
sheet carries: an empty desk that is to give the same dates needs the same zone first.

The same record gives the same bytes: rows are in the order of their names' code points and of their days.
"""

import csv
from collections.abc import Callable, Generator, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import numpy as np
from django.db import connection
from django.db.models import QuerySet
from django.db.models.functions import Collate

from equipment.fan_log import fan_log
from equipment.models import (
    AirDay,
    Desk,
    FilterChange,
    FilterSlot,
    Media,
    MediaPoint,
    Reading,
    Station,
    System,
    WeatherDay,
)
from equipment.sheets import rows, written
from equipment.sheets.columns import Column
from equipment.sheets.context import batches
from equipment.sheets.importer import SHEETS
from equipment.sheets.one_moment import one_moment
from equipment.sheets.people import filter_changers
from equipment.sheets.rows import Written
from shared import clock
from shared.cells import unmarked
from shared.files import replacing

_CHUNK, _FEW, _FEW_OF_DAYS = 2000, 500, 20
_WHOLE_DAY = 24


@dataclass(frozen=True)
class OutSheet:
    """A sheet on its way out: its name, its header, and its rows, each a cell a column."""

    name: str
    header: list[str]
    rows: Iterator[list[str]]


def sheets_out() -> Generator[OutSheet, None, None]:
    """Every sheet in the import's order, in bounded memory; air.csv only where there is any.

    The rows of one sheet have to be taken before the next is asked for.
    """
    desk_zone = Desk.the().timezone
    with one_moment():
        for name, columns, _load in SHEETS:
            if name != "air.csv" or AirDay.objects.exists():
                cells = (_row(columns, row) for row in _ROWS[name](desk_zone))
                yield OutSheet(name, [column.name for column in columns], cells)


def export_sheets(directory: Path) -> dict[str, int]:
    """Write every sheet into ``directory``, each whole or not at all; how many rows each has.

    A sheet that would be empty of air is taken away, so that the directory holds this record alone.
    Raises OSError where nothing can be written.
    """
    counts: dict[str, int] = {}
    for sheet in sheets_out():
        with replacing(directory / sheet.name) as file:
            writer = csv.writer(file)
            writer.writerow(sheet.header)
            counts[sheet.name] = 0
            for row in sheet.rows:
                writer.writerow(row)
                counts[sheet.name] += 1
    for name, _columns, _load in SHEETS:
        if name not in counts:
            (directory / name).unlink(missing_ok=True)
    return counts


def _row(columns: tuple[Column, ...], cells: Written) -> list[str]:
    """In the columns' order; a cell that the import would refuse is left empty where it may be."""
    return [
        cells[column.name]
        if column.required or not cells[column.name]
        else _taken(column, cells[column.name])
        for column in columns
    ]


def _taken(column: Column, cell: str) -> str:
    return cell if written.taken(unmarked(cell), column.parse) else ""


def _by(field: str) -> Collate:
    """By code points, whatever the database's own order of letters is."""
    return Collate(field, "BINARY" if connection.vendor == "sqlite" else "C")


def _media(desk_zone: str) -> Iterator[Written]:
    for media in Media.objects.order_by(_by("name")).iterator(_CHUNK):
        yield rows.media_cells(media)


def _points(desk_zone: str) -> Iterator[Written]:
    points = MediaPoint.objects.select_related("media").order_by(_by("media__name"), "airflow_m3s")
    for point in points.iterator(_CHUNK):
        yield rows.point_cells(point)


def _stations(desk_zone: str) -> Iterator[Written]:
    for station in Station.objects.order_by(_by("name")).iterator(_CHUNK):
        yield rows.station_cells(station)


def _weather(desk_zone: str) -> Iterator[Written]:
    days = WeatherDay.objects.order_by(_by("station__name"), "day")
    for name, day, mean in days.values_list("station__name", "day", "mean_temp_c").iterator(_CHUNK):
        yield {
            "station": written.text(name),
            "date": day.isoformat(),
            "mean_temp_f": written.fahrenheit(mean),
        }


def _air(desk_zone: str) -> Iterator[Written]:
    zone = clock.zone(desk_zone)
    days = AirDay.objects.select_related("station").order_by(_by("station__name"), "day")
    for air in days.iterator(_CHUNK):
        station = written.text(air.station.name)
        if air.hours >= _WHOLE_DAY:
            yield {
                "station": station,
                "time": air.day.isoformat(),
                "pm25_ugm3": written.number(air.pm25_ugm3),
            }
            continue
        # As many hours as were known, each at the mean, in so few figures that their mean is written alike.
        for at in _hours(air, zone):
            yield {"station": station, "time": at, "pm25_ugm3": f"{air.pm25_ugm3:.12g}"}


def _hours(air: AirDay, zone: Any) -> list[str]:
    """The first hours of the desk's day, as many as have a value."""
    walk = (datetime.combine(air.day, time(hour), zone) for hour in range(_WHOLE_DAY))
    there = [at for at in walk if not clock.skipped(at.replace(tzinfo=None), zone)]
    return [at.isoformat(timespec="minutes") for at in there[: air.hours]]


def _slots() -> QuerySet[FilterSlot]:
    return FilterSlot.objects.in_use()


def _installed(desk_zone: str) -> Iterator[Written]:
    slots = _slots().select_related("system__site__customer", "system__site__station", "first_media")
    for some in batches(slots.order_by(_by("name")).iterator(_CHUNK), _CHUNK):
        people = filter_changers({slot.system.site_id for slot in some})
        for slot in some:
            system, site = slot.system, slot.system.site
            yield (
                rows.person_cells(people.get(site.pk))
                | rows.site_cells(site, desk_zone)
                | rows.system_cells(system)
                | rows.slot_cells(slot)
            )


def _runtime(desk_zone: str) -> Iterator[Written]:
    systems = System.objects.filter(pk__in=_slots().values("system")).order_by(_by("name"))
    # Few: each brings its days along.
    for some in batches(systems.values_list("pk", "name").iterator(_CHUNK), _FEW_OF_DAYS):
        place = {pk: (number, written.text(name)) for number, (pk, name) in enumerate(some)}
        log = fan_log(place, date.max)
        numbers = np.array([place[pk][0] for pk in log.system.tolist()], dtype=np.int64)
        for row in np.lexsort((log.day, numbers)).tolist():
            yield {
                "system": place[int(log.system[row])][1],
                "date": date.fromordinal(int(log.day[row])).isoformat(),
                "fan_hours": written.number(float(log.hours[row])),
            }


def _of_slots(rows: QuerySet[Any]) -> Iterator[Any]:
    """The rows of the slots in use, by name: some slots at a time, as databases otherwise seek every row's
    slot among all of them where nobody has counted their tables yet."""
    slots = _slots().order_by(_by("name")).values_list("pk", flat=True)
    for some in batches(slots.iterator(_CHUNK), _FEW):
        yield from rows.filter(slot__in=some).iterator(_CHUNK)


def _readings(desk_zone: str) -> Iterator[Written]:
    readings = Reading.objects.select_related("slot__system__site").order_by(_by("slot__name"), "taken_at")
    for reading in _of_slots(readings):
        zone = clock.zone(rows.zone_of_site(reading.slot.system.site, desk_zone))
        yield {
            "filter_slot": written.text(reading.slot.name),
            "taken_at": written.instant(reading.taken_at, zone),
            "filter_drop_inwc": written.inwc(reading.filter_drop_pa),
            "airflow_cfm": written.cfm(reading.airflow_m3s),
        }


def _changes(desk_zone: str) -> Iterator[Written]:
    changes = FilterChange.objects.filter(undone_at=None).select_related("slot__system__site", "media")
    for change in _of_slots(changes.order_by(_by("slot__name"), "changed_at")):
        zone = clock.zone(rows.zone_of_site(change.slot.system.site, desk_zone))
        yield {
            "filter_slot": written.text(change.slot.name),
            "changed_on": written.day_or_instant(change.changed_on, change.changed_at, zone),
            "media": written.text(change.media.name) if change.media else "",
            "changed_by": change.changed_by,
        }


_ROWS: dict[str, Callable[[str], Iterator[Written]]] = {
    "media.csv": _media,
    "media_points.csv": _points,
    "stations.csv": _stations,
    "weather.csv": _weather,
    "air.csv": _air,
    "installed.csv": _installed,
    "runtime.csv": _runtime,
    "readings.csv": _readings,
    "changes.csv": _changes,
}
