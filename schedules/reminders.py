"""Reminders: which homes are to be told of which filters, the outbox rows for it, and whom to ring instead.

The outbox row is written before anything is tried; ``sending`` empties the outbox.
"""

import logging
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Exists, Max, OuterRef, Q, QuerySet
from django.db.models.functions import Lower
from django.utils.translation import gettext as _

from equipment.fitted import fitted_media
from equipment.models import Desk, FilterSlot, Media, Person, Site, SiteRole
from schedules import due
from schedules.answers import Answered
from schedules.hours_of_sending import next_sending
from schedules.models import Notice, NoticeSlot, Plan, Policy, RestedAddress, Visit, VisitJob
from schedules.notice_slots import Spoken, slots_of_visits
from schedules.reach import FILTERS, Rested, why_no_mail
from schedules.texts import why_no_text
from shared import clock

log = logging.getLogger(__name__)
# What falls due so soon is told at once, whatever letter has just gone out.
_URGENT_DAYS = 3
_WITHOUT_DAY = (Visit.State.DUE, Visit.State.DISPLACED)
# On a large desk each sweep looks at so many homes, the next at the next ones: a million filters in two
# hours and a half.
HOMES_A_SWEEP = 5_000


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
    channel: str = Notice.Channel.MAIL
    asked: list[FilterSlot] = field(default_factory=list)
    findings: list[FilterSlot] = field(default_factory=list)


def due_slots(until: date, homes: Q | None = None) -> QuerySet[FilterSlot]:
    """Slots in use, changed by their household, whose plan says due by ``until``; of all homes or of some."""
    return (
        FilterSlot.objects.in_use()
        .filter(homes or Q(), plan__due_on__lte=until, system__site__vacant_since=None)
        .exclude(changed_by=FilterSlot.ChangedBy.TECHNICIAN)
        .select_related("system__site__customer", "plan", "first_media")
        .order_by("system__site", "plan__due_on", "name")
    )


def filter_changers(sites: Iterable[int]) -> dict[int, Person]:
    """Who changes the filters at each site now, in one query; the last named where there are several."""
    roles = SiteRole.objects.filter(site__in=list(sites), role=SiteRole.Role.FILTER_CHANGER, until=None)
    return {role.site_id: role.person for role in roles.select_related("person").order_by("pk")}


def _told_until(today: date, policy: Policy) -> date:
    """The last due day that anybody may be told of today."""
    longest = max(policy.lead_days, Media.objects.aggregate(most=Max("lead_days"))["most"] or 0)
    return today + timedelta(days=longest + policy.together_days)


def to_tell(now: datetime, policy: Policy, homes_of: Q | None = None) -> list[ToTell]:
    """Homes with a filter that falls due within its lead time, each with all that go together; those of
    ``homes_of`` alone, where it is given, which must name whole homes."""
    today = clock.local_day(now, Desk.the().zone)
    together: dict[int, list[FilterSlot]] = defaultdict(list)
    for slot in due_slots(_told_until(today, policy), homes_of):
        together[slot.system.site_id].append(slot)
    changers = filter_changers(together)
    rested = Rested(changers.values())
    every = [slot for slots in together.values() for slot in slots]
    found = {slot.pk for slot in every}
    booked = slots_of_visits(found, Visit.ON_A_DAY)
    asked = slots_of_visits(found, _WITHOUT_DAY)
    leads = _Leads(every, now, policy)
    homes = []
    for candidates in together.values():
        slots = _together([slot for slot in candidates if slot.pk not in booked], today, policy, leads)
        if not slots:
            continue
        site = slots[0].system.site
        home = _reached(site, changers.get(site.pk), rested)
        for slot in slots:
            kept = home.asked if slot.pk in asked else home.slots
            (home.findings if slot.plan.needs_technician else kept).append(slot)
        homes.append(home)
    return homes


