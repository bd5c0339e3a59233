"""A technician's day: its visits put in order, or one of them fitted in between the others."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cached_property

from django.db import transaction
from django.utils.translation import gettext as _

from schedules.day_problem import (
    HERE,
    Agreed,
    DayClock,
    Place,
    Standing,
    Windows,
    day_problem,
    given_time,
    start_of,
)
from schedules.emails import FilterLine
from schedules.models import Technician, Visit
from schedules.plain_reasons import said_plainly
from schedules.planning.routing import Iterations, Solution, Stop, solve
from schedules.planning.routing.timing import on_the_road

ITERATIONS = 400
# More than any way of a day.
_DEAR_S = 1_000_000
# Whose promise is lost already is served where that costs less than half a day.
_LOST_S = 20_000


@dataclass(frozen=True)
class DayPlan:
    """A day in order: what is served, and why something is not; ``displaced`` are those of it that had a
    time before."""

    visits: list[Visit]
    left_out: list[tuple[Visit, str]]
    travel_s: int
    travel_m: int
    depot: Place
    displaced: frozenset[int] = frozenset()
    # Whose hours as told cannot be kept any more.
    broken: list[Visit] = field(default_factory=list)

    def why_not(self, visit: Visit) -> str:
        """Why the visit has no place in the order; empty where it has."""
        return next((why for left, why in self.left_out if left.pk == visit.pk), "")


def order_day(technician: Technician, day: date, now: datetime) -> DayPlan:
    """Put the day's open visits in order, store times and stop numbers, and say what does not fit and why.

    On the day itself nothing is set before ``now``, and the round goes on from the home that the technician
    is at by the order so far, or was at last. Raises NoStart.
    """
    depot, hours = start_of(technician), DayClock(technician, day, now)
    begun, every = _begun(technician, day, now), _open_visits(technician, day)
    visits = [visit for visit in every if not _under_way(visit, now, begun)]
    timed = frozenset(visit.pk for visit in visits if visit.arrive_at)
    placed = [visit for visit in visits if visit.site.placed]
    left_out = [(visit, _unplaced()) for visit in visits if not visit.site.placed]
    if hours.earliest >= hours.ends:
        late = [(visit, _over()) for visit in visits if not visit.arrive_at]
        return DayPlan([], late, 0, 0, depot)
    standing = _standing(begun, hours)
    solution, broken = _ordered(technician, placed, hours, standing)
    by_id = {str(visit.pk): visit for visit in placed}
    left_out += [(by_id[item.id], said_plainly(item.why)) for item in solution.unserved if item.id != HERE]
    ordered = _timed(solution, by_id, hours)
    _number(ordered, begun)
    for visit, _why in left_out:
        visit.forget_times()
    _store([*ordered, *(visit for visit, _why in left_out)])
    displaced = timed & {visit.pk for visit, _why in left_out}
    road_s = on_the_road(solution.routes)
    return DayPlan(ordered, left_out, road_s, solution.travel_m, depot, displaced, broken)


def _ordered(
    technician: Technician, visits: list[Visit], hours: DayClock, standing: Standing
) -> tuple[Solution, list[Visit]]:
    """The day within the hours that households were told. Where these cannot all be kept any more, whose
    cannot are served at another hour, and named."""
    agreed = Agreed(visits, hours)
    problem = day_problem(technician, visits, hours, agreed.kept, standing, agreed.firm)
    solution = solve(problem, Iterations(ITERATIONS), seed=1)
    left = {item.id for item in solution.unserved}
    broken = [visit for visit in visits if str(visit.pk) in left and agreed.told(visit)]
    if not broken:
        return solution, []
    late = {visit.pk for visit in broken}

    def windows(visit: Visit) -> Windows:
        return agreed.home(visit) if visit.pk in late else agreed.kept(visit)

    def firm(visit: Visit) -> bool:
        return visit.pk not in late and agreed.firm(visit)

    problem = day_problem(technician, visits, hours, windows, standing, firm)
    # First the promises that can be kept, then those that broke, then what was promised to nobody.
    promised = {HERE, *(str(visit.pk) for visit in visits if agreed.firm(visit))}
    ranked = [
        stop if stop.id in promised else replace(stop, must=False, worth=_DEAR_S) for stop in problem.stops
    ]
    solution = solve(replace(problem, stops=tuple(ranked)), Iterations(ITERATIONS), seed=1)
    left = {item.id for item in solution.unserved}
    lost = {visit.pk for visit in visits if str(visit.pk) in left and agreed.told(visit)}
    return solution, [visit for visit in visits if visit.pk in late | lost]


def fit_in(visit: Visit, now: datetime) -> str:
    """Give a visit of a running day a time between those already given; why it has none, or nothing.

    Times given stay; where that leaves no gap they move within the hours that were told. Raises NoStart.
    """
    technician, day = visit.technician, visit.day
    if technician is None or day is None:
        return ""
    if not visit.site.placed:
        return _unplaced()
    hours, begun = DayClock(technician, day, now), _begun(technician, day, now)
    if hours.earliest >= hours.ends:
        return _over()
    visit.arrive_at = visit.leave_at = None
    still = [one for one in _open_visits(technician, day) if not _under_way(one, now, begun)]
    everybody = [*_beside(visit, still, hours, begun, now), visit]
    gap = _Gap(technician, visit, everybody, hours, _standing(begun, hours))
    solution, moves = gap.solved(gap.agreed.given), False
    if gap.lacks(solution):
        # Nobody notices a time that moves within the hours they were told.
        solution, moves = gap.solved(gap.agreed.promised), True
    if gap.lacks(solution):
        return gap.why_not()
    kept = (
        {}
        if moves
        else {one.pk: (one.arrive_at, one.leave_at) for one in everybody if given_time(one, hours)}
    )
    ordered = _timed(solution, {str(one.pk): one for one in everybody}, hours)
    for one in ordered:
        one.arrive_at, one.leave_at = kept.get(one.pk, (one.arrive_at, one.leave_at))
    _number(ordered, begun)
    _store(ordered)
    return ""


def _beside(
    visit: Visit, still: list[Visit], hours: DayClock, begun: Sequence[Visit], now: datetime
) -> list[Visit]:
    """Who else is to come that day: with a time, or promised one and still without; also whose time is past,
    where the technician is at another door."""
    agreed, elsewhere = Agreed(still, hours), _at_a_door(begun)
    return [
        one
        for one in still
        if one.pk != visit.pk
        and one.site.placed
        and (elsewhere or one.arrive_at > now if one.arrive_at else agreed.firm(one))
    ]


Times = dict[int, tuple[str, datetime | None]]


def times_beside(visit: Visit) -> Times:
    """Home and time of the other visits of its technician and day, as stored."""
    if visit.technician is None or visit.day is None:
        return {}
    others = (one for one in _open_visits(visit.technician, visit.day) if one.pk != visit.pk)
    return {one.pk: (one.site.address or one.site.name, one.arrive_at) for one in others}


@dataclass(frozen=True)
class _Gap:
    """A running day that one more ``visit`` of ``everybody`` is to go into."""

    technician: Technician
    visit: Visit
    everybody: list[Visit]
    hours: DayClock
    standing: Standing

    @cached_property
    def agreed(self) -> Agreed:
        """What hours hold for everybody."""
        return Agreed(self.everybody, self.hours)

    @cached_property
    def lost(self) -> set[str]:
        """Who has no time to come and cannot be served as promised even without the visit.

        Nobody may be blamed for these.
        """
        others = [one for one in self.everybody if one.pk != self.visit.pk]
        problem = day_problem(self.technician, others, self.hours, self.agreed.promised, self.standing)
        left = {item.id for item in solve(problem, Iterations(ITERATIONS), seed=1).unserved}
        earliest = self.hours.at(self.hours.earliest)
        timeless = {str(one.pk) for one in others if not one.arrive_at or one.arrive_at < earliest}
        return (left & timeless) | {str(one.pk) for one in others if self.agreed.is_broken(one)}

    def solved(self, windows: Callable[[Visit], Windows]) -> Solution:
        """The day within ``windows``; who is lost is served at any hour that suits, or left as they are."""
        return self._solve(windows, lambda stop: stop)

    def lacks(self, solution: Solution) -> bool:
        """Whether somebody who could be served is not."""
        return bool({item.id for item in solution.unserved} - self.lost)

    def why_not(self) -> str:
        """Why the visit finds no place, or whose promise it would break."""
        own = {HERE, str(self.visit.pk)}
        solution = self._solve(
            self.agreed.promised,
            lambda stop: stop if stop.id in own else replace(stop, must=False, firm=False, worth=_DEAR_S),
        )
        left = {item.id: item.why for item in solution.unserved if item.id not in self.lost}
        if str(self.visit.pk) in left:
            return said_plainly(left[str(self.visit.pk)])
        names = [one.site.address or one.site.name for one in self.everybody if str(one.pk) in left]
        return _("It would break what was promised to %(homes)s.") % {"homes": _(" and ").join(names)}

    def _solve(self, windows: Callable[[Visit], Windows], keen: Callable[[Stop], Stop]) -> Solution:
        def within(one: Visit) -> Windows:
            return self.agreed.home(one) if str(one.pk) in self.lost else windows(one)

        problem = day_problem(self.technician, self.everybody, self.hours, within, self.standing)
        stops = [
            replace(stop, must=False, worth=_LOST_S) if stop.id in self.lost else keen(stop)
            for stop in problem.stops
        ]
        return solve(replace(problem, stops=tuple(stops)), Iterations(ITERATIONS), seed=1)


def _open_visits(technician: Technician, day: date) -> list[Visit]:
    rows = Visit.objects.filter(technician=technician, day=day, state__in=Visit.ON_A_DAY)
    return list(rows.select_related("site").prefetch_related("jobs").order_by("pk"))


def _under_way(visit: Visit, now: datetime, begun: Sequence[Visit]) -> bool:
    """Whether the technician is at the home now: as said at the door, else by the time given."""
    if visit.state == Visit.State.UNDER_WAY:
        return True
    if _at_a_door(begun):
        return False
    times = visit.arrive_at, visit.leave_at
    return visit.is_open and times[0] is not None and times[1] is not None and times[0] <= now < times[1]


def _begun(technician: Technician, day: date, now: datetime) -> list[Visit]:
    """The day's visits that are over or were to begin by now, in the order in which they were left."""
    rows = Visit.objects.filter(technician=technician, day=day).exclude(state=Visit.State.CANCELLED)
    every = list(rows.select_related("site"))
    if _at_a_door(every):
        begun = [row for row in every if not row.is_open or row.state == Visit.State.UNDER_WAY]
    else:
        begun = [row for row in every if not row.is_open or _has_begun(row, now)]
    return sorted(begun, key=lambda visit: visit.completed_at or visit.arrived_at or visit.leave_at or now)


