"""A season worked out: trips dealt to weeks, then each week's days and routes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from equipment.models import Desk
from schedules import rounds
from schedules.background_runs import Watched
from schedules.branches import Branches, branches
from schedules.hours import seconds_of
from schedules.models import Policy, RoundPlan, SeasonPlan, SeasonTrip
from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.routing import solve
from schedules.planning.season_weeks import SeasonTrips, areas, deal, way_minutes
from schedules.planning.travel import EARTH_RADIUS_M
from schedules.planning.windows import DueWindow
from schedules.rounds import OWN_TRIP_S, Asked, Trip
from schedules.season_staff import urgent, usual_way

# Windows decide how seldom an area may be visited: never less than every third week.
MOST_PERIOD = 3
WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Season:
    """The plan's weeks and everything that is to be dealt to them: ``hours`` [branches, W] in minutes."""

    plan: SeasonPlan
    trips: list[Trip]
    dealt: SeasonTrips
    hours: FloatArray
    period: int
    saving: float
    unplaced: list[Trip]

    def monday(self, week: int) -> date:
        """The first day of a week."""
        return self.plan.first_day + week * WEEK


@dataclass
class WeekDone:
    """What became of a week: where each trip went, seconds on the road, and what found no place."""

    monday: date
    rows: list[SeasonTrip] = field(default_factory=list)
    left: list[tuple[Trip, str]] = field(default_factory=list)
    travel_s: int = 0
    van_days: int = 0


def gather(plan: SeasonPlan, now: datetime, today: date) -> Season:
    """Read what is to be planned; a fixed number of queries but for the plan before."""
    last = plan.first_day + plan.weeks * WEEK - timedelta(days=1)
    span = RoundPlan(first_day=plan.first_day, last_day=last)
    every = [trip for trip in rounds.trips_of(span, today) if trip.window.first <= last]
    trips = [trip for trip in every if trip.site.placed]
    where, way = branches(Desk.the()), usual_way(now).minutes
    hours = _hours(plan, where, urgent(today, Desk.the(), way).held or 0.0)
    north, east = _places(trips)
    branch = where.of(north, east)
    first, end = _weeks(plan, trips)
    period = int(np.clip(np.median(end - first + 1), 1, MOST_PERIOD)) if len(trips) else 1
    held = np.array([trip.held for trip in trips], dtype=np.bool_)
    van_days = max(1.0, _van_days_a_week(plan))
    area = _areas(north, east, branch, len(trips) / (van_days * period))
    before = _before(plan)
    dealt = SeasonTrips(
        first=first,
        last=end,
        minutes=np.array([trip.minutes + way for trip in trips], dtype=np.float64),
        branch=branch,
        area=area,
        waste=np.array([_waste(trip) for trip in trips], dtype=np.float64),
        before=np.array([before.get(trip.site.pk, -1) for trip in trips], dtype=np.int64),
        held=held,
    )
    saving = _saving(north, east, len(trips) / plan.weeks, period)
    unplaced = [trip for trip in every if not trip.site.placed]
    return Season(plan, trips, dealt, hours, period, saving, unplaced)


def _places(trips: Sequence[Trip]) -> tuple[FloatArray, FloatArray]:
    told = np.array([(trip.site.latitude, trip.site.longitude) for trip in trips], dtype=np.float64)
    told = told.reshape(-1, 2)
    return told[:, 0], told[:, 1]


