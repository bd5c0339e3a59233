"""A technician's day: visit rows to planning.routing and back."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from django.db import transaction
from django.utils.translation import gettext as _

from equipment.models import Desk
from schedules.emails import FilterLine
from schedules.models import Policy, Technician, Visit
from schedules.planning.routing import Iterations, Problem, Stop, solve
from schedules.planning.routing import Technician as Shift
from schedules.planning.travel import estimate
from shared import clock

ITERATIONS = 400


class NoStart(ValueError):
    """Neither the technician nor the desk has a place to start from."""


@dataclass(frozen=True)
class DayPlan:
    """A day in order: what is served and why something is not."""

    visits: list[Visit]
    left_out: list[tuple[Visit, str]]
    travel_s: int
    travel_m: int
    depot: tuple[float, float]


def start_of(technician: Technician) -> tuple[float, float]:
    """Latitude and longitude where the technician's day begins. Raises NoStart."""
    desk = Desk.the()
    for latitude, longitude in (
        (technician.start_latitude, technician.start_longitude),
        (desk.latitude, desk.longitude),
    ):
        if latitude is not None and longitude is not None:
            return latitude, longitude
    raise NoStart(_("Give the technician or the desk a place to start from first."))


def order_day(technician: Technician, day: date) -> DayPlan:
    """Put the day's visits in order, store times and stop numbers, and say what does not fit and why."""
    depot = start_of(technician)
    visits = list(
        Visit.objects.filter(technician=technician, day=day, state__in=Visit.ON_A_DAY)
        .select_related("site")
        .prefetch_related("jobs")
        .order_by("pk")
    )
    placed = [visit for visit in visits if visit.site.placed]
    left_out = [
        (visit, _("The address has no position; find it on a map and enter latitude and longitude."))
        for visit in visits
        if not visit.site.placed
    ]
    midnight = clock.start_of_day(day, Desk.the().zone)
    problem = _problem(technician, placed, depot, day)
    solution = solve(problem, Iterations(ITERATIONS), seed=1)
    by_id = {str(visit.pk): visit for visit in placed}
    left_out += [(by_id[item.id], item.why) for item in solution.unserved]
    ordered = []
    for route in solution.routes:
        for number, stop in enumerate(route.visits, start=1):
            visit = by_id[stop.id]
            visit.stop_number = number
            visit.arrive_at = midnight + timedelta(seconds=stop.arrive_s)
            visit.leave_at = midnight + timedelta(seconds=stop.leave_s)
            ordered.append(visit)
    _store(ordered, [visit for visit, _why in left_out])
    return DayPlan(ordered, left_out, solution.travel_s, solution.travel_m, depot)


def _problem(technician: Technician, visits: list[Visit], depot: tuple[float, float], day: date) -> Problem:
    policy, desk = Policy.the(), Desk.the()
    places = [depot, *((v.site.latitude, v.site.longitude) for v in visits)]
    latitude, longitude = (np.array([place[axis] for place in places], dtype=np.float64) for axis in (0, 1))
    seconds, metres = estimate(
        latitude, longitude, road_factor=policy.road_factor, speed_ms=policy.road_speed_ms
    )
    midnight = clock.start_of_day(day, desk.zone)

    def since(at: datetime) -> int:
        return int((at - midnight).total_seconds())

    shift = tuple(since(_local(day, hour, desk)) for hour in (technician.day_starts, technician.day_ends))
    stops = tuple(
        Stop(
            id=str(visit.pk),
            node=place,
            service_s=visit.minutes * 60,
            windows=_windows(visit, day, desk, since),
            skills=frozenset(visit.skills),
            load=sum(job.slot_id is not None for job in visit.jobs.all()),
        )
        for place, visit in enumerate(visits, start=1)
    )
    return Problem(
        technicians=(
            Shift("day", 0, (shift[0], shift[1]), frozenset(technician.skills), technician.van_room),
        ),
        stops=stops,
        travel_s=tuple(tuple(int(value) for value in row) for row in seconds),
        travel_m=tuple(tuple(int(value) for value in row) for row in metres),
    )


def _local(day: date, hour: time, desk: Desk) -> datetime:
    return datetime.combine(day, hour, desk.zone).astimezone(UTC)


def _windows(
    visit: Visit, day: date, desk: Desk, since: Callable[[datetime], int]
) -> tuple[tuple[int, int], ...]:
    if visit.window_from is None and visit.window_to is None:
        return ()
    first = _local(day, visit.window_from or time.min, desk)
    last = _local(day, visit.window_to or time(23, 59, 59), desk)
    return ((since(first), since(last)),)


def _store(ordered: list[Visit], left_out: list[Visit]) -> None:
    with transaction.atomic():
        for visit in ordered:
            visit.save(update_fields=["stop_number", "arrive_at", "leave_at"])
        for visit in left_out:
            visit.stop_number = visit.arrive_at = visit.leave_at = None
            visit.save(update_fields=["stop_number", "arrive_at", "leave_at"])


def to_bring(lines: list[FilterLine]) -> list[tuple[int, FilterLine]]:
    """The filters of some slots, counted by size and medium."""
    counted: dict[tuple[str, int | None], tuple[int, FilterLine]] = {}
    for line in lines:
        key = (line.size, line.media.pk if line.media else None)
        count, first = counted.get(key, (0, line))
        counted[key] = (count + 1, first)
    return [counted[key] for key in sorted(counted, key=lambda key: (key[0], key[1] or 0))]
