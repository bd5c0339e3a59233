"""A technician's day as a routing problem: visit rows in, stops with hours and travel times out."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from django.utils.translation import gettext as _

from equipment.models import Desk
from schedules.hours import clock_time, span_of
from schedules.models import HomeHours, Technician, Visit
from schedules.planning.routing import Problem, Stop
from schedules.planning.routing import Technician as Shift
from schedules.slow_hours import pace_over
from schedules.travel import travel_between
from schedules.visit_notices import told_by_visit
from schedules.visit_promises import promise_of, standing_promise
from shared import clock

# The stop that stands for where the technician is now.
HERE = "here"
_READY_S = 300
Place = tuple[float, float]
Windows = tuple[tuple[int, int], ...]


class NoStart(ValueError):
    """Neither the technician nor the desk has a place to start from."""


def has_start(technician: Technician, at: Desk) -> bool:
    """Whether there is a place on record where the technician's day begins."""
    try:
        start_of(technician, at)
    except NoStart:
        return False
    return True


def start_of(technician: Technician, at: Desk | None = None) -> Place:
    """Latitude and longitude where the technician's day begins; ``at`` is the desk where it is read already.
    Raises NoStart."""
    desk, depot = at or Desk.the(), technician.depot
    for latitude, longitude in (
        (technician.start_latitude, technician.start_longitude),
        (depot.latitude, depot.longitude) if depot else (None, None),
        (desk.latitude, desk.longitude),
    ):
        if latitude is not None and longitude is not None:
            return latitude, longitude
    raise NoStart(_("Give the technician or the desk a place to start from first."))


