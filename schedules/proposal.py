"""What a plan of rounds proposes, as plain values that keep in a row: stops with reasons, homes left out."""

from dataclasses import dataclass
from datetime import date, time
from math import sqrt
from typing import Any

from django.utils.translation import gettext as _
from scipy.special import ndtr

from schedules.explain import say_day
from schedules.models import RoundPlan
from schedules.planning.routing import Solution
from schedules.planning.routing.problem import Route, Stop
from schedules.planning.routing.problem import Visit as Served
from schedules.rounds import DAY_S, Asked, Trip, VanDay

# Own assumption: work and ways together scatter by so much of their own length, stop by stop.
SPREAD = 0.3
# Said where the chance to begin after the hours told is at least this.
WORTH_SAYING = 0.05


@dataclass(frozen=True)
class _Day:
    """A route with what it stands for."""

    van: VanDay
    route: Route
    first: date


def proposal_of(plan: RoundPlan, asked: Asked, solution: Solution) -> dict[str, Any]:
    """The solution in plain values: ``days`` by day and technician, ``left`` with reasons, totals."""
    days = [_Day(asked.vans[route.technician], route, plan.first_day) for route in solution.routes]
    days.sort(key=lambda one: (one.van.day, one.van.technician.name))
    left = [
        _left(trip, _why_left(trip, item.why), trip.window.last <= plan.last_day)
        for item, trip in ((item, asked.trips[item.id]) for item in solution.unserved)
    ]
    left += [_left(trip, _("The address has no position yet."), True) for trip in asked.unplaced]
    return {
        "days": [_day(one, asked) for one in days],
        "left": sorted(left, key=lambda row: (not row["must"], row["last"], row["home"])),
        "no_start": [technician.name for technician in asked.no_start],
        "reckoned": asked.reckoned,
        "van_days": len(asked.vans),
        "travel_s": solution.travel_s,
        "travel_m": solution.travel_m,
    }


def _why_left(trip: Trip, why: str) -> str:
    """The solver's reason; who may come is told by name and not by the tokens that stand for it."""
    if trip.held and ("by:" in why or "windows" in why):
        said = {"name": trip.visit.technician if trip.visit else ""}
        return _("%(name)s does not work then: it needs another day or technician.") % said
    if "not:" in why:
        return _("Nobody who may come there has the skills.")
    if "windows" in why:
        return _("No day of its window suits both the home and those who could come.")
    return f"{why[:1].upper()}{why[1:]}."


def _left(trip: Trip, why: str, must: bool) -> dict[str, Any]:
    return {**_home(trip), "why": why, "must": must}


def _home(trip: Trip) -> dict[str, Any]:
    site = trip.site
    return {
        "site": site.pk,
        "home": site.address or site.name,
        "customer": str(site.customer),
        "visit": trip.visit.pk if trip.visit else None,
        "slots": [slot.pk for slot in trip.slots],
        "tasks": [task.pk for task in trip.tasks],
        "first": trip.window.first.isoformat(),
        "last": trip.window.last.isoformat(),
    }


def _day(one: _Day, asked: Asked) -> dict[str, Any]:
    stops, spread, at = [], 0.0, asked.problem.technicians[_index(asked, one)].node
    clock = one.route.depart_s
    for number, served in enumerate(one.route.visits, start=1):
        trip = asked.trips[served.id]
        stop = next(stop for stop in asked.problem.stops if stop.id == served.id)
        way = served.arrive_s - clock
        spread = sqrt(spread**2 + (SPREAD * way) ** 2)
        stops.append(
            {
                **_home(trip),
                "number": number,
                "arrive": _clock(served.start_s, one).isoformat(),
                "leave": _clock(served.leave_s, one).isoformat(),
                "way_s": way,
                "way_m": asked.problem.travel_m[at][stop.node] or 0,
                "place": list(asked.places[stop.node]),
                "slack_days": (trip.window.last - one.van.day).days,
                "late": _late(served, stop, spread),
                "change": _change(trip, one.van),
                "was": _was(trip, one.van),
                "why": _why(trip, one.van),
            }
        )
        spread = sqrt(spread**2 + (SPREAD * stop.service_s) ** 2)
        clock, at = served.leave_s, stop.node
    return {
        "technician": one.van.technician.pk,
        "name": one.van.technician.name,
        "day": one.van.day.isoformat(),
        "start": list(asked.places[asked.problem.technicians[_index(asked, one)].node]),
        "depart": _clock(one.route.depart_s, one).isoformat(),
        "back": _clock(one.route.back_s, one).isoformat(),
        "stops": stops,
    }


def _index(asked: Asked, one: _Day) -> int:
    return next(at for at, who in enumerate(asked.problem.technicians) if who.id == one.van.key)


def _clock(seconds: int, one: _Day) -> time:
    """The wall clock of the day at seconds from the plan's first midnight."""
    offset = seconds - (one.van.day - one.first).days * DAY_S
    minutes, second = divmod(min(max(offset, 0), DAY_S - 1), 60)
    return time(minutes // 60, minutes % 60, second)


def _late(served: Served, stop: Stop, spread_s: float) -> float:
    """Chance to begin after the stop's own hours: a normal scatter of what comes before it."""
    ends = [end for start, end in stop.windows if start <= served.start_s <= end]
    if not ends or spread_s <= 0:
        return 0.0
    return round(float(ndtr((served.arrive_s - ends[0]) / spread_s)), 3)


def _change(trip: Trip, van: VanDay) -> str:
    """What is new of it: new, day, moved or kept."""
    visit = trip.visit
    if visit is None:
        return "new"
    if visit.day is None:
        return "day"
    kept = visit.day == van.day and visit.technician_id == van.technician.pk
    return "kept" if kept else "moved"


def _was(trip: Trip, van: VanDay) -> str:
    """Where a moved visit comes from."""
    visit = trip.visit
    if visit is None or _change(trip, van) != "moved":
        return ""
    return _("was %(day)s, %(name)s") % {"day": say_day(visit.day), "name": visit.technician}


def _why(trip: Trip, van: VanDay) -> str:
    """Why this day."""
    if trip.held:
        return _("It is booked for this day.")
    if trip.window.last <= van.day:
        return _("This is the last day of its window.")
    said = {"first": say_day(trip.window.first), "last": say_day(trip.window.last)}
    return _("Best done from %(first)s to %(last)s; here it costs the least way.") % said
