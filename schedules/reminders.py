"""Reminders: find who is to be told, claim a row, send it, record it.

The outbox row is written before anything is tried. A claim whose worker died is parked for a person
to judge, never sent again: sending twice is worse than asking.
"""

import logging
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from smtplib import SMTPException, SMTPRecipientsRefused, SMTPResponseException

from django.db import IntegrityError, transaction
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from equipment.models import Desk, FilterSlot, Person, Site, SiteRole
from schedules import emails, open_times
from schedules.models import Notice, NoticeSlot, Policy, Visit
from schedules.notice_slots import Spoken, of_a_technician, open_slots, slots_of_visits
from schedules.visit_notices import why_stale
from shared import clock

log = logging.getLogger(__name__)
CLAIM_LASTS = timedelta(minutes=15)
MOST_ATTEMPTS = 5


@dataclass(frozen=True)
class ToTell:
    """The filters of one home that fall due together, and who changes them.

    ``slots`` are the household's to change; for ``asked`` somebody is asked to come and has no day yet;
    at ``findings`` a technician should look, since a fresh filter would be over its limit at once.
    """

    site: Site
    person: Person | None
    slots: list[FilterSlot]
    why_not: str
    asked: list[FilterSlot] = field(default_factory=list)
    findings: list[FilterSlot] = field(default_factory=list)


def due_slots(until: date) -> QuerySet[FilterSlot]:
    """Slots in use, changed by their household, whose plan says due by ``until``."""
    return (
        FilterSlot.objects.in_use()
        .filter(plan__due_on__lte=until, system__site__vacant_since=None)
        .exclude(changed_by=FilterSlot.ChangedBy.TECHNICIAN)
        .select_related("system__site__customer", "plan", "first_media")
        .order_by("system__site", "plan__due_on", "name")
    )


def filter_changers(sites: Iterable[int]) -> dict[int, Person]:
    """Who changes the filters at each site now, in one query; the last named where there are several."""
    roles = SiteRole.objects.filter(site__in=list(sites), role=SiteRole.Role.FILTER_CHANGER, until=None)
    return {role.site_id: role.person for role in roles.select_related("person").order_by("pk")}


def why_unreachable(person: Person | None) -> str:
    """Why ``person`` cannot be mailed about filters; empty when they can."""
    if person is None:
        return _("nobody is named as the filter changer")
    if not person.email:
        return _("no mail address")
    if not person.wants_filter_mail:
        return _("does not want filter mail")
    return ""


def to_tell(now: datetime, policy: Policy) -> list[ToTell]:
    """Homes with a filter that falls due within the lead time, each with all that go together."""
    today = clock.local_day(now, Desk.the().zone)
    together: dict[int, list[FilterSlot]] = defaultdict(list)
    for slot in due_slots(today + timedelta(days=policy.lead_days + policy.together_days)):
        together[slot.system.site_id].append(slot)
    changers = filter_changers(together)
    found = {slot.pk for slots in together.values() for slot in slots}
    booked = slots_of_visits(found, Visit.ON_A_DAY)
    asked = slots_of_visits(found, [Visit.State.DUE])
    homes = []
    for candidates in together.values():
        slots = _together([slot for slot in candidates if slot.pk not in booked], today, policy)
        if not slots:
            continue
        site = slots[0].system.site
        person = changers.get(site.pk)
        home = ToTell(site, person, [], why_unreachable(person))
        for slot in slots:
            kept = home.asked if slot.pk in asked else home.slots
            (home.findings if slot.plan.needs_technician else kept).append(slot)
        homes.append(home)
    return homes


def _together(slots: list[FilterSlot], today: date, policy: Policy) -> list[FilterSlot]:
    """Those of one home, soonest first, that go with the first; none while that is not near."""
    first = slots[0].plan.due_on if slots else None
    if first is None or first > today + timedelta(days=policy.lead_days):
        return []
    last = max(first, today) + timedelta(days=policy.together_days)
    return [slot for slot in slots if slot.plan.due_on and slot.plan.due_on <= last]


