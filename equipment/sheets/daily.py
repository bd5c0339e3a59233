"""runtime.csv and weather.csv: one number a day, in any quantity, in bounded memory."""

import math
from array import array
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db import connection, transaction

from equipment.models import RuntimeDay, Station, System, WeatherDay
from equipment.sheets import columns as c
from equipment.sheets.columns import Column
from equipment.sheets.context import STILL_TO_COME, Import, batches
from equipment.sheets.table import Cells, Sheet
from shared import clock, units

RUNTIME = (
    Column("system", c.name, required=True),
    Column("date", c.day, required=True),
    Column("fan_hours", c.number(0, 25, "hours"), required=True),
)
WEATHER = (
    Column("station", c.name, required=True),
    Column("date", c.day, required=True),
    Column("mean_temp_f", c.scaled(c.number(-130, 140, "°F"), units.celsius), required=True),
)


@dataclass(frozen=True)
class Series:
    """Where the rows of a daily sheet go."""

    owner_column: str
    value_column: str
    what: str
    table: str
    owner_field: str
    value_field: str


_RUNTIME = Series("system", "fan_hours", "system", RuntimeDay._meta.db_table, "system_id", "fan_hours")
_WEATHER = Series("station", "mean_temp_f", "station", WeatherDay._meta.db_table, "station_id", "mean_temp_c")


class SeenNumbers:
    """Values by owner and day or hour, counted from any first one, at eight bytes each: to find what
    stands twice."""

    def __init__(self) -> None:
        self._by_owner: dict[int, tuple[int, array[float]]] = {}

    def other(self, owner: int, ordinal: int, value: float) -> bool | None:
        """None when the day or hour is new, else whether it stands with another value."""
        first, values = self._by_owner.setdefault(owner, (ordinal, array("d")))
        if ordinal < first:
            values = array("d", [math.nan] * (first - ordinal)) + values
            first = ordinal
            self._by_owner[owner] = (first, values)
        place = ordinal - first
        if place >= len(values):
            values.extend([math.nan] * (place + 1 - len(values)))
        known = values[place]
        if math.isnan(known):
            values[place] = value
            return None
        return known != value


def load_runtime(sheet: Sheet, run: Import) -> None:
    """Store runtime.csv."""
    zones = {pk: zone or run.desk_zone for pk, zone in System.objects.values_list("pk", "site__timezone")}
    owners = dict(System.objects.values_list("name", "pk"))
    run.systems |= _load(sheet, run, _RUNTIME, owners, zones)


def load_weather(sheet: Sheet, run: Import) -> None:
    """Store weather.csv."""
    run.stations |= _load(sheet, run, _WEATHER, dict(Station.objects.values_list("name", "pk")), None)


def store_weather(station: Station, means_c: dict[date, float], now: datetime) -> int:
    """Store daily means of one station, both or neither with its stamp; how many were new or other."""
    rows = [(station.pk, day, value) for day, value in means_c.items()]
    with transaction.atomic():
        fresh = _unlike_stored(rows, _WEATHER) if rows else []
        _upsert(fresh, _WEATHER)
        if fresh:
            Station.objects.filter(pk=station.pk).update(weather_changed_at=now)
    return len(fresh)


def _load(
    sheet: Sheet, run: Import, series: Series, owners: dict[str, int], zones: dict[int, str] | None
) -> set[int]:
    touched: set[int] = set()
    good = _good_rows(sheet, series, owners, zones, run.last_day())
    for batch in batches(good, 10_000):
        fresh = _unlike_stored(batch, series)
        _upsert(fresh, series)
        touched |= {owner for owner, _, _ in fresh}
        run.changed(sheet.name, len(fresh))
        run.progress(sheet.name, run.report.rows[sheet.name])
    return touched


def _good_rows(
    sheet: Sheet, series: Series, owners: dict[str, int], zones: dict[int, str] | None, last_day: date
) -> Iterator[tuple[int, date, float]]:
    seen = SeenNumbers()
    for cells in sheet.rows():
        owner = owners.get(cells.values[series.owner_column])
        day, value = cells.values["date"], cells.values[series.value_column]
        if owner is None:
            name = cells.values[series.owner_column]
            sheet.refuse(cells.line, series.owner_column, name, sheet.report.unknown(series.what, name))
            continue
        if day > last_day:
            sheet.refuse(cells.line, "date", cells.typed["date"], STILL_TO_COME)
            continue
        if zones is not None and value > 24 and not _long_day(sheet, cells, zones[owner]):
            continue
        if sheet.disputed((owner, day), cells, "date"):
            continue
        other = seen.other(owner, day.toordinal(), value)
        if other is None:
            yield owner, day, value
        elif other:
            sheet.dispute.found((owner, day), cells.line)


def _long_day(sheet: Sheet, cells: Cells, zone_name: str) -> bool:
    length = clock.hours_in_day(cells.values["date"], clock.zone(zone_name))
    if cells.values["fan_hours"] <= length:
        return True
    hours = cells.typed["fan_hours"]
    sheet.refuse(cells.line, "fan_hours", hours, f"that day has {length:g} hours in {zone_name}")
    return False


def _unlike_stored(batch: list[tuple[int, date, float]], series: Series) -> list[tuple[int, date, float]]:
    """The rows of a batch that are new or have another value than the stored row."""
    owners = sorted({owner for owner, _, _ in batch})
    days = [day for _, day, _ in batch]
    stored: dict[tuple[int, date], float] = {}
    model = RuntimeDay if series is _RUNTIME else WeatherDay
    for some in batches(owners, 500):
        rows = model.objects.filter(**{f"{series.owner_field}__in": some}, day__range=(min(days), max(days)))
        for owner, day, value in rows.values_list(series.owner_field, "day", series.value_field):
            stored[owner, day] = value
    return [
        row
        for row in batch
        if not math.isclose(stored.get(row[:2], math.inf), row[2], rel_tol=1e-9, abs_tol=1e-12)
    ]


def _upsert(rows: list[tuple[int, date, float]], series: Series) -> None:
    if not rows:
        return
    # Model objects for millions of three-number rows cost more than the rows themselves.
    owner, value = series.owner_field, series.value_field
    sql = (
        f"INSERT INTO {series.table} ({owner}, day, {value}) VALUES (%s, %s, %s) "  # noqa: S608
        f"ON CONFLICT ({owner}, day) DO UPDATE SET {value} = excluded.{value}"
    )
    with connection.cursor() as cursor:
        cursor.executemany(sql, [(pk, day.isoformat(), amount) for pk, day, amount in rows])