class DayClock:
    """Seconds from the local midnight of ``day``; ``earliest`` is none before now, on the day itself."""

    def __init__(self, technician: Technician, day: date, now: datetime) -> None:
        self.day, self.zone = day, Desk.the().zone
        self.midnight = clock.start_of_day(day, self.zone)
        self.starts = self.of(technician.day_starts)
        self.ends = self.of(technician.day_ends)
        self.is_today = clock.local_day(now, self.zone) == day
        self.now_s = self.since(now)
        ready = -(-(self.since(now) + _READY_S) // _READY_S) * _READY_S
        self.earliest = max(self.starts, ready) if self.is_today else self.starts

    def of(self, hour: time) -> int:
        """Seconds at which the day's wall clock shows ``hour``."""
        return self.since(datetime.combine(self.day, hour, self.zone).astimezone(UTC))

    def since(self, at: datetime) -> int:
        """Seconds at ``at``."""
        return int((at - self.midnight).total_seconds())

    def at(self, seconds: int) -> datetime:
        """The instant at ``seconds``."""
        return self.midnight + timedelta(seconds=seconds)


@dataclass(frozen=True)
class Standing:
    """Where the technician is once free, in seconds of the day; without a place at the depot."""

    free_s: int
    place: Place | None = None


def day_problem(
    technician: Technician,
    visits: Sequence[Visit],
    hours: DayClock,
    windows: Callable[[Visit], Windows],
    standing: Standing,
    firm: Callable[[Visit], bool] = lambda _visit: False,
) -> Problem:
    """The problem of the day's placed ``visits`` from where the technician stands. Raises NoStart.

    A time that was given counts as within reach: whoever keeps it is on the way already.
    """
    depot, here = start_of(technician), standing.place
    homes = [(visit.site.latitude or 0.0, visit.site.longitude or 0.0) for visit in visits]
    places: list[Place] = [depot, *homes]
    places += [here] if here else []
    travel = travel_between(places)
    seconds, metres = [list(row) for row in travel.seconds], [list(row) for row in travel.metres]
    stops = []
    for place, visit in enumerate(visits, start=1):
        own = windows(visit)
        stops.append(_stop(visit, place, own, firm(visit), _service_s(visit, own, hours)))
    pace = pace_over([hours.day], lambda _day, hour: hours.of(hour))
    origin = len(places) - 1 if here else 0
    for stop in stops:
        if stop.windows and stop.windows[0][0] == stop.windows[0][1]:
            within = pace.reach(standing.free_s, max(stop.windows[0][0], standing.free_s))
            way = seconds[origin][stop.node]
            seconds[origin][stop.node] = within if way is None else min(way, within)
            metres[origin][stop.node] = metres[origin][stop.node] or 0
    if here:
        # Whoever is on the round already does not drive there from the depot again.
        seconds[0][origin] = metres[0][origin] = 0
        stops.append(Stop(HERE, origin, 0, ((standing.free_s, standing.free_s),)))
    shift = (standing.free_s, max(hours.ends, standing.free_s))
    return Problem(
        technicians=(Shift("day", 0, shift, frozenset(technician.skills), technician.van_room),),
        stops=tuple(stops),
        travel_s=tuple(map(tuple, seconds)),
        travel_m=tuple(map(tuple, metres)),
        pace=pace,
    )


def _service_s(visit: Visit, windows: Windows, hours: DayClock) -> int:
    """The minutes at the home; of a time given, what is left until its end."""
    if visit.leave_at is not None and windows and windows[0][0] == windows[0][1]:
        return max(hours.since(visit.leave_at) - windows[0][0], 0)
    return visit.minutes * 60


def _stop(visit: Visit, place: int, windows: Windows, firm: bool, service_s: int) -> Stop:
    return Stop(
        id=str(visit.pk),
        node=place,
        service_s=service_s,
        windows=windows,
        skills=frozenset(visit.skills),
        load=sum(job.slot_id is not None for job in visit.jobs.all()),
        firm=firm,
    )


class Agreed:
    """What hours hold for the visits of a day: those told, else those agreed to within the home's own."""

    def __init__(self, visits: Sequence[Visit], hours: DayClock) -> None:
        self._hours = hours
        self._told = told_by_visit({visit.pk for visit in visits if visit.pk})
        rows = HomeHours.objects.filter(site__in=[visit.site_id for visit in visits])
        self._homes = {row.site_id: row for row in rows}

    def told(self, visit: Visit) -> Windows:
        """The hours that its household was told for this day; empty for none."""
        told = standing_promise(visit, self._told.get(visit.pk))
        if told is None or told.day != self._hours.day or told.first is None or told.last is None:
            return ()
        return ((max(self._hours.since(told.first), 0), self._hours.since(told.last)),)

    def home(self, visit: Visit) -> Windows:
        """The hours that suit the home; empty for any time."""
        row = self._homes.get(visit.site_id)
        if row is None or not (row.not_before or row.not_after):
            return ()
        first, last = span_of([row.not_before], [row.not_after])
        return ((self._hours.of(clock_time(first)), self._hours.of(clock_time(last))),)

    def own(self, visit: Visit) -> Windows:
        """The hours agreed to, within those that suit the home; empty for any time."""
        home = self._homes.get(visit.site_id)
        firsts = [visit.window_from, home.not_before if home else None]
        lasts = [visit.window_to, home.not_after if home else None]
        if not any((*firsts, *lasts)):
            return ()
        first, last = span_of(firsts, lasts)
        return ((self._hours.of(clock_time(first)), self._hours.of(clock_time(last))),)

    def kept(self, visit: Visit) -> Windows:
        """The hours told, else its own."""
        return self.told(visit) or self.own(visit)

    def promised(self, visit: Visit) -> Windows:
        """The hours that its household was told or would be; its own where it has no time yet."""
        promise = promise_of(visit)
        if told := self.told(visit):
            return told
        if visit.arrive_at is None or promise.first is None or promise.last is None:
            return self.own(visit)
        return ((max(self._hours.since(promise.first), 0), self._hours.since(promise.last)),)

    def given(self, visit: Visit) -> Windows:
        """The time given, else the hours kept."""
        return given_time(visit, self._hours) or self.kept(visit)

    def is_broken(self, visit: Visit) -> bool:
        """Whether its time lies outside the hours told, or those are past."""
        told = self.told(visit)
        if not told or visit.arrive_at is None:
            return False
        at = self._hours.since(visit.arrive_at)
        return not told[0][0] <= at <= told[0][1]

    def firm(self, visit: Visit) -> bool:
        """Whether it was promised: told, confirmed or held to its day."""
        told = self._told.get(visit.pk)
        came = told is not None and told.coming and told.day == self._hours.day
        return came or visit.pinned or visit.state == Visit.State.CONFIRMED


def given_time(visit: Visit, hours: DayClock) -> Windows:
    """The start that the visit was given, where it is still to come; empty for none."""
    if visit.leave_at is None:
        return ()
    start = hours.since(visit.leave_at) - visit.minutes * 60
    if start < hours.now_s and hours.is_today:
        return ()
    # Whoever is to be there within minutes is on the way already.
    start = max(start, hours.earliest)
    return ((start, start),)