def write_due(now: datetime) -> int:
    """Write an outbox row for every home that is to be told and was not yet; how many were written."""
    policy, written = Policy.the(), 0
    homes = to_tell(now, policy)
    told = Spoken({slot.pk for home in homes for slot in home.slots}, now)
    for home in homes:
        if home.why_not or home.person is None or not home.slots:
            continue
        kind = Notice.Kind.FILTERS_DUE
        slots = [slot for slot in home.slots if not told.of(slot, kind)]
        if not slots and _wants_follow_up(home, now, policy):
            kind = Notice.Kind.FOLLOW_UP
            slots = [slot for slot in home.slots if not told.of(slot, kind)]
        if slots:
            written += _write(home, home.person, slots, kind, told, now, policy)
    return written


def _wants_follow_up(home: ToTell, now: datetime, policy: Policy) -> bool:
    """The first letter went out long enough ago and nothing was answered."""
    first = (
        NoticeSlot.objects.filter(
            slot__in=home.slots, kind=Notice.Kind.FILTERS_DUE, notice__state=Notice.State.SENT
        )
        .order_by("-notice__sent_at")
        .select_related("notice")
        .first()
    )
    if first is None or first.notice.sent_at is None:
        return False
    due = home.slots[0].plan.due_on
    waited = now - first.notice.sent_at >= timedelta(days=policy.follow_up_days)
    return waited and due is not None and due <= clock.local_day(now, Desk.the().zone)


def _write(
    home: ToTell,
    person: Person,
    slots: list[FilterSlot],
    kind: str,
    told: Spoken,
    now: datetime,
    policy: Policy,
) -> int:
    """One row with its slots, both or neither; nought when another worker was first."""
    key = f"{kind}-{slots[0].pk}-{told.lives[slots[0].pk]}"
    try:
        with transaction.atomic():
            notice = Notice.objects.create(
                key=key,
                kind=kind,
                site=home.site,
                person=person,
                send_at=next_sending(home.site, now, policy),
            )
            NoticeSlot.objects.bulk_create(
                [NoticeSlot(notice=notice, slot=slot, kind=kind, life=told.lives[slot.pk]) for slot in slots]
            )
    except IntegrityError:
        return 0
    return 1


def next_sending(site: Site, now: datetime, policy: Policy) -> datetime:
    """Now when it is morning at the site, else its next morning."""
    tz = site.zone(Desk.the().timezone)
    if clock.in_window(now, tz, policy.send_from_hour, policy.send_to_hour):
        return now
    today = clock.local_day(now, tz)
    soon = clock.send_at(today, tz, policy.send_from_hour)
    return soon if soon > now else clock.send_at(today + timedelta(days=1), tz, policy.send_from_hour)


def send_one(now: datetime) -> bool:
    """Send the next row that is due; True while there is work."""
    waiting = Notice.objects.filter(state=Notice.State.WAITING, send_at__lte=now)
    notice = waiting.order_by("send_at", "pk").select_related("person", "site__customer", "visit").first()
    if notice is None:
        return False
    # The WHERE repeats what was read: one row changed means that it is ours.
    claimed = Notice.objects.filter(pk=notice.pk, state=Notice.State.WAITING).update(
        state=Notice.State.CLAIMED, claimed_at=now, attempts=notice.attempts + 1
    )
    if claimed == 1:
        notice.attempts += 1
        _send(notice, now)
    return True


def _send(notice: Notice, now: datetime) -> None:
    why = stale(notice, now)
    if why:
        _finish(notice, Notice.State.NOT_SENT, why)
        return
    try:
        letter = emails.letter_for(notice, now)
        emails.post(letter)
    except (SMTPException, OSError) as error:
        if _is_final(error):
            _finish(notice, Notice.State.FAILED, _said(error))
        else:
            _try_later(notice, now, error)
        return
    Notice.objects.filter(pk=notice.pk).update(
        state=Notice.State.SENT,
        sent_at=now,
        sent_to=letter.to,
        subject=letter.subject,
        text=letter.text,
        html=letter.html,
        said=letter.said,
        why="",
    )


