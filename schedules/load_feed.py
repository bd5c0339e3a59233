"""The desk's load as a calendar: one event a day that blocks nobody's time."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from icalendar import Event

from equipment.models import Desk
from schedules.calendar_events import KEEP_PAST, Entry, Wanted, add_times
from schedules.models import Absence, Technician, Visit
from schedules.working_days import minutes_a_day, works
from shared import clock

DAYS_AHEAD = 42


def wanted(now: datetime) -> Wanted:
    """The next six weeks, and what the last two came to."""
    desk = Desk.the()
    today = clock.local_day(now, desk.zone)
    days = [today + timedelta(days=ahead) for ahead in range(DAYS_AHEAD)]
    past = [today - timedelta(days=back) for back in range(1, KEEP_PAST.days + 1)]
    return Wanted(
        title=_("Load of %(desk)s") % {"desk": desk.name},
        of="load",
        again=timedelta(hours=1),
        zone=desk.zone,
        entries=[Entry(event) for event in _events(days, desk)],
        as_they_are={_uid(day, desk) for day in past},
    )


def _uid(day: date, desk: Desk) -> str:
    return f"load-{day.isoformat()}@{desk.calendar_key}"


def _events(days: list[date], desk: Desk) -> Iterable[Event]:
    """An event for each day on which somebody works or something is booked."""
    visits = Visit.objects.filter(state__in=Visit.ON_A_DAY, day__range=(days[0], days[-1]))
    booked: dict[date, list[Visit]] = {}
    for visit in visits.only("day", "minutes", "technician"):
        booked.setdefault(visit.day or days[0], []).append(visit)
    away = list(Absence.objects.filter(withdrawn_at=None, last_day__gte=days[0], first_day__lte=days[-1]))
    staff = list(Technician.objects.all())
    for day in days:
        stops = booked.get(day, [])
        at_work = [who for who in staff if works(who, day, away)]
        if stops or at_work:
            yield _event(day, stops, at_work, staff, desk)


def _event(
    day: date, stops: list[Visit], at_work: list[Technician], staff: list[Technician], desk: Desk
) -> Event:
    event, working = Event(), {who.pk for who in at_work}
    event.add("uid", _uid(day, desk))
    add_times(event, day, None, None)
    event.add("summary", _load(stops, sum(minutes_a_day(who) for who in at_work)))
    lines = []
    for who in staff:
        theirs = [visit for visit in stops if visit.technician_id == who.pk]
        if theirs or who.pk in working:
            lines.append(f"{who.name}: {_load(theirs, minutes_a_day(who) if who.pk in working else 0)}")
    event.add("description", "\n".join(lines))
    event.add("transp", "TRANSPARENT")
    return event


def _load(stops: list[Visit], minutes: int) -> str:
    """Such as ``6 stops, 5 h 10 of 8 h``: time at homes, of the hours of work."""
    said = {
        "n": len(stops),
        "taken": _hours(sum(visit.minutes for visit in stops)),
        "there": _hours(minutes),
    }
    return (
        ngettext("%(n)d stop, %(taken)s of %(there)s", "%(n)d stops, %(taken)s of %(there)s", len(stops))
        % said
    )


def _hours(minutes: int) -> str:
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d}" if rest else f"{hours} h"
