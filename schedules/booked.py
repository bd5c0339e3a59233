"""A visit booked or moved together with its time on its day, and what came of that for others."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime, time

from django.db import transaction
from django.utils.translation import gettext as _

from schedules import due, routes, visits
from schedules.bookable import NotBookable, Unsuited
from schedules.changed_since import refuse_changed
from schedules.day_problem import NoStart
from schedules.models import Technician, Visit


@dataclass(frozen=True)
class Moved:
    """A home whose time moved for the visit."""

    home: str
    was: datetime
    at: datetime


@dataclass
class Booked:
    """The visit; ``why`` it has no time on its day; who lost a place there, with the reason; who was told
    other hours; whose times moved."""

    visit: Visit
    why: str = ""
    lost: list[tuple[Visit, str]] = field(default_factory=list)
    late: list[Visit] = field(default_factory=list)
    moved: list[Moved] = field(default_factory=list)


@dataclass(frozen=True)
class Move:
    """Where a visit goes; ``shown`` is the visit as whoever moves it saw it, empty where that is unknown."""

    technician: Technician
    day: date
    window_from: time | None = None
    window_to: time | None = None
    sure: bool = False
    shown: str = ""


def book(booking: visits.Booking, now: datetime) -> Booked:
    """Book it and give it a time. Raises NotBookable, and Unsuited unless the asker is sure."""
    return _with_time(lambda: visits.book(booking, now), now, sure=booking.sure)


def move(visit: Visit, to: Move, now: datetime) -> Booked:
    """Give an open visit another technician, day or hours. Raises NotBookable, also where somebody else moved
    it meanwhile."""

    def moved() -> Visit:
        current = refuse_changed(visit, to.shown)
        if to.window_from and to.window_to and to.window_to < to.window_from:
            raise NotBookable(_("The hours end before they begin."))
        current.window_from, current.window_to = to.window_from, to.window_to
        return visits.schedule(current, to.technician, to.day, now, sure=to.sure)

    return _with_time(moved, now, sure=to.sure)


def _with_time(make: Callable[[], Visit], now: datetime, *, sure: bool) -> Booked:
    with transaction.atomic():
        visit = make()
        before = routes.times_beside(visit)
        if visit.day is not None and not sure:
            visits.ask_of_another(visit)
            _ask_of_today(visit, now)
    told = Booked(visit)
    if visit.technician is not None and visit.day is not None:
        told.why = _give_a_time(told, visit.technician, visit.day, now)
        visit.refresh_from_db(fields=["arrive_at", "leave_at", "stop_number"])
    told.moved = _moved(before, routes.times_beside(visit))
    return told


def _ask_of_today(visit: Visit, now: datetime) -> None:
    """Raise Unsuited for a visit of today that no time is left for."""
    if visit.day == due.today(now) and visit.site.placed:
        with suppress(NoStart):
            why = routes.fit_in(visit, now)
            if why:
                raise Unsuited(_("Today has no time for it. %(why)s") % {"why": why})


def _give_a_time(told: Booked, technician: Technician, day: date, now: datetime) -> str:
    """Why the visit has no time on its day; nothing where it has. The times of today's others stay."""
    visit = told.visit
    try:
        if day == due.today(now) or not visit.site.placed:
            return "" if visit.arrive_at else routes.fit_in(visit, now)
        plan = routes.order_day(technician, day, now)
    except NoStart as error:
        return str(error)
    told.lost, told.late = lost_places(plan), plan.broken
    return plan.why_not(visit)


def lost_places(plan: routes.DayPlan) -> list[tuple[Visit, str]]:
    """Who had a time on the day and has none any more, with the reason."""
    return [(left, why) for left, why in plan.left_out if left.pk in plan.displaced]


def _moved(before: routes.Times, after: routes.Times) -> list[Moved]:
    """Whose time moved, with both times."""
    return [
        Moved(home, had, at)
        for pk, (home, at) in after.items()
        if pk in before and at is not None and (had := before[pk][1]) is not None and had != at
    ]
