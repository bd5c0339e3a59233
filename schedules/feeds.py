"""Secret addresses of calendars, and the calendars behind them, joined when something has changed."""

import hashlib
import logging
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from functools import partial

from django.db import IntegrityError, transaction
from django.db.models import Count, F, Max, Q, QuerySet

from equipment.models import LifeEvent, Site, SiteRole
from schedules import home_feed, load_feed, van_feed
from schedules.addresses import absolute
from schedules.calendar_events import KEEP_PAST, Owner, Wanted, body_of, later, refresh
from schedules.models import Absence, Feed, Plan, Technician, Visit

# Whatever the print of the facts leaves out (names, addresses, a new day) is looked at after so long.
EVERY = timedelta(hours=6)
# So old a look is no longer taken on trust by whoever asks for the calendar.
TRUSTED = timedelta(minutes=15)
MOST = 500
_log = logging.getLogger(__name__)


def address(feed: Feed) -> str:
    """The secret address to subscribe to, empty where it cannot be shown again."""
    return absolute("feed", feed.secret) if feed.secret else ""


def open_feeds(owner: Owner) -> QuerySet[Feed]:
    """The open feed of the owner, as a query of none or one."""
    whole = owner.site is None and owner.technician is None
    return Feed.objects.filter(
        site=owner.site, technician=owner.technician, whole_desk=whole, withdrawn_at=None
    )


def feed_of(owner: Owner) -> Feed:
    """The owner's open feed, made when there is none."""
    found = open_feeds(owner).first()
    if found is not None:
        return found
    whole = owner.site is None and owner.technician is None
    try:
        with transaction.atomic():
            return Feed.objects.create(site=owner.site, technician=owner.technician, whole_desk=whole)
    except IntegrityError:
        # Somebody else pressed the button too.
        return open_feeds(owner).get()


def turn(owner: Owner, now: datetime) -> bool:
    """Give the owner a new address; whether there was an old one, which answers no more."""
    with transaction.atomic():
        withdrawn = open_feeds(owner).update(withdrawn_at=now)
        feed_of(owner)
    return bool(withdrawn)


def withdraw_left(now: datetime) -> int:
    """Withdraw the addresses that somebody took along: who moved out, whose customer or job is gone."""
    moved = LifeEvent.objects.filter(
        kind__in=(LifeEvent.Kind.MOVED_OUT, LifeEvent.Kind.CUSTOMER_GONE)
    ).filter(site__feeds__withdrawn_at=None, recorded_at__gte=F("site__feeds__created_at"))
    left = Q(site__in=moved.values("site")) | Q(site__customer__gone_on__isnull=False)
    left |= Q(technician__gone_on__isnull=False)
    return Feed.objects.filter(left, withdrawn_at=None).update(withdrawn_at=now)


def bring_up_to_date(feed: Feed, now: datetime) -> Feed:
    """Render what has changed and join the calendar; the feed as it is then."""
    facts = _prints([feed], now)[feed.pk]
    owner = Owner(feed.site, feed.technician)
    found = refresh(owner, partial(_wanted, feed, now), now)
    body = body_of(owner, found, now)
    etag = f'"{hashlib.sha256(body).hexdigest()[:32]}"'
    if etag != feed.etag:
        feed.body, feed.etag, feed.changed_at = body.decode(), etag, later(now, feed.changed_at)
    feed.facts, feed.checked_at = facts, now
    feed.save(update_fields=["body", "etag", "changed_at", "facts", "checked_at"])
    return feed


def looked_after(feed: Feed, now: datetime) -> Feed:
    """The feed as it may be served: looked at anew where no sweep has done so of late."""
    if feed.checked_at is not None and now - feed.checked_at < TRUSTED:
        return feed
    if feed.facts and feed.facts == _prints([feed], now)[feed.pk]:
        Feed.objects.filter(pk=feed.pk).update(checked_at=now)
        return feed
    return bring_up_to_date(feed, now)


