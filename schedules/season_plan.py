"""What a season's plan is made of: the trips, the weeks that suit each, and the hours that there are."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from django.utils.translation import gettext as _
from scipy.spatial import ConvexHull, QhullError

from equipment.models import Desk
from schedules import rounds
from schedules.branches import Branches, branches
from schedules.models import Policy, RoundPlan, SeasonPlan
from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.season_weeks import Limits, SeasonTrips, areas, way_minutes
from schedules.planning.travel import EARTH_RADIUS_M, LEG_S
from schedules.proposal import said_nothing
from schedules.rounds import OWN_TRIP_S, Trip, VanDay
from schedules.season_skills import PeopleMinutes, skilled_limits
from schedules.season_staff import ASSUMED_HELD_SHARE, team, urgent, usual_way
from schedules.working_days import minutes_a_day

# Windows decide how seldom an area may be visited: never less than every third week.
MOST_PERIOD = 3
# Weeks dealt beyond the last: work that may wait past the season has somewhere to wait.
WEEKS_BEYOND = 4
WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Lost:
    """A trip that no week is sought for, the week that it is told in, and why."""

    trip: Trip
    week: int
    why: str


@dataclass(frozen=True)
class Season:
    """The plan's weeks and what is to be dealt to them and to ``WEEKS_BEYOND`` more, W in all: t trips,
    ``hours`` [branches, W] in minutes, ``period`` in weeks, ``saving`` in minutes a trip; ``free``: the
    share [W] of all time that is not held free for urgent work; ``skilled`` what those with a skill can do of
    the trips that need it; ``proved`` [branches, W] the share of the hours that the rounds of the plan before
    held where they were full, else one."""

    plan: SeasonPlan
    trips: list[Trip]
    dealt: SeasonTrips
    hours: FloatArray
    period: int
    saving: float
    lost: list[Lost]
    free: FloatArray
    branches: list[str]
    proved: FloatArray
    skilled: Limits | None = None

    def monday(self, week: int) -> date:
        """The first day of a week."""
        return self.plan.first_day + week * WEEK


def gather(plan: SeasonPlan, now: datetime, today: date) -> Season:
    """Read what is to be planned, as of ``now``; ``today`` is its day at the desk."""
    every = rounds.trips_of(RoundPlan(first_day=plan.first_day, last_day=_last_day(plan)), today)
    trips = [trip for trip in every if trip.site.placed]
    where = branches(Desk.the())
    days = [plan.first_day + timedelta(days=at) for at in range(7 * (plan.weeks + WEEKS_BEYOND))]
    vans, _no_start = rounds.vans_of(days)
    by_who = _minutes(plan, vans, where, today)
    gross = by_who.of_branches(len(where.names))
    north, east = _places(trips)
    branch = where.of(north, east)
    first, last = _weeks(plan, trips)
    period = int(np.clip(np.median(last - first + 1), 1, MOST_PERIOD)) if trips else 1
    a_week = max(1.0, float((first < plan.weeks).sum()) / plan.weeks)
    van_days = max(1.0, len(vans) / gross.shape[1])
    way = _way(now, north, east, a_week, van_days, where.places)
    dealt = SeasonTrips(
        first=first,
        last=last,
        minutes=np.array([trip.minutes + way for trip in trips], dtype=np.float64),
        branch=branch,
        area=_areas(north, east, branch, len(trips) / (van_days * period)) + _phase(plan, period),
        waste=np.array([_waste(trip) for trip in trips], dtype=np.float64),
        before=_before(plan, trips, first, last),
        held=np.array([trip.held for trip in trips], dtype=np.bool_),
    )
    free = _free_share(gross, urgent(today, Desk.the(), way).held)
    saving = _saving(north, east, a_week, period)
    skilled = skilled_limits([trip.skills for trip in trips], branch, by_who.less(free))
    return Season(
        plan, trips, dealt, gross * free, period, saving, _lost(plan, every, today), free, where.names,
        _proved(plan, where.names, gross.shape[1]), skilled,
    )  # fmt: skip


def _last_day(plan: SeasonPlan) -> date:
    return plan.first_day + (plan.weeks + WEEKS_BEYOND) * WEEK - timedelta(days=1)


def _lost(plan: SeasonPlan, every: Sequence[Trip], today: date) -> list[Lost]:
    """Homes without a position that the season's own weeks ask for, and visits nobody told the end of."""
    nowhere = [trip for trip in every if not trip.site.placed]
    first, _last = _weeks(plan, nowhere)
    found = [
        Lost(trip, int(week), _("The address has no position yet."))
        for trip, week in zip(nowhere, first, strict=True)
        if week < plan.weeks
    ]
    return found + [Lost(trip, 0, said_nothing(trip)) for trip in rounds.unsaid(today)]


def _places(trips: Sequence[Trip]) -> tuple[FloatArray, FloatArray]:
    told = np.array([(trip.site.latitude, trip.site.longitude) for trip in trips], dtype=np.float64)
    told = told.reshape(-1, 2)
    return told[:, 0], told[:, 1]