def _weeks(plan: SeasonPlan, trips: Sequence[Trip]) -> tuple[IntArray, IntArray]:
    """First and last week of each trip's window; a held one's own week."""

    def week(day: date) -> int:
        return min(max((day - plan.first_day).days // 7, 0), plan.weeks - 1)

    days = [
        (trip.visit.day, trip.visit.day)
        if trip.held and trip.visit and trip.visit.day
        else (trip.window.first, trip.window.last)
        for trip in trips
    ]
    first = np.array([week(one) for one, _last in days], dtype=np.int64)
    return first, np.array([week(last) for _one, last in days], dtype=np.int64)


def _waste(trip: Trip) -> float:
    """Minutes of driving that a week too early is worth: that share of the next change's trip."""
    return 0.0 if not trip.life_days else 7 * OWN_TRIP_S / 60 / trip.life_days


def _hours(plan: SeasonPlan, where: Branches, held_free: float) -> FloatArray:
    """Minutes of each branch and week, without what is held free for urgent work."""
    out = np.zeros((len(where.names), plan.weeks))
    days = [plan.first_day + timedelta(days=at) for at in range(7 * plan.weeks)]
    vans, _no_start = rounds.vans_of(days)
    for van in vans:
        own = van.technician.depot_id
        branch = where.pks.index(own) if own in where.pks else where.own
        minutes = (seconds_of(van.technician.day_ends) - seconds_of(van.technician.day_starts)) / 60
        out[branch, (van.day - plan.first_day).days // 7] += minutes
    whole = np.maximum(out.sum(axis=0), 1.0)
    return np.asarray(out * np.maximum(0.0, 1.0 - held_free / whole))


def _van_days_a_week(plan: SeasonPlan) -> float:
    days = [plan.first_day + timedelta(days=at) for at in range(7 * plan.weeks)]
    return len(rounds.vans_of(days)[0]) / plan.weeks


def _areas(north: FloatArray, east: FloatArray, branch: IntArray, size: float) -> IntArray:
    """Small areas, none of two branches."""
    out, begin = np.zeros(len(branch), dtype=np.int64), 0
    for one in np.unique(branch):
        mine = np.flatnonzero(branch == one)
        out[mine] = begin + areas(north[mine], east[mine], max(1, round(size)))
        begin = int(out.max()) + 1
    return out


def _saving(north: FloatArray, east: FloatArray, homes_a_week: float, period: int) -> float:
    """Minutes of driving a stop that visiting each area only every ``period``-th week saves."""
    policy = Policy.the()
    area = _area_m2(north, east)
    ways = [
        way_minutes(area, homes, policy.road_speed_ms, policy.road_factor)
        for homes in (homes_a_week, homes_a_week * period)
    ]
    return ways[0] - ways[1]


def _area_m2(north: FloatArray, east: FloatArray) -> float:
    """The area around all places; nought where they span none."""
    scale = np.radians(1.0) * EARTH_RADIUS_M
    flat = (
        np.column_stack([north * scale, east * scale * np.cos(np.radians(np.mean(north or [0.0])))])
        if len(north)
        else np.zeros((0, 2))
    )
    try:
        return float(ConvexHull(flat).volume) if len(flat) > 2 else 0.0
    except QhullError:
        return 0.0


def _before(plan: SeasonPlan) -> dict[int, int]:
    """The week of this plan in which the plan before put each home."""
    states = (SeasonPlan.State.READY, SeasonPlan.State.STOPPED)
    last = SeasonPlan.objects.filter(state__in=states).exclude(pk=plan.pk).order_by("-pk").first()
    if last is None:
        return {}
    shift = (plan.first_day - last.first_day).days // 7
    told = last.trips.filter(week__gte=shift).values_list("site", "week")
    return {site: week - shift for site, week in told}


def work_out(season: Season, seconds: float, tell: Callable[[float], bool], today: date) -> list[WeekDone]:
    """Deal the trips, then each week's days and routes, in ``seconds`` of search a week; what finds no place
    in its week tries the next. Ends early where ``tell`` says so."""
    week = deal(season.dealt, season.hours, season.period, season.saving).week
    done: list[WeekDone] = []
    carried: list[Trip] = []
    for at in range(season.plan.weeks):
        mine = [trip for trip, own in zip(season.trips, week, strict=True) if own == at]
        base, share = at / season.plan.weeks, 1 / season.plan.weeks
        rule = Watched(seconds, lambda part, base=base, share=share: tell(base + share * part))  # type: ignore[misc]
        one = _one_week(season, at, [*carried, *mine], rule, today)
        carried = [trip for trip, _why in one.left if not trip.held]
        done.append(one)
        if rule.stopped or tell((at + 1) / season.plan.weeks):
            break
    return done


def _one_week(season: Season, at: int, trips: list[Trip], rule: Watched, today: date) -> WeekDone:
    monday = season.monday(at)
    sunday = monday + WEEK - timedelta(days=1)
    days = RoundPlan(first_day=monday, last_day=sunday)
    asked = rounds.ask(days, today, [_in_week(trip, monday, sunday) for trip in trips])
    solution = solve(asked.problem, rule, seed=1)
    one = WeekDone(monday, van_days=len(asked.vans), travel_s=solution.travel_s)
    for route in solution.routes:
        van = asked.vans[route.technician]
        one.rows += [_row(season, asked, at, visit.id, van.day, van.technician.pk) for visit in route.visits]
    mine = {trip.key: trip for trip in trips}
    one.left = [(mine[item.id], item.why) for item in solution.unserved]
    return one


def _in_week(trip: Trip, monday: date, sunday: date) -> Trip:
    """The trip as one of this week: it must be made, on any of its days that lies in the window."""
    first = min(max(trip.window.first, monday), sunday)
    return replace(trip, window=DueWindow(first, min(max(trip.window.last, monday), sunday)))


def _row(season: Season, asked: Asked, at: int, key: str, day: date, technician: int) -> SeasonTrip:
    trip = asked.trips[key]
    place = next(n for n, one in enumerate(season.trips) if one.key == key)
    before = int(season.dealt.before[place])
    return SeasonTrip(
        plan=season.plan,
        site=trip.site,
        visit=trip.visit,
        week=at,
        day=day,
        technician_id=technician,
        minutes=trip.minutes,
        first_day=season.trips[place].window.first,
        last_day=season.trips[place].window.last,
        before=None if before < 0 else season.monday(before),
    )
