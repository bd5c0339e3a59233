"""What a plan of rounds proposes, as plain values that keep in a row: stops with reasons, homes left out."""

from dataclasses import dataclass
from datetime import date, time
from math import sqrt
from typing import Any

import numpy as np
from django.utils.translation import gettext as _
from scipy.special import ndtr

from equipment.models import Desk
from schedules.bookable import cannot_work
from schedules.explain import say_day
from schedules.hours import DAY_S, clock_time, seconds_of
from schedules.models import Policy, RoundPlan, Visit
from schedules.plain_reasons import said_plainly
from schedules.planning.routing import Solution
from schedules.planning.routing.problem import Route, Stop
from schedules.planning.routing.problem import Visit as Served
from schedules.planning.routing.timing import on_the_road
from schedules.planning.travel import great_circle_m
from schedules.rounds import Asked, Trip, VanDay
from schedules.why_here import Detours

# A home farther off than a day's drive there and back is likelier misplaced.
FAR_KM = 300.0
# Said where the chance to begin after the hours told is at least this.
WORTH_SAYING = 0.05
# A booked visit whose time moves by more within its day is told apart from one that stays.
HOUR_MOVES_S = 900


@dataclass(frozen=True)
class _Day:
    """A route with what it stands for."""

    van: VanDay
    route: Route
    first: date
    detours: Detours


def proposal_of(plan: RoundPlan, asked: Asked, solution: Solution) -> dict[str, Any]:
    """The solution in plain values: ``days`` by day and technician, ``left`` with reasons, totals."""
    detours, policy = Detours(asked.problem, solution), Policy.the()
    days = [_Day(asked.vans[route.technician], route, plan.first_day, detours) for route in solution.routes]
    days.sort(key=lambda one: (one.van.day, one.van.technician.name))
    must = {stop.id: stop.must for stop in asked.problem.stops}
    left = [
        _left(trip, why_left(trip, item.why, far_km(trip, asked)), must[item.id])
        for item, trip in ((item, asked.trips[item.id]) for item in solution.unserved)
    ]
    left += [_left(trip, _("The address has no position yet."), True) for trip in asked.unplaced]
    left += [_left(trip, said_nothing(trip), True) for trip in asked.unsaid]
    return {
        "days": [_day(one, asked, policy) for one in days],
        "left": sorted(left, key=lambda row: (not row["must"], row["last"], row["home"])),
        "no_start": [technician.name for technician in asked.no_start],
        "reckoned": asked.reckoned,
        "van_days": len(asked.vans),
        "travel_s": on_the_road(solution.routes),
        "travel_m": solution.travel_m,
    }


def far_km(trip: Trip, asked: Asked) -> float | None:
    """How far from the nearest start a home lies that no van would go to; None for a nearer one."""
    starts = {asked.places[technician.node] for technician in asked.problem.technicians}
    if not starts:
        return None
    places = [(float(trip.site.latitude or 0.0), float(trip.site.longitude or 0.0)), *sorted(starts)]
    latitude, longitude = (np.array(axis) for axis in zip(*places, strict=True))
    nearest = float(great_circle_m(latitude, longitude)[0, 1:].min()) / 1000
    return nearest if nearest > FAR_KM else None


def why_left(trip: Trip, why: str, away_km: float | None = None) -> str:
    """The solver's reason; who may come is told by name and not by the tokens that stand for it."""
    if trip.held and ("by:" in why or "windows" in why):
        said = {"name": trip.visit.technician if trip.visit else ""}
        return _("%(name)s does not work then: it needs another day or technician.") % said
    if why.endswith("the skill not:rest"):
        return _("No day of its window suits both the home and those who could come.")
    if "not:" in why:
        return _("Nobody who may come there has the skills.")
    if "windows" in why and trip.too_cold:
        names = ", ".join(task.name for task in trip.tasks if task.least_outdoors_c is not None)
        return _("It is expected to be too cold outdoors on these days for: %(names)s.") % {"names": names}
    if away_km is not None and "reached" in why:
        return _("It lies %(km)d km from the nearest start: is its position right?") % {"km": round(away_km)}
    if "windows" in why:
        return _("No day of its window suits both the home and those who could come.")
    return said_plainly(why)


def _left(trip: Trip, why: str, must: bool) -> dict[str, Any]:
    return {**_home(trip), "why": why, "must": must, "held": trip.held}


def stood(visit: Visit) -> list[object]:
    """What a plan reckons with of a visit, to see later whether it is still so."""
    hours = (visit.window_from, visit.window_to)
    return [
        visit.day.isoformat() if visit.day else None,
        visit.technician_id,
        visit.minutes,
        sorted(visit.skills),
        *(hour.isoformat() if hour else None for hour in hours),
    ]


def said_nothing(trip: Trip) -> str:
    """Why a visit of a day past is in no plan."""
    day = trip.visit.day if trip.visit else None
    said = {"day": say_day(day)}
    return _("It was booked for %(day)s and nobody said how it ended: say so, or book it anew.") % said


