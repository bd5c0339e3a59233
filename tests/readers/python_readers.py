"""Calendar libraries of other people, each as a function from a file to what it says is when."""

from collections.abc import Callable, Iterable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import recurring_ical_events
import vobject

# uid before the @, start, end (exclusive), both in UTC or as days; whether it is off.
Seen = tuple[str, str, str, bool]
FIRST, LAST = datetime(2026, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC)


def seen(uid: object, start: date, end: date, status: object) -> Seen:
    return str(uid).split("@")[0], said(start), said(end), str(status) == "CANCELLED"


def said(at: date) -> str:
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}" if isinstance(at, datetime) else at.isoformat()


def by_icalendar(text: str, folder: Path) -> Iterable[Seen]:
    """With recurring-ical-events, which asks the calendar what happens between two moments."""
    found = recurring_ical_events.of(icalendar.Calendar.from_ical(text)).between(FIRST, LAST)
    return [seen(one["UID"], one["DTSTART"].dt, one["DTEND"].dt, one.get("STATUS")) for one in found]


def by_vobject(text: str, folder: Path) -> Iterable[Seen]:
    return [
        seen(one.uid.value, one.dtstart.value, one.dtend.value, one.getChildValue("status"))
        for one in vobject.readOne(text).vevent_list
    ]


def by_khal(text: str, folder: Path) -> Iterable[Seen]:
    """As khal's import does it: a file an event in a folder, read into its own database."""
    # Slow to load, and every process of the tests looks in here.
    import khal.icalendar
    from khal.khalendar import CalendarCollection

    folder.mkdir()
    for number, one in enumerate(khal.icalendar.split_ics(text)):
        (folder / f"{number}.ics").write_text(one, encoding="utf-8")
    one_calendar = {
        "name": "one",
        "path": str(folder),
        "color": "",
        "priority": 10,
        "addresses": [],
        "readonly": True,
    }
    kept = CalendarCollection({"one": one_calendar}, locale=LOCALE, dbpath=":memory:")
    days = [
        seen(one.uid, one.start, one.end + timedelta(days=1), one.status)
        for one in kept.get_floating(FIRST.replace(tzinfo=None), LAST.replace(tzinfo=None))
    ]
    hours = [seen(one.uid, one.start, one.end, one.status) for one in kept.get_localized(FIRST, LAST)]
    return days + hours


LOCALE: dict[str, Any] = {
    "default_timezone": ZoneInfo("Asia/Tokyo"), "local_timezone": ZoneInfo("Asia/Tokyo"),
    "dateformat": "%Y-%m-%d", "longdateformat": "%Y-%m-%d", "timeformat": "%H:%M",
    "datetimeformat": "%Y-%m-%d %H:%M", "longdatetimeformat": "%Y-%m-%d %H:%M", "firstweekday": 0,
    "unicode_symbols": False, "weeknumbers": False,
}  # fmt: skip
READERS: dict[str, Callable[[str, Path], Iterable[Seen]]] = {
    "icalendar": by_icalendar,
    "khal": by_khal,
    "vobject": by_vobject,
}
