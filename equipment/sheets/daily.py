"""runtime.csv and weather.csv: one number a day, in any quantity, in bounded memory."""

import math
from array import array
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db import connection, transaction

from equipment import runtime_trace, weather_trace
from equipment.fan_log import fan_log
from equipment.models import RuntimeDay, Station, System, WeatherBefore, WeatherDay
from equipment.sheets import columns as c
from equipment.sheets import written
from equipment.sheets.ahead import Ahead
from equipment.sheets.columns import Column
from equipment.sheets.context import Import, batches
from equipment.sheets.faults import Refused
from equipment.sheets.same import same
from equipment.sheets.table import Cells, Sheet
from equipment.sheets.tally import Difference, Tally
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
    written: Callable[[float], str]


# Owner, day, value and the line of the sheet.
_Day = tuple[int, date, float, int]

_RUNTIME = Series(
    "system", "fan_hours", "system", RuntimeDay._meta.db_table, "system_id", "fan_hours", written.number
)
_WEATHER = Series(
    "station", "mean_temp_f", "station", WeatherDay._meta.db_table, "station_id", "mean_temp_c",
    written.fahrenheit,
)  # fmt: skip


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
    rows = [(station.pk, day, value, 0) for day, value in means_c.items()]
    with transaction.atomic():
        fresh = _unlike_stored(rows, _WEATHER) if rows else {}
        _trace(fresh, _WEATHER, "daily file", now)
        _upsert(fresh, _WEATHER)
        if fresh:
            Station.objects.filter(pk=station.pk).update(weather_changed_at=now)
    return len(fresh)


def _load(
    sheet: Sheet, run: Import, series: Series, owners: dict[str, int], zones: dict[int, str] | None
) -> set[int]:
    touched: set[int] = set()
    ahead = Ahead(sheet, run, "date")
    good = _good_rows(sheet, _Rules(series, owners, zones, ahead, run.tally))
    for batch in batches(good, 10_000):
        fresh = _unlike_stored(batch, series)
        _trace(fresh, series, sheet.name, run.now)
        _upsert(fresh, series)
        _count(sheet.name, run.tally, series, len(batch), fresh)
        touched |= {row[0] for row in fresh}
        run.changed(sheet.name, len(fresh))
        run.progress(sheet.name, run.report.rows[sheet.name])
    ahead.remark()
    return touched


@dataclass(frozen=True)
class _Rules:
    """What the rows of a daily sheet are held to."""

    series: Series
    owners: dict[str, int]
    zones: dict[int, str] | None
    ahead: Ahead
    tally: Tally


def _good_rows(sheet: Sheet, rules: _Rules) -> Iterator[_Day]:
    seen, strangers = SeenNumbers(), _Strangers()
    owners, owner_column, tomorrow = rules.owners, rules.series.owner_column, rules.ahead.tomorrow
    longest = 24 if rules.zones is not None else math.inf
    for cells in sheet.rows(every=True):
        owner = owners.get(cells.values.get(owner_column, ""))
        if owner is None or not cells.good:
            _list_faults(sheet, cells, rules, strangers)
            continue
        day, value = cells.values["date"], cells.values[rules.series.value_column]
        if (day > tomorrow or value > longest) and not _may_be(sheet, cells, rules):
            continue
        if sheet.disputed((owner, day), cells, "date"):
            continue
        other = seen.other(owner, day.toordinal(), value)
        if other is None:
            rules.ahead.note(day, cells.line)
            yield owner, day, value, cells.line
        elif other:
            sheet.dispute.found((owner, day), cells.line)
        else:
            rules.tally.count(sheet.name, same=1)


class _Strangers:
    """What rows say of owners that nobody knows, to find what stands twice there too."""

    def __init__(self) -> None:
        self.ids: dict[str, int] = {}
        self.seen = SeenNumbers()

    def contradicted(self, key: tuple[str, date], value: float) -> bool:
        """Whether a row before gave another value."""
        owner = self.ids.setdefault(key[0], len(self.ids))
        return bool(self.seen.other(owner, key[1].toordinal(), value))


