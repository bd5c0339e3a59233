"""Households that no letter reaches or suffices for: who is to be rung, about what, and that they were."""

import hashlib
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.fitted import life_keys
from equipment.models import Desk, FilterSlot, Person, Site, SiteRole, User
from schedules import open_times, reminders
from schedules.answers import settle, size_told
from schedules.explain import say_day
from schedules.models import Answer, Notice, Rung, Visit
from schedules.no_access import shut_doors
from schedules.notice_slots import of_a_technician
from schedules.visit_notices import Untold, readers_of, untold
from schedules.visit_promises import hours_words
from schedules.visits_done import readers_at
from shared import clock

# A visit as near as this is rung about before anything else.
_NEAR = timedelta(days=2)
# Whoever was told of a filter on the telephone has so long to change it.
_NEWS_FOR = timedelta(days=30)
_TOLD_LASTS = timedelta(days=21)


class NotToRing(ValueError):
    """The call is not on the list any more; the message says so in plain words."""


@dataclass(frozen=True)
class Call:
    """One household to ring: why, about which filters or which visit, and the tries so far, latest first.

    ``key`` names the reason and the filters' present lives, so that an answered call returns only with
    something new; ``on`` is the day it is about.
    """

    key: str
    site: Site
    person: Person | None
    why: str
    on: date | None
    slots: list[FilterSlot] = field(default_factory=list)
    about: Untold | None = None
    tries: list[Rung] = field(default_factory=list)
    # Whether one call settles it, whatever happens then.
    once: bool = False

    @property
    def visit(self) -> Visit | None:
        """The visit that they are to be told of."""
        return self.about.visit if self.about else None


def calls(now: datetime) -> list[Call]:
    """Everybody to be rung: visits of the next two days first, then the longest due; whoever was tried in
    vain today comes last."""
    listed = [
        *_about_filters(now),
        *_about_answers(now),
        *_about_visits(now),
        *_about_times(now),
        *_about_shut_doors(now),
        *_about_done(now),
    ]
    tries: dict[str, list[Rung]] = defaultdict(list)
    for row in Rung.objects.filter(key__in=[call.key for call in listed]).select_related("by"):
        tries[row.key].append(row)
    today = clock.local_day(now, Desk.the().zone)
    open_calls = [
        Call(**{**vars(call), "tries": tries[call.key]})
        for call in listed
        if not any(row.reached and _still_told(call, row, now) for row in tries[call.key])
    ]
    return sorted(open_calls, key=lambda call: _urgency(call, today))


def _still_told(call: Call, row: Rung, now: datetime) -> bool:
    """Whether one call is enough: for a visit it is, a filter that is still in there is rung about again."""
    if call.visit is not None or call.once:
        return True
    gone = row.person_id is not None and not call.site.roles.filter(person=row.person_id, until=None).exists()
    return now - row.at < _TOLD_LASTS and not gone


def _urgency(call: Call, today: date) -> tuple[bool, bool, date, int]:
    tried = bool(call.tries) and clock.local_day(call.tries[0].at, Desk.the().zone) == today
    near = call.visit is not None and call.on is not None and call.on <= today + _NEAR
    return tried, not near, call.on or date.max, call.site.pk


def _about_filters(now: datetime) -> list[Call]:
    homes = reminders.call_list(now)
    lives = life_keys([slot.pk for home in homes for slot in home.slots], now)
    return [
        Call(
            _key(home.why_not, *(f"{slot.pk}:{lives[slot.pk]}" for slot in home.slots)),
            home.site,
            home.person,
            home.why_not,
            home.slots[0].plan.due_on,
            home.slots,
        )
        for home in homes
    ]


def _about_answers(now: datetime) -> list[Call]:
    """Filters of another size than on record, or out of their household's reach."""
    kinds = (Answer.Kind.WRONG_SIZE, Answer.Kind.OUT_OF_REACH)
    lives_there = SiteRole.objects.filter(site=OuterRef("site"), person=OuterRef("person"), until=None)
    rows = Answer.objects.filter(kind__in=kinds, settled_at=None, slot__retired_on=None)
    rows = rows.filter(Q(person=None) | Exists(lives_there), site__customer__gone_on=None)
    told = rows.select_related("site__customer", "person", "slot__system__site", "slot__plan")
    lives = life_keys([row.slot_id for row in told], now)
    waiting = [row for row in told if row.life == lives[row.slot_id]]
    elsewhere = of_a_technician(row.slot_id for row in waiting)
    return [
        Call(_key("answer", str(row.pk)), row.site, row.person, _said(row), row.slot.plan.due_on, [row.slot])
        for row in waiting
        if row.slot_id not in elsewhere
    ]


