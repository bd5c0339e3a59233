"""A time zone as calendars write it: VTIMEZONE with the rules of its changes (RFC 5545, section 3.6.5)."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import groupby
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard
from icalendar.prop import vRecur

# Rules are taken for what they are when they held for so many years on end.
YEARS = 10
_DAYS = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
_NEVER_CHANGED = datetime(1970, 1, 1)  # noqa: DTZ001  the moment that VTIMEZONE wants is a wall clock's


@dataclass(frozen=True)
class Change:
    """A change of the clocks: ``wall`` is what they showed the moment before it."""

    wall: datetime
    before: timedelta
    after: timedelta
    name: str
    summer: bool

    @property
    def kind(self) -> tuple[str, timedelta, timedelta, bool]:
        """What changes with the same rule have in common."""
        return self.name, self.before, self.after, self.summer


@lru_cache(maxsize=256)
def zone_rules(key: str, year: int) -> bytes:
    """The VTIMEZONE of the zone named ``key`` for events from ``year`` on."""
    tz, zone = ZoneInfo(key), Timezone()
    zone.add("tzid", key)
    changes = list(_changes(tz, year - 1, year + YEARS))
    if not changes:
        zone.add_component(_fixed(tz, year))
    for _kind, same in groupby(sorted(changes, key=lambda one: (one.kind, one.wall)), lambda one: one.kind):
        zone.add_component(_part(list(same), year))
    return bytes(zone.to_ical())


def _changes(tz: ZoneInfo, first: int, last: int) -> Iterator[Change]:
    """The changes of the offset from the first year to the last, to the minute."""
    at, end = datetime(first, 1, 1, tzinfo=UTC), datetime(last + 1, 1, 1, tzinfo=UTC)
    while at < end:
        later = at + timedelta(days=1)
        if _offset(at, tz) != _offset(later, tz):
            yield _change(_moment(at, later, tz), tz)
        at = later


def _moment(at: datetime, later: datetime, tz: ZoneInfo) -> datetime:
    """The first minute of the new offset, found by halves."""
    low, high = 0, int((later - at).total_seconds() // 60)
    before = _offset(at, tz)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _offset(at + timedelta(minutes=middle), tz) == before else (low, middle)
    return at + timedelta(minutes=high)


def _change(at: datetime, tz: ZoneInfo) -> Change:
    local, before = at.astimezone(tz), _offset(at - timedelta(minutes=1), tz)
    wall = (at + before).replace(tzinfo=None)
    return Change(wall, before, _offset(at, tz), local.tzname() or tz.key, bool(local.dst()))


def _offset(at: datetime, tz: ZoneInfo) -> timedelta:
    return at.astimezone(tz).utcoffset() or timedelta()


def _part(changes: list[Change], year: int) -> TimezoneStandard | TimezoneDaylight:
    """The changes of one kind: by a rule where they keep one to the end, else each by its date."""
    first = changes[0]
    part = TimezoneDaylight() if first.summer else TimezoneStandard()
    part.add("dtstart", first.wall)
    part.add("tzname", first.name)
    part.add("tzoffsetfrom", first.before)
    part.add("tzoffsetto", first.after)
    rule = _rule(changes)
    if rule is not None and changes[-1].wall.year == year + YEARS:
        part.add("rrule", rule)
    elif changes[1:]:
        part.add("rdate", [change.wall for change in changes[1:]])
    return part


def _rule(changes: list[Change]) -> vRecur | None:
    """Such as the second Sunday of March every year; None where the changes keep no such rule."""
    walls = [change.wall for change in changes]
    years = [wall.year for wall in walls]
    alike = {(wall.month, wall.weekday(), wall.time()) for wall in walls}
    if len(alike) != 1 or years != list(range(years[0], years[0] + len(years))):
        return None
    for weeks in ({(wall.day - 1) // 7 + 1 for wall in walls}, {_from_the_end(wall) for wall in walls}):
        if len(weeks) == 1:
            day = f"{weeks.pop()}{_DAYS[walls[0].weekday()]}"
            return vRecur({"FREQ": "YEARLY", "BYMONTH": walls[0].month, "BYDAY": day})
    return None


def _from_the_end(wall: datetime) -> int:
    """-1 for the last such weekday of its month, -2 for the one before."""
    weeks = 0
    while (wall + timedelta(weeks=weeks)).month == wall.month:
        weeks += 1
    return -weeks


def _fixed(tz: ZoneInfo, year: int) -> TimezoneStandard:
    local = datetime(year, 1, 1, tzinfo=tz)
    part, offset = TimezoneStandard(), local.utcoffset() or timedelta()
    part.add("dtstart", _NEVER_CHANGED)
    part.add("tzname", local.tzname() or tz.key)
    part.add("tzoffsetfrom", offset)
    part.add("tzoffsetto", offset)
    return part