def _home(trip: Trip) -> dict[str, Any]:
    site = trip.site
    return {
        "site": site.pk,
        "home": site.address or site.name,
        "customer": str(site.customer),
        "visit": trip.visit.pk if trip.visit else None,
        "stood": stood(trip.visit) if trip.visit else None,
        "slots": [slot.pk for slot in trip.slots],
        "tasks": [task.pk for task in trip.tasks],
        "first": trip.window.first.isoformat(),
        "last": trip.window.last.isoformat(),
    }


def _day(one: _Day, asked: Asked, policy: Policy) -> dict[str, Any]:
    stops, spread, at = [], 0.0, asked.problem.technicians[_index(asked, one)].node
    clock = one.route.depart_s
    for number, served in enumerate(one.route.visits, start=1):
        trip = asked.trips[served.id]
        stop = next(stop for stop in asked.problem.stops if stop.id == served.id)
        way = served.arrive_s - clock
        spread = sqrt(spread**2 + (policy.way_spread * way) ** 2)
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
                "change": _change(trip, one, served),
                "was": _was(trip, one, served),
                "why": _why(trip, one) + _why_order(trip, one),
            }
        )
        spread = sqrt(spread**2 + (policy.stay_spread * stop.service_s) ** 2)
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
    return clock_time(seconds - (one.van.day - one.first).days * DAY_S)


def _late(served: Served, stop: Stop, spread_s: float) -> float:
    """Chance to begin after the stop's own hours: a normal scatter of what comes before it."""
    ends = [end for start, end in stop.windows if start <= served.start_s <= end]
    if not ends or spread_s <= 0:
        return 0.0
    return round(float(ndtr((served.arrive_s - ends[0]) / spread_s)), 3)


def _change(trip: Trip, one: _Day, served: Served) -> str:
    """What is new of it: new, day, moved, hour or kept."""
    visit = trip.visit
    if visit is None:
        return "new"
    if visit.day is None:
        return "day"
    if visit.day != one.van.day or visit.technician_id != one.van.technician.pk:
        return "moved"
    return "hour" if _shift_s(visit, one, served) > HOUR_MOVES_S else "kept"


def _shift_s(visit: Visit, one: _Day, served: Served) -> int:
    """By how much the start differs from the time it had, in s; nought where it had none."""
    if visit.arrive_at is None:
        return 0
    had = visit.arrive_at.astimezone(Desk.the().zone).time()
    return abs(seconds_of(had) - seconds_of(_clock(served.arrive_s, one)))


def _was(trip: Trip, one: _Day, served: Served) -> str:
    """Where a moved visit comes from, or at what hour it was."""
    visit, change = trip.visit, _change(trip, one, served)
    if visit is None or change not in ("moved", "hour"):
        return ""
    if change == "moved":
        said: dict[str, object] = {"day": say_day(visit.day), "name": visit.technician}
        if visit.technician and visit.day and cannot_work(visit.technician, visit.day):
            return _("was %(day)s, %(name)s, who does not work then") % said
        return _("was %(day)s, %(name)s") % said
    at = visit.arrive_at.astimezone(Desk.the().zone) if visit.arrive_at else None
    return _("was at %(hour)s") % {"hour": f"{at:%H:%M}" if at else ""}


def _why(trip: Trip, one: _Day) -> str:
    """Why this day."""
    said = _why_forced(trip, one.van.day)
    if said:
        return said
    window = {"first": say_day(trip.window.first), "last": say_day(trip.window.last)}
    best = _("Best done from %(first)s to %(last)s.") % window
    if trip.window.days < 2:
        return best
    here = one.detours.here(one.van.key, trip.key)
    other = one.detours.elsewhere(one.van.key, trip.key, one.van.day.isoformat())
    if other is None:
        return best + " " + _("No other of these days has room and hours for it.")
    minutes = {"here": round(here.driving_s / 60), "there": round(other.driving_s / 60)}
    if minutes["there"] > minutes["here"]:
        text = _("It adds %(here)d min of driving here, and %(there)d or more on another day.")
    elif other.extra_s > here.extra_s:
        text = _("It adds %(here)d min of driving here; %(there)d on another day, but too early or too late.")
    else:
        text = _(
            "It adds %(here)d min of driving; another day would add %(there)d: a longer search may find it."
        )
    return best + " " + text % minutes


def _why_order(trip: Trip, one: _Day) -> str:
    """Why before the next stop; empty for the last one, and where either order is as good."""
    more = one.detours.after_next(one.van.key, trip.key)
    if more is None:
        return " " + _("The hours leave no room for the next one first.")
    minutes = round(more / 60)
    return " " + _("The next one first: %(n)d min more.") % {"n": minutes} if minutes > 0 else ""


def _why_forced(trip: Trip, day: date) -> str:
    """The reason where the day hardly was a choice; empty where it was."""
    if trip.held:
        return _("It is booked for this day.")
    if trip.visit is not None and trip.visit.day == day and not trip.window.first <= day <= trip.window.last:
        return _("It was booked for this day and stays there.")
    if trip.late_since is not None:
        return _("It was to be done by %(day)s: the sooner the better.") % {"day": say_day(trip.late_since)}
    if trip.window.last < day:
        return _("Nobody works on a day of its window that suits; this is the first after it.")
    if day < trip.window.first:
        return _("Nobody works on a day of its window that suits; this is the last before it.")
    return _("This is the last day of its window.") if trip.window.last == day else ""
