"""Which times offered to a household still stand, and which households are to be rung about them."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils import formats
from django.utils.translation import gettext as _

from equipment.models import Desk
from schedules.models import Notice, OfferedTime, Visit
from schedules.visit_notices import readers_of
from shared import clock

WAITING = (Visit.State.DUE, Visit.State.DISPLACED)
# Whoever has not answered by then is rung. Own choice.
PATIENCE = timedelta(days=5)
LINK_LASTS = timedelta(days=60)


class Hours(Protocol):
    """A day with hours of the desk's wall clock."""

    day: date
    first: time
    last: time


@dataclass(frozen=True)
class Unanswered:
    """A visit that waits though times were offered, and why somebody should ring."""

    visit: Visit
    offered_at: datetime
    why: str


def standing(today: date) -> QuerySet[OfferedTime]:
    """The times that households may still choose: of visits that wait for a day, on days to come."""
    return OfferedTime.objects.filter(
        visit__state__in=WAITING, visit__day=None, chosen_at=None, closed_at=None, day__gt=today
    )


def open_times(visit: Visit, now: datetime) -> QuerySet[OfferedTime]:
    """Those of one visit."""
    today = clock.local_day(now, Desk.the().zone)
    return standing(today).filter(visit=visit).select_related("technician")


def time_words(one: Hours, tz: ZoneInfo) -> str:
    """Weekday, day and hours in the household's zone."""
    desk = Desk.the().zone
    first, last = (datetime.combine(one.day, hour, desk).astimezone(tz) for hour in (one.first, one.last))
    return _("%(day)s between %(first)s and %(last)s") % {
        "day": formats.date_format(first, _("l j F Y")),
        "first": formats.date_format(first, "H:i"),
        "last": formats.date_format(last, "H:i"),
    }


def why_stale(notice: Notice, now: datetime) -> str:
    """Why a letter that offers times must not go out any more; empty when it may."""
    visit, person = notice.visit, notice.person
    if visit is None or person is None:
        return _("its visit or its reader is not known")
    if not open_times(visit, now).exists():
        return _("the times offered stand no longer")
    if readers_of([visit.site_id]).get(visit.site_id) != person:
        return _("somebody else is told of visits there now")
    return ""


def unanswered(now: datetime) -> list[Unanswered]:
    """Visits that still wait though times were offered: declined, lapsed, not delivered or not answered."""
    waiting = Visit.objects.filter(state__in=WAITING, day=None, site__customer__gone_on=None)
    offered = OfferedTime.objects.filter(visit__in=waiting, chosen_at=None)
    last = {row.visit_id: row for row in offered.order_by("offered_at", "pk").select_related("visit__site")}
    lost = _not_delivered(list(last))
    found = []
    for row in last.values():
        why = lost.get(row.visit_id) or _why(row, now)
        if why:
            found.append(Unanswered(row.visit, row.offered_at, why))
    return found


def _why(row: OfferedTime, now: datetime) -> str:
    if row.declined:
        return _("none of the times offered suits them: agree on a day")
    if not open_times(row.visit, now).exists():
        return _("the times offered stand no longer: agree on a day")
    if now - row.offered_at >= PATIENCE:
        return _("no answer to the times offered: agree on a day")
    return ""


def _not_delivered(visits: list[int]) -> dict[int, str]:
    rows = Notice.objects.filter(visit__in=visits, kind=Notice.Kind.TIMES).order_by("pk")
    last = {row.visit_id: row for row in rows if row.visit_id}
    said = _("the letter with the times did not get out (%(why)s): agree on a day")
    lost = (Notice.State.FAILED, Notice.State.PARKED)
    return {pk: said % {"why": row.why} for pk, row in last.items() if row.state in lost}