def sweep(now: datetime) -> int:
    """Bring the open calendars up to date whose facts have changed; how many. A broken one stops none."""
    withdraw_left(now)
    rows = Feed.objects.filter(withdrawn_at=None).select_related("site__customer", "technician")
    every = list(rows.defer("body").order_by(F("checked_at").asc(nulls_first=True), "pk"))
    prints = _prints(every, now)
    same = [feed.pk for feed in every if feed.facts == prints[feed.pk]]
    for start in range(0, len(same), MOST):
        seen = Feed.objects.filter(pk__in=same[start : start + MOST], checked_at__lt=now - TRUSTED / 2)
        seen.update(checked_at=now)
    changed = [feed for feed in every if feed.facts != prints[feed.pk]][:MOST]
    return sum(_brought(feed, now) for feed in changed)


def _brought(feed: Feed, now: datetime) -> bool:
    try:
        bring_up_to_date(feed, now)
    except Exception:
        _log.exception("calendar %s could not be brought up to date", feed.pk)
        return False
    return True


def _wanted(feed: Feed, now: datetime) -> Wanted:
    if feed.technician is not None:
        return van_feed.wanted(feed.technician, now)
    if feed.site is not None:
        return home_feed.wanted(feed.site, now)
    return load_feed.wanted(now)


_OF_A_VISIT = (
    "pk", "state", "day", "technician", "window_from", "window_to", "arrive_at", "leave_at", "stop_number",
    "minutes", "technician__day_starts", "technician__day_ends",
)  # fmt: skip


def _prints(feeds: Sequence[Feed], now: datetime) -> dict[int, str]:
    """What each calendar was made from, in few queries for all of them; it differs whenever they may."""
    since = (now - KEEP_PAST).date()
    sites = [feed.site for feed in feeds if feed.site is not None]
    vans = [feed.technician for feed in feeds if feed.technician is not None]
    of_site, of_van = _site_facts(sites, since), _van_facts(vans, since)
    whole = _desk_facts(since) if any(feed.whole_desk for feed in feeds) else []
    found = {}
    for feed in feeds:
        period = (now.timestamp() + feed.pk * 37) // EVERY.total_seconds()
        facts = of_site.get(feed.site_id, []) if feed.site_id else of_van.get(feed.technician_id or 0, [])
        said = repr((period, whole if feed.whole_desk else facts))
        found[feed.pk] = hashlib.sha256(said.encode()).hexdigest()
    return found


_Facts = dict[int, list[object]]


def _site_facts(sites: Sequence[Site], since: date) -> _Facts:
    found: _Facts = {}
    if not sites:
        return found
    followed = Feed.objects.filter(withdrawn_at=None, site__isnull=False).values("site")
    asked = Site.objects.filter(pk__in=followed) if len(sites) > 1 else sites
    visits = Visit.objects.filter(day__gte=since, site__in=asked).order_by("pk")
    for site, *row in visits.values_list("site", *_OF_A_VISIT):
        found.setdefault(site, []).append(row)
    roles = SiteRole.objects.filter(site__in=asked, until=None).order_by("pk")
    for site, *row in roles.values_list("site", "role", "person", "person__language"):
        found.setdefault(site, []).append(row)
    plans = Plan.objects.filter(slot__system__site__in=asked).order_by("slot")
    for site, *row in plans.values_list(
        "slot__system__site", "slot", "due_on", "made_at", "slot__retired_on"
    ):
        found.setdefault(site, []).append(row)
    return found


def _van_facts(vans: Sequence[Technician], since: date) -> _Facts:
    found: _Facts = {}
    if not vans:
        return found
    visits = Visit.objects.filter(day__gte=since, technician__in=vans).order_by("pk")
    visits = visits.annotate(job_count=Count("jobs"), last_job=Max("jobs"))
    for van, *row in visits.values_list("technician", *_OF_A_VISIT, "job_count", "last_job"):
        found.setdefault(van, []).append(row)
    return found


def _desk_facts(since: date) -> list[object]:
    visits = Visit.objects.filter(day__gte=since, state__in=Visit.ON_A_DAY).order_by("pk")
    staff = Technician.objects.order_by("pk")
    away = Absence.objects.filter(withdrawn_at=None).order_by("pk")
    return [
        list(visits.values_list("pk", "day", "technician", "minutes")),
        list(staff.values_list("pk", "day_starts", "day_ends", "weekdays", "gone_on")),
        list(away.values_list("technician", "first_day", "last_day")),
    ]