def _weeks(plan: SeasonPlan, trips: Sequence[Trip]) -> tuple[IntArray, IntArray]:
    """First and last week of each trip's window; a held one's own, and the first two for what is late."""

    def week(day: date) -> int:
        return min(max((day - plan.first_day).days // 7, 0), plan.weeks + WEEKS_BEYOND - 1)

    days = [
        (trip.visit.day, trip.visit.day)
        if trip.held and trip.visit and trip.visit.day
        else (plan.first_day, plan.first_day + 2 * WEEK - timedelta(days=1))
        if trip.late_since is not None
        else (trip.window.first, trip.window.last)
        for trip in trips
    ]
    first = np.array([week(one) for one, _last in days], dtype=np.int64)
    return first, np.array([week(last) for _one, last in days], dtype=np.int64)


def _waste(trip: Trip) -> float:
    """Minutes of driving that a week too early is worth: that share of the next change's trip."""
    # What is late is not thrown away any sooner.
    return 0.0 if not trip.life_days or trip.late_since is not None else 7 * OWN_TRIP_S / 60 / trip.life_days


def _minutes(plan: SeasonPlan, vans: Sequence[VanDay], where: Branches, today: date) -> PeopleMinutes:
    """Minutes of work of whoever works then and has a place to start from."""
    there = team(today, where)
    out = np.zeros((len(there.people), plan.weeks + WEEKS_BEYOND))
    row = {who.pk: at for at, who in enumerate(there.people)}
    for van in vans:
        week = (van.day - plan.first_day).days // 7
        out[row[van.technician.pk], week] += minutes_a_day(van.technician)
    return PeopleMinutes([frozenset(who.skills) for who in there.people], there.branch, out)


def _free_share(gross: FloatArray, held: float | None) -> FloatArray:
    """The share [W] of the hours that is not held free for urgent work, of all branches alike."""
    whole = np.maximum(gross.sum(axis=0), 1.0)
    share = np.full(len(whole), ASSUMED_HELD_SHARE) if held is None else np.minimum(held / whole, 1.0)
    return np.asarray(1.0 - share)


def _way(
    now: datetime, north: FloatArray, east: FloatArray, a_week: float, van_days: float, starts: FloatArray
) -> float:
    """Minutes on the road a trip: as on record, else by the formula, with the ways out and home and what
    every way takes whatever its length."""
    usual = usual_way(now)
    if usual.seen or not len(north):
        return usual.minutes
    policy = Policy.the()
    between = way_minutes(_area_m2(north, east), a_week, policy.road_speed_ms, policy.road_factor)
    out_m = _to_nearest_m(north, east, starts) * 2 * van_days / a_week
    return between + LEG_S / 60 + policy.road_factor * out_m / policy.road_speed_ms / 60


def _to_nearest_m(north: FloatArray, east: FloatArray, starts: FloatArray) -> float:
    """Mean distance from a home to the nearest start."""
    if not len(starts):
        return 0.0
    scale = np.radians(1.0) * EARTH_RADIUS_M
    up = (north[:, None] - starts[None, :, 0]) * scale
    along = (east[:, None] - starts[None, :, 1]) * scale * np.cos(np.radians(np.mean(north)))
    return float(np.hypot(up, along).min(axis=1).mean())


def _phase(plan: SeasonPlan, period: int) -> int:
    """What keeps an area's weeks the same ones of the calendar whichever Monday a plan begins on."""
    return -(plan.first_day.toordinal() // 7) % period


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
    if len(north) < 3:
        return 0.0
    scale = np.radians(1.0) * EARTH_RADIUS_M
    flat = np.column_stack([north * scale, east * scale * np.cos(np.radians(np.mean(north)))])
    try:
        return float(ConvexHull(flat).volume)
    except QhullError:
        return 0.0


def _before(plan: SeasonPlan, trips: Sequence[Trip], first: IntArray, last: IntArray) -> IntArray:
    """The week of this plan [t] in which the plan before put each trip, -1 where it knew none: the visit's
    own, or the home's own, else what the home had there within the window [``first``, ``last``]."""
    told = _weeks_before(plan)
    found = np.full(len(trips), -1, dtype=np.int64)
    for number, trip in enumerate(trips):
        found[number] = told.get(trip.site.pk, {}).pop(trip.visit.pk if trip.visit else None, -1)
    for number in np.flatnonzero(found < 0).tolist():
        # What was booked since, or is not booked any more, keeps the week that it had.
        rest = told.get(trips[number].site.pk, {})
        key = next((key for key, week in rest.items() if first[number] <= week <= last[number]), -1)
        if key != -1:
            found[number] = rest.pop(key)
    return found


def _plan_before(plan: SeasonPlan) -> SeasonPlan | None:
    states = (SeasonPlan.State.READY, SeasonPlan.State.STOPPED)
    rows = SeasonPlan.objects.filter(state__in=states, trips__isnull=False).exclude(pk=plan.pk)
    return rows.order_by("-pk").first()


def _proved(plan: SeasonPlan, branches: Sequence[str], weeks: int) -> FloatArray:
    """The share [branches, W] of each week's hours that was all its rounds could hold, as the plan before
    found; one where they held all that they were dealt, and from the season's end on."""
    share, last_one = np.ones((len(branches), weeks)), _plan_before(plan)
    for told in last_one.told if last_one else []:
        week = (date.fromisoformat(told["monday"]) - plan.first_day).days // 7
        for branch, name in enumerate(branches):
            if 0 <= week < weeks:
                share[branch, week] = min(told.get("proved", {}).get(name, 1.0), 1.0)
    return share


def _weeks_before(plan: SeasonPlan) -> dict[int, dict[int | None, int]]:
    """By home and visit (None: nothing booked) the weeks of this plan in the plan before."""
    last_one = _plan_before(plan)
    found: dict[int, dict[int | None, int]] = defaultdict(dict)
    if last_one is None:
        return found
    shift = (plan.first_day - last_one.first_day).days // 7
    rows = last_one.trips.filter(week__gte=max(shift, 0), week__lt=plan.weeks + shift)
    for site, visit, week in rows.values_list("site", "visit", "week"):
        found[site][visit] = week - shift
    return found
