"""air.csv: fine dust of the air at a station, by the hour or by the day, kept as daily means."""

from collections import defaultdict
from datetime import UTC, date, datetime, timedelta

from equipment import weather_trace
from equipment.models import AirDay, Station, WeatherBefore
from equipment.sheets import columns as c
from equipment.sheets.ahead import Ahead
from equipment.sheets.columns import Column
from equipment.sheets.context import Import, batches
from equipment.sheets.daily import SeenNumbers
from equipment.sheets.faults import Refused
from equipment.sheets.same import same
from equipment.sheets.table import Cells, Sheet
from equipment.sheets.tally import Difference, Tally
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
        self.lines: dict[Key, int] = {}
        self.twice = 0
        self._seen_hours, self._seen_days = SeenNumbers(), SeenNumbers()

    def add(self, station: int, day: date, hour: int | None, value: float, line: int) -> bool:
        """Take the value of a line in; False where its day or hour was given with another one."""
        seen, place = (self._seen_days, day.toordinal()) if hour is None else (self._seen_hours, hour)
        other = seen.other(station, place, value)
        self.lines.setdefault((station, day), line)
        self.twice += other is False
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
    intake = _Intake(sheet, run.desk_zone, Ahead(sheet, run, "time"))
    for cells in sheet.rows(every=True):
        intake.take(cells)
    intake.ahead.remark()
    means = intake.days.means()
    run.tally.count(sheet.name, same=intake.days.twice)
    for some in batches(means, 500):
        fresh = _unlike_stored({key: means[key] for key in some}, known := _stored(some))
        _count(sheet.name, run.tally, intake.days, some, fresh, known)
        over = [(pk, day, known[pk, day][0]) for pk, day, _mean, _hours in fresh if (pk, day) in known]
        weather_trace.note(WeatherBefore.Figure.FINE_DUST, over, sheet.name, run.now)
        AirDay.objects.bulk_create(
            [AirDay(station_id=pk, day=day, pm25_ugm3=mean, hours=hours) for pk, day, mean, hours in fresh],
            update_conflicts=True,
            unique_fields=["station", "day"],
            update_fields=["pm25_ugm3", "hours"],
        )
        run.stations |= {pk for pk, _, _, _ in fresh}
        run.changed(sheet.name, len(fresh))
    run.progress(sheet.name, run.report.rows[sheet.name])


class _Intake:
    """Rows of air.csv, each taken into the days of its station or refused with every fault."""

    def __init__(self, sheet: Sheet, desk_zone: str, ahead: Ahead) -> None:
        self.sheet, self.zone, self.ahead = sheet, desk_zone, ahead
        self.owners = dict(Station.objects.values_list("name", "pk"))
        self.days, self._of_strangers = _Days(), _Days()
        self._strangers: dict[str, int] = {}

    def take(self, cells: Cells) -> None:
        """Take a row in, or note what is wrong with it."""
        name = cells.values.get("station", "")
        station, placed = self.owners.get(name), self._placed(cells)
        if name and station is None:
            self.sheet.refuse(cells.line, "station", name, self.sheet.report.unknown("station", name))
        if placed is None or not cells.good:
            return
        if station is None:
            # Below nought, where no station is.
            stranger = self._strangers.setdefault(name, -1 - len(self._strangers))
            self._add(cells, stranger, placed, self._of_strangers)
        elif self._add(cells, station, placed, self.days):
            self.ahead.note(placed[0], cells.line)

    def _add(self, cells: Cells, station: int, placed: tuple[date, int | None], days: _Days) -> bool:
        day, hour = placed
        key = (station, day if hour is None else hour)
        if self.sheet.disputed(key, cells, "time"):
            return False
        if (station, day) in (days.sums if hour is None else days.whole):
            why = "this day stands both as a whole and by its hours"
            self.sheet.refuse(cells.line, "time", cells.typed["time"], why)
            return False
        agrees = days.add(station, day, hour, cells.values["pm25_ugm3"], cells.line)
        if not agrees:
            self.sheet.dispute.found(key, cells.line)
        return agrees

    def _placed(self, cells: Cells) -> tuple[date, int | None] | None:
        """The desk's day and the hour counted from 1950 (None for a day alone); None where refused."""
        time = cells.values.get("time")
        if time is None:
            return None
        try:
            placed = _day_and_hour(time, self.zone)
            self.ahead.check(placed[0])
        except Refused as refused:
            self.sheet.refuse(cells.line, "time", cells.typed["time"], str(refused))
            return None
        return placed


def _day_and_hour(time: date | datetime, zone: str) -> tuple[date, int | None]:
    """Raises Refused for what is no whole hour."""
    if not isinstance(time, datetime):
        return time, None
    if time.minute or time.second or time.microsecond:
        raise Refused("is not a whole hour; give one value an hour, or one a day")
    at = c.at_instant(time, zone)
    return clock.local_day(at, clock.zone(zone)), (at - _EPOCH) // timedelta(hours=1)


def _stored(keys: list[Key]) -> dict[Key, tuple[float, int]]:
    owners, days = {pk for pk, _ in keys}, {day for _, day in keys}
    rows = AirDay.objects.filter(station__in=owners, day__range=(min(days), max(days)))
    return {(pk, day): (mean, hours) for pk, day, mean, hours in rows.values_list(
        "station", "day", "pm25_ugm3", "hours")}  # fmt: skip


def _unlike_stored(
    means: dict[Key, tuple[float, int]], stored: dict[Key, tuple[float, int]]
) -> list[tuple[int, date, float, int]]:
    """Days that are new, or other than stored and of no fewer hours."""
    fresh = []
    for (pk, day), (mean, hours) in means.items():
        known = stored.get((pk, day))
        if known is None or (hours >= known[1] and not (hours == known[1] and same(mean, known[0]))):
            fresh.append((pk, day, mean, hours))
    return fresh


def _count(
    sheet: str, tally: Tally, days: _Days, keys: list[Key], fresh: list[tuple[int, date, float, int]],
    stored: dict[Key, tuple[float, int]],
) -> None:  # fmt: skip
    """Every row as its day: a day given by its hours has one a row."""
    rows = {key: days.hours.get(key, 1) for key in keys}
    other = {(pk, day): (mean, hours) for pk, day, mean, hours in fresh}
    for key, count in rows.items():
        if key not in other:
            tally.count(sheet, same=count)
        elif key not in stored:
            tally.count(sheet, new=count)
            tally.note((sheet, days.lines[key]))
        else:
            tally.count(sheet, changed=count)
            cells = (_told(*stored[key]), _told(*other[key]))
            tally.differ(Difference(sheet, days.lines[key], "pm25_ugm3", *cells))


def _told(mean: float, hours: int) -> str:
    return f"{mean:.12g}" if hours == _WHOLE_DAY else f"{mean:.12g} ({hours} h)"
