"""A household at whose door we stood in vain hears of it, and how to agree on another day."""

from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from schedules.hours_of_sending import settled
from schedules.models import Notice, Visit
from schedules.no_access import ShutDoor, shut_doors
from schedules.reach import VISITS, Rested, why_no_mail
from schedules.visit_notices import readers_of

# What was not told by then is no news.
_NEWS_FOR = timedelta(days=3)


def write_shut(now: datetime) -> int:
    """Write a letter for every home whose last visit found nobody, and which waits still; how many. Whom no
    letter reaches is rung, as everybody is who does not answer."""
    doors = [door for door in shut_doors(now) if _is_news(door, now)]
    readers = readers_of({door.visit.site_id for door in doors})
    rested = Rested(readers.values())
    known = set(
        Notice.objects.filter(key__in=[_key(door.visit) for door in doors]).values_list("key", flat=True)
    )
    count = 0
    for door in doors:
        reader = readers.get(door.visit.site_id)
        if _key(door.visit) in known or why_no_mail(reader, VISITS, rested):
            continue
        try:
            with transaction.atomic():
                Notice.objects.create(
                    key=_key(door.visit), kind=Notice.Kind.SHUT, site=door.visit.site, visit=door.visit,
                    person=reader, send_at=settled(door.visit.site, now),
                )  # fmt: skip
        except IntegrityError:
            continue
        count += 1
    return count


def _is_news(door: ShutDoor, now: datetime) -> bool:
    at = door.visit.completed_at
    return at is not None and now - at <= _NEWS_FOR


def _key(visit: Visit) -> str:
    return f"shut-{visit.pk}"


def why_stale(notice: Notice, now: datetime) -> str:
    """Why a letter about a shut door must not go out any more; empty when it may."""
    visit, person = notice.visit, notice.person
    if visit is None or person is None:
        return _("its visit or its reader is not known")
    if not any(door.visit.pk == visit.pk for door in shut_doors(now)):
        return _("somebody is to come again, or nothing is left to be done there")
    if readers_of([visit.site_id]).get(visit.site_id) != person:
        return _("somebody else is told of visits there now")
    return ""