def _reached(site: Site, person: Person | None, rested: Rested) -> ToTell:
    """By mail where that is possible, else by text message to whoever agreed to it."""
    why = why_no_mail(person, FILTERS, rested)
    wants = person is not None and person.wants_filter_mail
    if why and wants and not why_no_text(person):
        return ToTell(site, person, [], "", Notice.Channel.TEXT)
    return ToTell(site, person, [], why)


class _Leads:
    """How many days ahead a filter is told of: as its medium says, else as the desk does."""

    def __init__(self, slots: Iterable[FilterSlot], now: datetime, policy: Policy) -> None:
        self._usual = policy.lead_days
        special = Media.objects.exclude(lead_days=None).exists()
        self._media = fitted_media(slots, now) if special else {}

    def of(self, slot: FilterSlot) -> int:
        medium = self._media.get(slot.pk)
        return self._usual if medium is None or medium.lead_days is None else medium.lead_days


def _together(slots: list[FilterSlot], today: date, policy: Policy, leads: _Leads) -> list[FilterSlot]:
    """Those of one home, soonest first, that go with the first to be told of; none while none is near."""
    near = {
        slot.pk: slot.plan.due_on
        for slot in slots
        if slot.plan.due_on and slot.plan.due_on <= today + timedelta(days=leads.of(slot))
    }
    if not near:
        return []
    last = max(min(near.values()), today) + timedelta(days=policy.together_days)
    return [slot for slot in slots if slot.plan.due_on and (slot.pk in near or slot.plan.due_on <= last)]


@contextmanager
def _next_homes(policy: Policy) -> Iterator[Q | None]:
    """On a large desk the homes after the last one looked at, by their numbers; None for all.

    That place moves on when they are done, also where something went wrong; a worker that is killed leaves
    it, and of two that have the same homes one moves it.
    """
    if not due.is_large():
        yield None
        return
    before = policy.reminders_reached
    ahead = Site.objects.filter(pk__gt=before).order_by("pk").values_list("pk", flat=True)
    # Where fewer are left the next turn begins at the first home.
    last = next(iter(ahead[HOMES_A_SWEEP - 1 : HOMES_A_SWEEP]), 0)
    homes = Q(system__site__gt=before)
    try:
        yield homes & Q(system__site__lte=last) if last else homes
    finally:
        Policy.objects.filter(pk=policy.pk, reminders_reached=before).update(reminders_reached=last)


def write_due(now: datetime) -> int:
    """Write an outbox row for every home that is to be told and was not yet, on a large desk of those whose
    turn it is; how many were written."""
    policy = Policy.the()
    with _next_homes(policy) as homes_of:
        return _write_to(to_tell(now, policy, homes_of), now, policy)


def _write_to(told_of: list[ToTell], now: datetime, policy: Policy) -> int:
    homes = [home for home in told_of if home.slots and home.person and not home.why_not]
    _speak_anew(homes)
    slots = {slot.pk for home in homes for slot in home.slots}
    told, answered, letters = Spoken(slots, now), Answered(slots, now), _Letters(homes)
    written = 0
    for home in homes:
        try:
            written += _write_home(home, told, answered, letters, now, policy)
        except Exception:
            # One home that cannot be written to must not silence the others.
            log.exception("no letter could be written for site %s", home.site.pk)
    return written


def _speak_anew(homes: list[ToTell]) -> None:
    """Filters of a letter that failed at an address which its reader has no more may be spoken of again."""
    emails = {home.site.pk: home.person.email for home in homes if home.person}
    failed = Notice.objects.filter(
        site__in=emails, state=Notice.State.FAILED, channel=Notice.Channel.MAIL, slots__void=False
    )
    moved = [pk for pk, site, to in failed.values_list("pk", "site", "sent_to") if to and to != emails[site]]
    NoticeSlot.objects.filter(notice__in=moved).update(void=True)