def _list_faults(sheet: Sheet, cells: Cells, rules: _Rules, strangers: _Strangers) -> None:
    """What else is wrong with a row that is refused anyway."""
    column, row = rules.series.owner_column, cells.values
    name = row.get(column, "")
    stranger = bool(name) and name not in rules.owners
    if stranger:
        sheet.refuse(cells.line, column, name, sheet.report.unknown(rules.series.what, name))
    if not (_may_be(sheet, cells, rules) and cells.good and stranger):
        return
    key, value = (name, row["date"]), row[rules.series.value_column]
    if not sheet.disputed(key, cells, "date") and strangers.contradicted(key, value):
        sheet.dispute.found(key, cells.line)


def _may_be(sheet: Sheet, cells: Cells, rules: _Rules) -> bool:
    """Whether the row's day may be on record and has so many hours; every fault of these is noted."""
    day = cells.values.get("date")
    if day is None:
        return False
    good, owner = True, rules.owners.get(cells.values.get(rules.series.owner_column, ""))
    try:
        rules.ahead.check(day)
    except Refused as refused:
        sheet.refuse(cells.line, "date", cells.typed["date"], str(refused))
        good = False
    value = cells.values.get(rules.series.value_column)
    if rules.zones is not None and owner is not None and value is not None and value > 24:
        good = _long_day(sheet, cells, rules.zones[owner]) and good
    return good


def _long_day(sheet: Sheet, cells: Cells, zone_name: str) -> bool:
    length = clock.hours_in_day(cells.values["date"], clock.zone(zone_name))
    if cells.values["fan_hours"] <= length:
        return True
    hours = cells.typed["fan_hours"]
    sheet.refuse(cells.line, "fan_hours", hours, f"that day has {length:g} hours in {zone_name}")
    return False


def _stored(batch: list[_Day], series: Series) -> dict[tuple[int, date], float]:
    """What is on record of the batch's owners between its first day and its last."""
    owners, days = sorted({row[0] for row in batch}), [row[1] for row in batch]
    if series is _RUNTIME:
        return fan_log(owners, max(days), since=min(days)).by_day()
    stored: dict[tuple[int, date], float] = {}
    for some in batches(owners, 500):
        rows = WeatherDay.objects.filter(station__in=some, day__range=(min(days), max(days)))
        for owner, day, value in rows.values_list("station_id", "day", "mean_temp_c"):
            stored[owner, day] = value
    return stored


def _unlike_stored(batch: list[_Day], series: Series) -> dict[_Day, float | None]:
    """The rows of a batch that are new or have another value than the stored row, with that value."""
    stored = _stored(batch, series)
    known = ((row, stored.get(row[:2])) for row in batch)
    return {row: value for row, value in known if value is None or not same(value, row[2])}


def _trace(fresh: dict[_Day, float | None], series: Series, source: str, now: datetime) -> None:
    replaced = [(pk, day, was) for (pk, day, _value, _line), was in fresh.items() if was is not None]
    if series is _RUNTIME:
        runtime_trace.note(replaced, source, now)
    else:
        weather_trace.note(WeatherBefore.Figure.TEMPERATURE, replaced, source, now)


def _upsert(rows: Iterable[_Day], series: Series) -> None:
    # Model objects for millions of three-number rows cost more than the rows themselves.
    owner, value = series.owner_field, series.value_field
    sql = (
        f"INSERT INTO {series.table} ({owner}, day, {value}) VALUES (%s, %s, %s) "  # noqa: S608
        f"ON CONFLICT ({owner}, day) DO UPDATE SET {value} = excluded.{value}"
    )
    values = [(pk, day.isoformat(), amount) for pk, day, amount, _line in rows]
    if values:
        with connection.cursor() as cursor:
            cursor.executemany(sql, values)


def _count(sheet: str, tally: Tally, series: Series, rows: int, fresh: dict[_Day, float | None]) -> None:
    new = [row[3] for row, before in fresh.items() if before is None]
    tally.count(sheet, new=len(new), changed=len(fresh) - len(new), same=rows - len(fresh))
    if new:
        tally.note((sheet, new))
    for (_owner, _day, value, line), before in fresh.items():
        if before is not None:
            cells = (series.written(before), series.written(value))
            tally.differ(Difference(sheet, line, series.value_column, *cells))