def stale(notice: Notice, now: datetime) -> str:
    """Why the letter must not go out any more, looked at in the last moment; empty when it may."""
    if notice.kind == Notice.Kind.VISIT:
        return why_stale(notice, now)
    if notice.kind == Notice.Kind.TIMES:
        return open_times.why_stale(notice, now)
    if notice.kind == Notice.Kind.SIGN_IN:
        return ""
    if notice.site is None or notice.person is None:
        return _("its home or its reader is not known")
    notice.person.refresh_from_db()
    if filter_changers([notice.site.pk]).get(notice.site.pk) != notice.person:
        return _("somebody else changes the filters there now")
    if why := why_unreachable(notice.person):
        return why
    if notice.site.vacant_since or notice.site.customer.gone_on:
        return _("nobody lives there now")
    still = {slot.pk for slot in open_slots(notice, now)}
    if not still:
        return _("the filters were changed meanwhile")
    if still <= slots_of_visits(still, Visit.ON_A_DAY):
        return _("a visit is booked")
    if still <= of_a_technician(still):
        return _("somebody was asked to come")
    return ""


def _finish(notice: Notice, state: str, why: str) -> None:
    Notice.objects.filter(pk=notice.pk).update(state=state, why=why[:300])


def _is_final(error: Exception) -> bool:
    """Whether the server refused for good (5xx, RFC 5321), so that trying again is no use."""
    if isinstance(error, SMTPRecipientsRefused):
        return all(code >= 500 for code, _text in error.recipients.values())
    return isinstance(error, SMTPResponseException) and error.smtp_code >= 500


def _said(error: Exception) -> str:
    return (str(error) or type(error).__name__)[:300]


def _try_later(notice: Notice, now: datetime, error: Exception) -> None:
    """Put the row back with growing patience; give it to a person after the last try."""
    log.warning("notice %s was not sent: %s", notice.pk, type(error).__name__)
    if notice.attempts >= MOST_ATTEMPTS:
        _finish(notice, Notice.State.FAILED, _said(error))
        return
    wait = timedelta(minutes=2 ** (2 * notice.attempts))
    Notice.objects.filter(pk=notice.pk).update(
        state=Notice.State.WAITING, send_at=now + wait, why=_said(error)
    )


def park_lost_claims(now: datetime) -> int:
    """Claims whose worker died: sent or not, nobody knows; a person must look."""
    lost = Notice.objects.filter(state=Notice.State.CLAIMED, claimed_at__lt=now - CLAIM_LASTS)
    return lost.update(state=Notice.State.PARKED, why="the sender stopped in the middle: sent or not?")


def call_list(now: datetime) -> list[ToTell]:
    """Homes with due filters whom no letter reaches, each with the reason."""
    unsent = {
        row.site_id: row
        for row in Notice.objects.filter(state__in=[Notice.State.FAILED, Notice.State.PARKED]).order_by("pk")
    }
    listed = []
    for home in to_tell(now, Policy.the()):
        for slots, why in _to_ring(home, unsent.get(home.site.pk)):
            listed.append(ToTell(home.site, home.person, slots, why))
    return listed


def _to_ring(home: ToTell, unsent: Notice | None) -> Iterator[tuple[list[FilterSlot], str]]:
    """The home's filters that no letter settles, by reason."""
    if home.findings:
        yield (
            home.findings,
            _("even a fresh filter is over its limit here: a technician should look"),
        )
    if home.asked:
        yield home.asked, _("asked for somebody to come")
    if home.slots and home.why_not:
        yield home.slots, home.why_not
    elif home.slots and unsent:
        yield home.slots, f"{unsent.get_state_display()}: {unsent.why}"
