"""air.csv: fine dust of the air at a station, by the hour or by the day, kept as daily means."""

from collections import defaultdict
from datetime import UTC, date, datetime, timedelta

from equipment.models import AirDay, Station
from equipment.sheets import columns as c
from equipment.sheets.columns import Column
from equipment.sheets.context import STILL_TO_COME, Import, batches
from equipment.sheets.daily import SeenNumbers
from equipment.sheets.faults import Refused
from equipment.sheets.same import same
from equipment.sheets.table import Cells, Sheet
from shared import clock

AIR = (
    Column("station", c.name, required=True),
    Column("time", c.day_or_instant, required=True),
    Column("pm25_ugm3", c.number(0, 10_000, "µg/m³"), required=True),
)
_WHOLE_DAY = 24
_EPOCH = datetime(1950, 1, 1, tzinfo=UTC)

Key = tuple[int, date]


class _Days:
    """Sums and numbers of hours by station and day, as the rows come."""

    def __init__(self) -> None:
        self.sums: dict[Key, float] = defaultdict(float)
        self.hours: dict[Key, int] = defaultdict(int)
        self.whole: dict[Key, float] = {}
        self._seen_hours, self._seen_days = SeenNumbers(), SeenNumbers()

    def add(self, station: int, day: date, hour: int | None, value: float) -> bool:
        """Take a value in; False where its day or hour was given with another one."""
        seen, place = (self._seen_days, day.toordinal()) if hour is None else (self._seen_hours, hour)
        other = seen.other(station, place, value)
        if other is None and hour is None:
            self.whole[station, day] = value
        elif other is None:
            self.sums[station, day] += value
            self.hours[station, day] += 1
        return not other

    def means(self) -> dict[Key, tuple[float, int]]:
        """Mean and number of hours by station and day."""
        found = {key: (value, _WHOLE_DAY) for key, value in self.whole.items()}
        return found | {
            key: (total / self.hours[key], min(self.hours[key], _WHOLE_DAY))
            for key, total in self.sums.items()
        }


def load_air(sheet: Sheet, run: Import) -> None:
    """Store air.csv: a time without an offset is the desk's own; a day alone gives its mean.

    A stored day gives way to one that has as many hours or more, so that a day brought in two parts does
    not lose the larger.
    """
    days = _Days()
    owners = dict(Station.objects.values_list("name", "pk"))
    for cells in sheet.rows():
        _take(sheet, run, cells, owners, days)
    means = days.means()
    for some in batches(means, 500):
        fresh = _unlike_stored({key: means[key] for key in some})
        AirDay.objects.bulk_create(
            [AirDay(station_id=pk, day=day, pm25_ugm3=mean, hours=hours) for pk, day, mean, hours in fresh],
            update_conflicts=True,
            unique_fields=["station", "day"],
            update_fields=["pm25_ugm3", "hours"],
        )
        run.stations |= {pk for pk, _, _, _ in fresh}
        run.changed(sheet.name, len(fresh))
    run.progress(sheet.name, run.report.rows[sheet.name])


def _take(sheet: Sheet, run: Import, cells: Cells, owners: dict[str, int], days: _Days) -> None:
    name, time, value = cells.values["station"], cells.values["time"], cells.values["pm25_ugm3"]
    station = owners.get(name)
    if station is None:
        sheet.refuse(cells.line, "station", name, sheet.report.unknown("station", name))
        return
    try:
        day, hour = _placed(time, run)
    except Refused as refused:
        sheet.refuse(cells.line, "time", cells.typed["time"], str(refused))
        return
    key = (station, day if hour is None else hour)
    if sheet.disputed(key, cells, "time"):
        return
    mixed = (station, day) in (days.sums if hour is None else days.whole)
    if mixed:
        sheet.refuse(
            cells.line, "time", cells.typed["time"], "this day stands both as a whole and by its hours"
        )
    elif not days.add(station, day, hour, value):
        sheet.dispute.found(key, cells.line)


def _placed(time: date | datetime, run: Import) -> tuple[date, int | None]:
    """The desk's day, and the hour counted from 1950; None for a day alone. Raises Refused."""
    if not isinstance(time, datetime):
        if time > run.last_day():
            raise Refused(STILL_TO_COME)
        return time, None
    if time.minute or time.second or time.microsecond:
        raise Refused("is not a whole hour; give one value an hour, or one a day")
    at = c.at_instant(time, run.desk_zone)
    if at > run.now + timedelta(hours=1):
        raise Refused(STILL_TO_COME)
    return clock.local_day(at, clock.zone(run.desk_zone)), (at - _EPOCH) // timedelta(hours=1)


def _unlike_stored(means: dict[Key, tuple[float, int]]) -> list[tuple[int, date, float, int]]:
    """Days that are new, or other than stored and of no fewer hours."""
    owners, days = {pk for pk, _ in means}, {day for _, day in means}
    rows = AirDay.objects.filter(station__in=owners, day__range=(min(days), max(days)))
    stored = {(pk, day): (mean, hours) for pk, day, mean, hours in rows.values_list(
        "station", "day", "pm25_ugm3", "hours")}  # fmt: skip
    fresh = []
    for (pk, day), (mean, hours) in means.items():
        known = stored.get((pk, day))
        if known is None or (hours >= known[1] and not (hours == known[1] and same(mean, known[0]))):
            fresh.append((pk, day, mean, hours))
    return fresh