def _write_home(
    home: ToTell, told: Spoken, answered: Answered, letters: "_Letters", now: datetime, policy: Policy
) -> int:
    """One letter for all of the home that is to be told; what is new waits for the next letter where one has
    just gone out and there is time."""
    person = home.person
    assert person is not None  # noqa: S101
    if letters.waits(home):
        return 0
    wanted = [slot for slot in home.slots if not answered.settles(slot, now)]
    fresh = [slot for slot in wanted if not told.of(slot, Notice.Kind.FILTERS_DUE, person)]
    again = [slot for slot in wanted if _wants_follow_up(slot, person, told, answered, now, policy)]
    asked = any(answered.asks_again(slot, now) for slot in again)
    if not asked and not letters.may_speak(home, fresh, again, now, policy):
        return 0
    kinds = dict.fromkeys(again, Notice.Kind.FOLLOW_UP) | dict.fromkeys(fresh, Notice.Kind.FILTERS_DUE)
    return _write(home, person, kinds, told, now, policy)


class _Letters:
    """The letters about filters that each home's reader got last, or is about to get; one query."""

    def __init__(self, homes: list[ToTell]) -> None:
        kinds = (Notice.Kind.FILTERS_DUE, Notice.Kind.FOLLOW_UP)
        rows = Notice.objects.filter(site__in=[home.site.pk for home in homes], kind__in=kinds)
        states = (Notice.State.WAITING, Notice.State.CLAIMED, Notice.State.SENT)
        self._last: dict[tuple[int | None, int | None], Notice] = {
            (row.site_id, row.person_id): row
            for row in rows.filter(state__in=states).order_by("send_at", "pk")
        }

    def waits(self, home: ToTell) -> bool:
        """Whether a letter is on its way."""
        last = self._of(home)
        return last is not None and last.state != Notice.State.SENT

    def may_speak(
        self, home: ToTell, fresh: list[FilterSlot], again: list[FilterSlot], now: datetime, policy: Policy
    ) -> bool:
        """Whether there is something to say, and the last letter is some days old or what is new urgent."""
        last = self._of(home)
        gap = timedelta(days=policy.follow_up_days)
        if last is None or last.sent_at is None or now - last.sent_at >= gap:
            return bool(fresh or again)
        soon = clock.local_day(now, Desk.the().zone) + timedelta(days=_URGENT_DAYS)
        return any(slot.plan.due_on is not None and slot.plan.due_on <= soon for slot in fresh)

    def _of(self, home: ToTell) -> Notice | None:
        return self._last.get((home.site.pk, home.person.pk if home.person else None))


def _wants_follow_up(
    slot: FilterSlot, person: Person, told: Spoken, answered: Answered, now: datetime, policy: Policy
) -> bool:
    """Its first letter went out long enough ago without an answer, or its reader asked to be reminded."""
    if not told.of(slot, Notice.Kind.FILTERS_DUE, person) or told.of(slot, Notice.Kind.FOLLOW_UP, person):
        return False
    sent_at = told.last_sent([slot], Notice.Kind.FILTERS_DUE, person)
    until = answered.put_off_to(slot)
    if answered.asks_again(slot, now) and sent_at is not None and until is not None:
        # Who was first told on that day or later was reminded by it.
        return clock.local_day(sent_at, Desk.the().zone) < until
    due = slot.plan.due_on
    waited = sent_at is not None and now - sent_at >= timedelta(days=policy.follow_up_days)
    return waited and due is not None and due <= clock.local_day(now, Desk.the().zone)


def _write(
    home: ToTell, person: Person, kinds: Mapping[FilterSlot, str], told: Spoken, now: datetime, policy: Policy
) -> int:
    """One row with its slots, both or neither; nought when another worker was first."""
    first = next(iter(kinds))
    kind = kinds[first]
    stem = f"{kind}-{first.pk}-{told.lives[first.pk]}"
    earlier = Notice.objects.filter(key__startswith=stem).count()
    try:
        with transaction.atomic():
            notice = Notice.objects.create(
                key=f"{stem}-{earlier}" if earlier else stem,
                kind=kind,
                channel=home.channel,
                site=home.site,
                person=person,
                send_at=next_sending(home.site, now, policy, home.channel),
            )
            NoticeSlot.objects.bulk_create(
                [
                    NoticeSlot(notice=notice, slot=slot, kind=one, life=told.lives[slot.pk], person=person)
                    for slot, one in kinds.items()
                ]
            )
    except IntegrityError:
        return 0
    return 1


