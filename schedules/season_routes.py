"""A season worked out: trips dealt to weeks, then each week's days and routes, week after week."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np
from django.utils.translation import gettext as _

from schedules import rounds
from schedules.background_runs import Watched
from schedules.models import RoundPlan
from schedules.planning.arrays import IntArray
from schedules.planning.routing import Technician as Shift
from schedules.planning.routing import solve
from schedules.planning.routing.timing import on_the_road
from schedules.planning.season_weeks import deal
from schedules.proposal import far_km, why_left
from schedules.rounds import Asked
from schedules.season_plan import WEEK, Season
from schedules.season_week import in_days
from schedules.working_days import minutes_a_day


@dataclass(frozen=True)
class Placed:
    """A trip, by its number in the season, that a week's rounds have."""

    trip: int
    day: date
    technician: int


@dataclass
class WeekDone:
    """What became of a week: what its rounds have, what they have no place for, and minutes in all."""

    week: int
    placed: list[Placed] = field(default_factory=list)
    left: dict[int, str] = field(default_factory=dict)
    road_minutes: float = 0.0
    there_minutes: float = 0.0
    reckoned: str = ""
    stopped: bool = False


def dealt_weeks(season: Season) -> IntArray:
    """The week [t] of each trip, the weeks beyond the season's last included."""
    return deal(season.dealt, season.hours * season.proved, season.period, season.saving, season.skilled).week


def work_out(
    season: Season, dealt: IntArray, seconds: float, tell: Callable[[float], bool], today: date
) -> Iterator[WeekDone]:
    """The weeks one after another, in ``seconds`` of search each; what finds no place in its week tries the
    next ones. ``tell`` hears the share done and ends it by True, after the week that it is at."""
    carried: list[int] = []
    for at in range(season.plan.weeks):
        mine = [*carried, *np.flatnonzero(dealt == at).tolist()]
        one = _one_week(season, at, mine, Watched(seconds, _of_all(tell, at, season.plan.weeks)), today)
        carried = [number for number in one.left if not season.trips[number].held]
        yield one
        if one.stopped:
            return


def _of_all(tell: Callable[[float], bool], at: int, weeks: int) -> Callable[[float], bool]:
    return lambda part: tell((at + part) / weeks)


def _one_week(season: Season, at: int, numbers: list[int], rule: Watched, today: date) -> WeekDone:
    monday = season.monday(at)
    days = RoundPlan(first_day=monday, last_day=monday + WEEK - timedelta(days=1))
    numbers, beyond = _what_may_fit(season, at, numbers)
    trips = [in_days(season.trips[number], days.first_day, days.last_day) for number in numbers]
    asked = _less_held(rounds.ask(days, today, trips), float(season.free[at]), at)
    # Tables of ways may have taken their time.
    rule.over(0.0)
    solution = solve(asked.problem, rule, seed=1)
    number_of = {trip.key: number for trip, number in zip(trips, numbers, strict=True)}
    vans = asked.vans
    return WeekDone(
        at,
        [
            Placed(number_of[visit.id], vans[route.technician].day, vans[route.technician].technician.pk)
            for route in solution.routes
            for visit in route.visits
        ],
        {
            number_of[item.id]: why_left(asked.trips[item.id], item.why, far_km(asked.trips[item.id], asked))
            for item in solution.unserved
        }
        | beyond,
        on_the_road(solution.routes) / 60,
        sum(minutes_a_day(van.technician) for van in vans.values()),
        asked.reckoned,
        rule.stopped or rule.over(rule.seconds),
    )


def _what_may_fit(season: Season, at: int, numbers: list[int]) -> tuple[list[int], dict[int, str]]:
    """Of the trips of a week, those whose time at homes alone its hours can hold: held ones, then those whose
    window ends first, branch by branch; the others wait, with the reason. A search over what cannot fit would
    only last long."""
    room = season.hours[:, at].copy()
    ordered = sorted(
        numbers, key=lambda one: (not season.trips[one].held, season.trips[one].window.last, one)
    )
    kept: list[int] = []
    beyond: dict[int, str] = {}
    for number in ordered:
        branch = season.dealt.branch[number]
        room[branch] -= season.trips[number].minutes
        if room[branch] >= 0 or season.trips[number].held:
            kept.append(number)
        else:
            beyond[number] = _("The week has no hours left for it.")
    return kept, beyond


def _less_held(asked: Asked, free: float, week: int) -> Asked:
    """With what is held free for urgent work taken off as few shifts as can be, at most half of each, evenly
    over the days and others every week: homes that are in only late, and long work, keep whole days. A shift
    on which something is booked stays whole."""
    held = (trip.visit for trip in asked.trips.values() if trip.held and trip.visit)
    booked = {(visit.technician_id, visit.day) for visit in held}
    shifts = list(asked.problem.technicians)
    may = [at for at, shift in enumerate(shifts) if _key(asked, shift) not in booked]
    short_s = (1.0 - free) * sum(shift.shift[1] - shift.shift[0] for shift in shifts)
    if not may or short_s <= 0:
        return asked
    halves = {at: (shifts[at].shift[1] - shifts[at].shift[0]) / 2 for at in may}
    some: list[int] = []
    for count in range(1, len(may) + 1):
        places = np.linspace(0, len(may), count, endpoint=False).astype(int).tolist()
        some = [may[(place + week) % len(may)] for place in places]
        if sum(halves[at] for at in some) >= short_s:
            break
    part = min(1.0, short_s / sum(halves[at] for at in some))
    for at in some:
        begins, ends = shifts[at].shift
        shifts[at] = replace(shifts[at], shift=(begins, ends - round(part * halves[at])))
    return replace(asked, problem=replace(asked.problem, technicians=tuple(shifts)))


def _key(asked: Asked, shift: Shift) -> tuple[int, date]:
    van = asked.vans[shift.id]
    return van.technician.pk, van.day
