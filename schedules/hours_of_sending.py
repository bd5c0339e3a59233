"""When a message may go out: by its kind, in the hours of its reader's zone."""

from datetime import date, datetime, timedelta

from equipment.models import Desk, Site
from schedules.models import Absence, Notice, Policy
from schedules.reach import FILTERS, SUBJECT_OF
from shared import clock

# Several changes of a visit within these minutes make one letter, and it goes out between these local hours.
SETTLES = timedelta(minutes=10)
FROM_HOUR, TO_HOUR = 7, 21
# Nobody closes a desk for longer than that.
_MOST_DAYS = 60


def next_sending(site: Site, now: datetime, policy: Policy, channel: str = Notice.Channel.MAIL) -> datetime:
    """Now when it is morning at the site on a day that filter mail goes out, else the next such morning; text
    messages have hours of their own."""
    tz = site.zone(Desk.the().timezone)
    first, last = policy.send_from_hour, policy.send_to_hour
    if channel == Notice.Channel.TEXT:
        first, last = policy.text_from_hour, policy.text_to_hour
    today = clock.local_day(now, tz)
    days = [today + timedelta(days=ahead) for ahead in range(_MOST_DAYS)]
    closed = _closed(today) if policy.working_days_only else frozenset()
    open_ = [day for day in days if not policy.working_days_only or clock.working_day(day, closed)] or days
    if open_[0] == today and clock.in_window(now, tz, first, last):
        return now
    return next(at for day in open_ if (at := clock.send_at(day, tz, first)) > now)


def next_between(site: Site, now: datetime, first_hour: int, last_hour: int) -> datetime:
    """Now when it is between the hours at the site, else the next time that they begin."""
    tz = site.zone(Desk.the().timezone)
    if clock.in_window(now, tz, first_hour, last_hour):
        return now
    soon = clock.send_at(clock.local_day(now, tz), tz, first_hour)
    if soon > now:
        return soon
    return clock.send_at(clock.local_day(now, tz) + timedelta(days=1), tz, first_hour)


def settled(site: Site, now: datetime) -> datetime:
    """When what has just changed about a visit may be told."""
    return next_between(site, now + SETTLES, FROM_HOUR, TO_HOUR)


def next_for(notice: Notice, now: datetime, policy: Policy) -> datetime:
    """The next moment at which the message may go out, now where it may now."""
    site = notice.site
    if site is None or notice.kind == Notice.Kind.SIGN_IN:
        return now
    if SUBJECT_OF[notice.kind] == FILTERS:
        return next_sending(site, now, policy, notice.channel)
    if notice.channel == Notice.Channel.TEXT:
        return next_between(site, now, policy.text_from_hour, policy.text_to_hour)
    return next_between(site, now, FROM_HOUR, TO_HOUR)


def _closed(today: date) -> frozenset[date]:
    """The days to come on which the whole desk is away."""
    rows = Absence.objects.filter(technician=None, withdrawn_at=None, last_day__gte=today)
    return frozenset(
        row.first_day + timedelta(days=ahead)
        for row in rows
        for ahead in range((row.last_day - row.first_day).days + 1)
    )