def may_be_rung(now: datetime, policy: Policy) -> Q:
    """Homes that the list below can name, and others: those with a finding, without a reader whom a letter
    reaches, with somebody asked to come, or with a letter that came to nothing."""
    until = _told_until(clock.local_day(now, Desk.the().zone), policy)
    changers = SiteRole.objects.filter(role=SiteRole.Role.FILTER_CHANGER, until=None)
    rested = RestedAddress.objects.filter(lifted_at=None).values("email")
    unreached = changers.annotate(to=Lower("person__email")).filter(
        Q(person__email="") | Q(person__wants_filter_mail=False) | Q(to__in=rested)
    )
    lost = Q(notice__state__in=(Notice.State.FAILED, Notice.State.PARKED))
    waited = now - timedelta(days=policy.call_after_days)
    letters = NoticeSlot.objects.filter(
        lost | Q(kind=Notice.Kind.FOLLOW_UP, notice__sent_at__lte=waited),
        void=False,
        slot__plan__due_on__lte=until,
    )
    asked = VisitJob.objects.filter(visit__state__in=_WITHOUT_DAY, slot__isnull=False)
    found = {
        *_pks(Site.objects.filter(~Exists(changers.filter(site=OuterRef("pk")))), "pk"),
        *_pks(unreached, "site"),
        *_pks(letters, "slot__system__site"),
        *_pks(asked, "slot__system__site"),
        *_pks(Plan.objects.filter(due_on__lte=until, notes__icontains="nothing_left"), "slot__system__site"),
    }
    return Q(system__site__in=found)


def _pks(rows: "QuerySet[Any]", of: str) -> "QuerySet[Any]":
    return rows.order_by().values_list(of, flat=True)


def call_list(now: datetime) -> list[ToTell]:
    """Homes with due filters whom no letter reaches or suffices for, each with the reason."""
    policy = Policy.the()
    homes = to_tell(now, policy, may_be_rung(now, policy) if due.is_large() else None)
    slots = {slot.pk for home in homes for slot in home.slots}
    told, answered = Spoken(slots, now), Answered(slots, now)
    return [
        ToTell(home.site, home.person, some, why)
        for home in homes
        for some, why in _to_ring(home, told, answered, now, policy)
    ]


def _to_ring(
    home: ToTell, told: Spoken, answered: Answered, now: datetime, policy: Policy
) -> Iterator[tuple[list[FilterSlot], str]]:
    """The home's filters that no letter settles, by reason."""
    if home.findings:
        yield (
            home.findings,
            _("even a fresh filter is over its limit here: a technician should look"),
        )
    if home.asked:
        yield home.asked, _("asked for somebody to come")
    if home.slots and (home.why_not or home.person is None):
        unsettled = [slot for slot in home.slots if not answered.settles(slot, now)]
        if unsettled:
            yield unsettled, home.why_not
        return
    by_reason: dict[str, list[FilterSlot]] = defaultdict(list)
    for slot in home.slots:
        if home.person is None or answered.settles(slot, now):
            continue
        sent_at = told.last_sent([slot], Notice.Kind.FOLLOW_UP, home.person)
        if why := told.why_unsent(slot, home.person):
            by_reason[why].append(slot)
        elif sent_at is not None and now - sent_at >= timedelta(days=policy.call_after_days):
            by_reason[_("two letters and no answer")].append(slot)
    for why, slots in by_reason.items():
        yield slots, why