def _said(row: Answer) -> str:
    if row.kind == Answer.Kind.OUT_OF_REACH:
        return _("they cannot reach the filter: somebody has to come")
    return _("they say that the filter there is %(size)s: agree on what fits") % {"size": size_told(row)}


def _about_done(now: datetime) -> list[Call]:
    """Owners and payers whom no letter told what was done."""
    lost = Notice.objects.filter(
        kind=Notice.Kind.DONE,
        state__in=(Notice.State.FAILED, Notice.State.PARKED),
        send_at__gte=now - _NEWS_FOR,
    )
    said = _("tell them what was done (%(why)s)")
    rows = list(lost.select_related("site__customer", "person"))
    readers = readers_at({row.site_id for row in rows if row.site_id})
    return [
        Call(_key("done", str(row.pk)), row.site, row.person, said % {"why": row.why}, None, once=True)
        for row in rows
        if row.site is not None
        and row.site.customer.gone_on is None
        and row.person in readers.get(row.site.pk, [])
        and row.person.wants_record_mail
    ]


def _about_visits(now: datetime) -> list[Call]:
    lost, rows = _unsent(now), untold(now)
    # Told anew of what they were told before: every call made makes the next another one.
    calls_made = Rung.objects.filter(visit__in=[row.visit.pk for row in rows], reached=True)
    spoken = Counter(calls_made.values_list("visit", flat=True))
    found = []
    for row in rows:
        failed = lost.get(row.visit.pk)
        if row.reachable and failed is None:
            continue
        promise = row.promise if row.promise.coming else row.told or row.promise
        when = hours_words(promise, row.visit.site.zone(Desk.the().timezone))
        said = _what_to_say(row)
        why = f"{said % {'when': when}} ({row.why_not or failed})"
        told = str(row.told.as_json()) if row.told else ""
        person = str(row.person.pk) if row.person else ""
        times = str(spoken[row.visit.pk])
        key = _key("visit", str(row.visit.pk), person, told, times, str(row.promise.as_json()))
        found.append(Call(key, row.visit.site, row.person, why, promise.day, about=row))
    return found


def _what_to_say(row: Untold) -> str:
    if row.promise.coming:
        return _("tell them that we come %(when)s")
    if row.visit.state == Visit.State.DISPLACED:
        return _("tell them that we cannot come %(when)s, and agree on another day")
    return _("call off our visit %(when)s")


def _about_shut_doors(now: datetime) -> list[Call]:
    """Homes where nobody opened and nobody is to come again yet."""
    found = []
    doors = shut_doors(now)
    readers = readers_of({door.visit.site_id for door in doors})
    for door in doors:
        said = {"day": say_day(door.visit.day), "n": door.times}
        why = ngettext(
            "nobody opened on %(day)s: agree on a day",
            "nobody opened on %(day)s, %(n)d times in a row: agree on a day, or on what is to become of it",
            door.times,
        )
        key = _key("no access", str(door.visit.pk))
        reader = readers.get(door.visit.site_id)
        found.append(Call(key, door.site, reader, why % said, door.visit.day, door.slots, once=True))
    return found


def _about_times(now: datetime) -> list[Call]:
    found = open_times.unanswered(now)
    readers = readers_of({row.visit.site_id for row in found})
    return [
        Call(
            _key("times", str(row.visit.pk), row.offered_at.isoformat(), row.why),
            row.visit.site,
            readers.get(row.visit.site_id),
            row.why,
            None,
            [job.slot for job in row.visit.jobs.select_related("slot__plan") if job.slot],
        )
        for row in found
    ]


def _unsent(now: datetime) -> dict[int, str]:
    """Letters about visits that did not get out, by visit."""
    rows = Notice.objects.filter(
        kind=Notice.Kind.VISIT, state__in=[Notice.State.FAILED, Notice.State.PARKED]
    ).order_by("pk")
    return {row.visit_id: f"{row.get_state_display()}: {row.why}" for row in rows if row.visit_id}


def _key(*parts: str) -> str:
    return hashlib.sha256("|".join(parts).encode()).hexdigest()[:40]


def write_call(key: str, reached: bool, note: str, user: User | None, now: datetime) -> Call:
    """Write down that somebody of the list was rung. Raises NotToRing where that is settled."""
    call = next((one for one in calls(now) if one.key == key), None)
    if call is None:
        raise NotToRing(_("That is settled meanwhile: it is not on the list any more."))
    said = call.about.promise.as_json() if call.about and reached else {}
    if reached:
        for answer in Answer.objects.filter(slot__in=[slot.pk for slot in call.slots], settled_at=None):
            if call.key == _key("answer", str(answer.pk)):
                settle(answer, now)
    Rung.objects.create(
        site=call.site,
        visit=call.visit,
        person=call.person,
        key=key,
        why=call.why[:300],
        at=now,
        by=user,
        reached=reached,
        note=note,
        said=said,
    )
    return call
