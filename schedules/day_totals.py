"""What a technician's day comes to: when it starts, when it ends, on the road and at homes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from schedules.day_problem import DayClock, NoStart, Place, start_of
from schedules.models import Technician, Visit
from schedules.slow_hours import pace_over
from schedules.travel import travel_between


@dataclass(frozen=True)
class DayTotals:
    """Moments in UTC and whole minutes, of the ordered stops alone; once the round has begun there is no
    start any more, and driving and homes are what is left."""

    starts_at: datetime | None
    back_at: datetime
    driving_minutes: int
    home_minutes: int


def totals(technician: Technician, stops: Sequence[Visit]) -> DayTotals | None:
    """The totals of the stops that have a place in the order; None for none left, or without a start.

    Driving is reckoned as it was when the day was put in order.
    """
    ordered = [visit for visit in stops if visit.stop_number and visit.site.placed]
    left = [visit for visit in ordered if visit.is_open]
    first, day = (left[0].arrive_at, left[0].day) if left else (None, None)
    if first is None or day is None or any(visit.leave_at is None for visit in left):
        return None
    try:
        depot = start_of(technician)
    except NoStart:
        return None
    over = [visit for visit in ordered if not visit.is_open]
    begin = _place(over[-1]) if over else depot
    ways = _ways([begin, *map(_place, left), depot])
    hours = DayClock(technician, day, first)
    pace = pace_over([day], lambda _day, hour: hours.of(hour))
    starts = pace.leave(hours.since(first), ways[0])
    leaves = [starts, *(hours.since(visit.leave_at) for visit in left if visit.leave_at)]
    arrives = [pace.arrive(leave, way) for leave, way in zip(leaves, ways, strict=True)]
    return DayTotals(
        starts_at=None if over else hours.at(starts),
        back_at=hours.at(arrives[-1]),
        driving_minutes=round((sum(arrives) - sum(leaves)) / 60),
        home_minutes=sum(visit.minutes for visit in left),
    )


def _place(visit: Visit) -> Place:
    return float(visit.site.latitude or 0.0), float(visit.site.longitude or 0.0)


def _ways(places: Sequence[Place]) -> list[int]:
    """Seconds from each place to the next at the usual speed; nought where no way is known."""
    seconds = travel_between(places).seconds
    return [seconds[at][at + 1] or 0 for at in range(len(places) - 1)]
