"""Whoever owns a house or pays for it hears what was done there."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from equipment.models import Person, SiteRole
from schedules.hours_of_sending import settled
from schedules.models import Notice, Visit
from schedules.reach import RECORD, Rested, why_no_mail

_ROLES = (SiteRole.Role.OWNER, SiteRole.Role.BILL_PAYER)
# What was not told by then is no news.
_NEWS_FOR = timedelta(days=3)


def readers_at(sites: Iterable[int]) -> dict[int, list[Person]]:
    """Owner and bill payer of each site, once each."""
    rows = SiteRole.objects.filter(site__in=list(sites), role__in=_ROLES, until=None)
    found: dict[int, list[Person]] = defaultdict(list)
    for row in rows.select_related("person").order_by("pk"):
        if row.person not in found[row.site_id]:
            found[row.site_id].append(row.person)
    return found


def write_done(now: datetime) -> int:
    """Write a row for everybody who wants to hear of a visit just completed; how many were written."""
    recent = Visit.objects.filter(state=Visit.State.COMPLETED, completed_at__range=(now - _NEWS_FOR, now))
    visits = list(recent.select_related("site"))
    readers = readers_at({visit.site_id for visit in visits})
    rested = Rested(person for people in readers.values() for person in people)
    keys = {_key(visit, person) for visit in visits for person in readers[visit.site_id]}
    known = set(Notice.objects.filter(key__in=keys).values_list("key", flat=True))
    return sum(
        _write(visit, person, now)
        for visit in visits
        for person in readers[visit.site_id]
        if _key(visit, person) not in known and not why_no_mail(person, RECORD, rested)
    )


def _key(visit: Visit, person: Person) -> str:
    return f"done-{visit.pk}-{person.pk}"


def _write(visit: Visit, person: Person, now: datetime) -> int:
    try:
        with transaction.atomic():
            Notice.objects.create(
                key=_key(visit, person), kind=Notice.Kind.DONE, site=visit.site, visit=visit, person=person,
                send_at=settled(visit.site, now),
            )  # fmt: skip
    except IntegrityError:
        return 0
    return 1


def why_stale(notice: Notice, _now: datetime) -> str:
    """Why a letter about what was done must not go out any more; empty when it may."""
    visit, person = notice.visit, notice.person
    if visit is None or person is None:
        return _("its visit or its reader is not known")
    if person not in readers_at([visit.site_id]).get(visit.site_id, []):
        return _("they neither own that house nor pay for it any more")
    return ""
