"""Who there is for the season: minutes of work by technician and week, a reserve, and what a way takes."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise

import numpy as np
from django.db.models import Min, Q

from equipment.models import Desk
from schedules.branches import Branches
from schedules.models import Absence, Technician, Visit
from schedules.planning.arrays import FloatArray, IntArray
from schedules.season_rows import number
from schedules.working_days import minutes_a_day, works
from shared import clock

# Held free for what is rung for on the day, where the record is too short to tell. Own assumption.
ASSUMED_HELD_SHARE = 0.1
# So many weeks and urgent visits tell a reserve; what suffices in so many weeks of a hundred is held.
FEWEST_WEEKS, FEWEST_URGENT = 8, 10
HELD_LEVEL = 0.9
_LOOK_BACK = timedelta(days=364)
# A way where fewer than twenty are on record; own assumption. Beyond the longest it was no plain way.
ASSUMED_WAY_MINUTES, FEWEST_WAYS, LONGEST_WAY_MINUTES = 15.0, 20, 90.0
_MOST_VISITS = 2000


@dataclass(frozen=True)
class Team:
    """m technicians: ``branch`` [m], and what absences touch the days to come."""

    people: list[Technician]
    branch: IntArray
    away: list[Absence]

    def minutes(self, today: date, ends: IntArray, gone: int = 0) -> FloatArray:
        """Minutes of work [m, W] in the weeks ending before ``ends`` [W], from today on, of which ``gone``
        minutes are over."""
        out = np.zeros((len(self.people), len(ends)))
        for row, who in enumerate(self.people):
            mine = [one for one in self.away if one.technician_id in (None, who.pk)]
            whole = max(minutes_a_day(who), 0)
            begun = max(gone - 60 * who.day_starts.hour - who.day_starts.minute, 0)
            for ahead in range(int(ends[-1]) if len(ends) else 0):
                if works(who, today + timedelta(days=ahead), mine):
                    day = whole if ahead else max(whole - begun, 0)
                    out[row, np.searchsorted(ends, ahead, side="right")] += day
        return out


def team(today: date, where: Branches) -> Team:
    """Everybody who has not left, with the branch of their depot, else the nearest to where they start."""
    staff = Technician.objects.filter(Q(gone_on=None) | Q(gone_on__gt=today))
    people = list(staff.select_related("depot"))
    nearest = where.of(
        np.array([number(who.start_latitude) for who in people]),
        np.array([number(who.start_longitude) for who in people]),
    )
    branch = [
        where.pks.index(who.depot_id) if who.depot_id in where.pks else int(near)
        for who, near in zip(people, nearest, strict=True)
    ]
    away = list(Absence.objects.filter(withdrawn_at=None, last_day__gte=today))
    return Team(people, np.array(branch, dtype=np.int64), away)


@dataclass(frozen=True)
class Urgent:
    """What urgent visits took of whole weeks on record, minutes a week: their ``mean``, and ``held``, which
    sufficed in nine weeks of ten; None where the record is too short. ``weeks`` and ``visits`` behind it."""

    weeks: int
    visits: int
    mean: float | None = None
    held: float | None = None


def reserve_of(weekly: Sequence[float], visits: int) -> Urgent:
    """The reserve from the minutes of each whole week on record."""
    if len(weekly) < FEWEST_WEEKS or visits < FEWEST_URGENT:
        return Urgent(len(weekly), visits)
    return Urgent(len(weekly), visits, float(np.mean(weekly)), float(np.quantile(weekly, HELD_LEVEL)))


def urgent(today: date, desk: Desk, way_minutes: float) -> Urgent:
    """Visits that somebody rang for and that were booked for the same day or the next."""
    monday = today - timedelta(days=today.weekday())
    began = Visit.objects.aggregate(first=Min("created_at"))["first"]
    if began is None:
        return Urgent(0, 0)
    first = clock.local_day(began, desk.zone)
    first += timedelta(days=-first.weekday() % 7)
    first = max(first, monday - _LOOK_BACK)
    weekly = [0.0] * max(0, (monday - first).days // 7)
    count = 0
    rows = Visit.objects.filter(day__gte=first, day__lt=monday).exclude(wanted="")
    for day, created, minutes in rows.exclude(state=Visit.State.CANCELLED).values_list(
        "day", "created_at", "minutes"
    ):
        if day is not None and 0 <= (day - clock.local_day(created, desk.zone)).days <= 1:
            weekly[(day - first).days // 7] += minutes + way_minutes
            count += 1
    return reserve_of(weekly, count)


@dataclass(frozen=True)
class Way:
    """Minutes of driving a stop, and how many ways on record tell so; nought: assumed."""

    minutes: float
    seen: int


def usual_way(now: datetime) -> Way:
    """The median way from one home to the next of a round, over a year."""
    rows = Visit.objects.filter(
        state=Visit.State.COMPLETED,
        arrived_at__isnull=False,
        completed_at__gte=now - timedelta(days=365),
        technician__isnull=False,
    ).order_by("-completed_at")
    stops = list(rows.values_list("technician", "day", "completed_at", "arrived_at")[:_MOST_VISITS])
    stops.sort(key=lambda row: (row[0] or 0, row[1] or date.min, row[2]))
    ways = [
        (reached[3] - left[2]).total_seconds() / 60
        for left, reached in pairwise(stops)
        if left[:2] == reached[:2] and left[2] and reached[3]
    ]
    plain = [way for way in ways if 1.0 <= way <= LONGEST_WAY_MINUTES]
    if len(plain) < FEWEST_WAYS:
        return Way(ASSUMED_WAY_MINUTES, 0)
    return Way(float(np.median(plain)), len(plain))