def _at_a_door(visits: Sequence[Visit]) -> bool:
    """Whether the technician said where they are, so that times given tell no better."""
    return any(visit.state == Visit.State.UNDER_WAY for visit in visits)


def _leaves(visit: Visit) -> datetime:
    """When the technician is free of the visit begun: by the arrival said at the door, else as given."""
    if visit.arrived_at is not None:
        return visit.arrived_at + timedelta(minutes=visit.minutes)
    return visit.leave_at or datetime.min.replace(tzinfo=UTC)


def _has_begun(visit: Visit, now: datetime) -> bool:
    return visit.state == Visit.State.UNDER_WAY or (visit.arrive_at or now) < now


def _standing(begun: list[Visit], hours: DayClock) -> Standing:
    """Where the technician is, and when free: at the last home begun, once its given time is over."""
    placed = [visit for visit in begun if visit.site.placed]
    if not hours.is_today or not placed:
        return Standing(hours.earliest)
    last = placed[-1]
    leaves = hours.since(_leaves(last)) if last.is_open else 0
    place = (float(last.site.latitude or 0.0), float(last.site.longitude or 0.0))
    return Standing(max(hours.earliest, leaves), place)


def _timed(solution: Solution, by_id: dict[str, Visit], hours: DayClock) -> list[Visit]:
    """The served visits in their order, with their times."""
    ordered = []
    for stop in (stop for route in solution.routes for stop in route.visits if stop.id != HERE):
        visit = by_id[stop.id]
        visit.arrive_at, visit.leave_at = hours.at(stop.arrive_s), hours.at(stop.leave_s)
        ordered.append(visit)
    return ordered


def _number(ordered: list[Visit], begun: list[Visit]) -> None:
    """Stop numbers that go on after those of the visits begun, which keep theirs unless ordered anew."""
    anew = {visit.pk for visit in ordered}
    first = max((visit.stop_number or 0 for visit in begun if visit.pk not in anew), default=0) + 1
    for number, visit in enumerate(ordered, start=first):
        visit.stop_number = number


def _over() -> str:
    return _("The technician's hours of that day are over.")


def _unplaced() -> str:
    return _("The address has no position; find it on a map and enter latitude and longitude.")


def _store(visits: list[Visit]) -> None:
    with transaction.atomic():
        for visit in visits:
            visit.save(update_fields=["stop_number", "arrive_at", "leave_at"])


def to_bring(lines: list[FilterLine]) -> list[tuple[int, FilterLine]]:
    """The filters of some slots, counted by size and medium."""
    counted: dict[tuple[str, int | None], tuple[int, FilterLine]] = {}
    for line in lines:
        key = (line.size, line.media.pk if line.media else None)
        count, first = counted.get(key, (0, line))
        counted[key] = (count + 1, first)
    return [counted[key] for key in sorted(counted, key=lambda key: (key[0], key[1] or 0))]
