"""What a technician's day comes to: when it starts, when it ends, on the road and at homes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from schedules.day_problem import NoStart, start_of
from schedules.models import Policy, Technician, Visit
from schedules.planning.travel import estimate


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
    first, last = (left[0].arrive_at, left[-1].leave_at) if left else (None, None)
    if first is None or last is None:
        return None
    try:
        depot = start_of(technician)
    except NoStart:
        return None
    over = [visit for visit in ordered if not visit.is_open]
    begin = _place(over[-1]) if over else depot
    legs = _legs_s([begin, *map(_place, left), depot])
    return DayTotals(
        starts_at=None if over else first - timedelta(seconds=legs[0]),
        back_at=last + timedelta(seconds=legs[-1]),
        driving_minutes=round(sum(legs) / 60),
        home_minutes=sum(visit.minutes for visit in left),
    )


def _place(visit: Visit) -> tuple[float | None, float | None]:
    return visit.site.latitude, visit.site.longitude


def _legs_s(places: Sequence[tuple[float | None, float | None]]) -> list[int]:
    """Seconds from each place to the next."""
    policy = Policy.the()
    latitude, longitude = (np.array([place[axis] for place in places], dtype=np.float64) for axis in (0, 1))
    seconds, _metres = estimate(
        latitude, longitude, road_factor=policy.road_factor, speed_ms=policy.road_speed_ms
    )
    return [int(leg) for leg in np.diagonal(seconds, offset=1)]
