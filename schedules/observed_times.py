"""Ways and stays as they were: arrivals and completions on record set the desk's paces anew."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from itertools import groupby, pairwise
from zoneinfo import ZoneInfo

import numpy as np

from equipment.models import Desk
from schedules.hours import seconds_of
from schedules.models import Policy, Visit
from schedules.planning.observed import pace
from schedules.slow_hours import pace_over
from schedules.travel import reckoned_between

# Roads and habits change: older visits say little.
_LOOK_BACK = timedelta(days=365)
MOST_VISITS = 1000


def refresh(now: datetime) -> bool:
    """Set the factors of way and stay anew from the completed visits of a year; whether one changed."""
    rows = Visit.objects.filter(
        state=Visit.State.COMPLETED,
        arrived_at__isnull=False,
        completed_at__gte=now - _LOOK_BACK,
        technician__isnull=False,
    ).select_related("site")
    visits = list(rows.order_by("-completed_at")[:MOST_VISITS])
    way, stay = _paces(list(_ways(visits))), _paces(list(_stays(visits)))
    told = {
        "way_factor": way[0], "ways_observed": way[1], "way_spread": way[2],
        "stay_factor": stay[0], "stays_observed": stay[1], "stay_spread": stay[2],
    }  # fmt: skip
    policy = Policy.the()
    if all(getattr(policy, name) == value for name, value in told.items()):
        return False
    Policy.objects.filter(pk=policy.pk).update(**told)
    return True


def _paces(pairs: list[tuple[float, float]]) -> tuple[float, int, float]:
    table = np.array(pairs, dtype=np.float64).reshape(-1, 2)
    found = pace(table[:, 0], table[:, 1])
    return round(found.factor, 3), found.count, round(found.spread, 3)


def _stays(visits: list[Visit]) -> Iterator[tuple[float, float]]:
    for visit in visits:
        if visit.arrived_at and visit.completed_at:
            yield (visit.completed_at - visit.arrived_at).total_seconds(), 60.0 * visit.minutes


def _ways(visits: list[Visit]) -> Iterator[tuple[float, float]]:
    """From one home's completion to the arrival at the next, beside the way as it is reckoned."""
    zone = Desk.the().zone
    for _round, some in groupby(
        sorted(visits, key=lambda one: (*_round_of(one), one.completed_at)), _round_of
    ):
        stops = [visit for visit in some if visit.site.placed]
        if len(stops) < 2:
            continue
        places = [(float(one.site.latitude or 0.0), float(one.site.longitude or 0.0)) for one in stops]
        seconds = reckoned_between(places).seconds
        for at, (left, reached) in enumerate(pairwise(stops)):
            reckoned = seconds[at][at + 1]
            if left.completed_at and reached.arrived_at and reckoned:
                took = (reached.arrived_at - left.completed_at).total_seconds()
                yield took, float(_by_the_hour(left.completed_at, reckoned, zone))


def _by_the_hour(left_at: datetime, way_s: int, zone: ZoneInfo) -> int:
    """What a way takes at the hour that it was begun."""
    local = left_at.astimezone(zone)
    pace = pace_over([local.date()], lambda _day, hour: seconds_of(hour))
    leave = seconds_of(local.time())
    return pace.arrive(leave, way_s) - leave


def _round_of(visit: Visit) -> tuple[int, date]:
    return visit.technician_id or 0, visit.day or date.min
