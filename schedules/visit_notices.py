"""Telling households of visits: booked, moved, called off; each once, and only what is still so."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError
from django.db.models import Exists, OuterRef, Q
from django.utils.translation import gettext as _

from equipment.models import Desk, Person, SiteRole
from schedules.hours_of_sending import settled
from schedules.models import Notice, Rung, Visit
from schedules.reach import VISITS, Rested, why_no_mail
from schedules.texts import digits, why_no_text
from schedules.visit_promises import Promise, promise_of, still_true
from shared import clock

_ROLES = (SiteRole.Role.FILTER_CHANGER, SiteRole.Role.OCCUPANT, SiteRole.Role.OWNER)


@dataclass(frozen=True)
class Untold:
    """A visit whose household does not know how it stands; ``person`` is who to tell."""

    visit: Visit
    person: Person | None
    promise: Promise
    told: Promise | None
    # Why neither letter nor text message can tell them; empty where one can.
    why_not: str = ""
    channel: str = Notice.Channel.MAIL

    @property
    def reachable(self) -> bool:
        """Whether a message can tell them."""
        return not self.why_not


def untold(now: datetime) -> list[Untold]:
    """Visits from today on, booked, moved or called off, of which the household knows otherwise."""
    today = clock.local_day(now, Desk.the().zone)
    booked = Q(state__in=Visit.ON_A_DAY, day__gte=today)
    dropped = Q(state__in=(Visit.State.CANCELLED, Visit.State.DUE, Visit.State.DISPLACED), day__isnull=True)
    dropped |= Q(state=Visit.State.CANCELLED, day__gte=today)
    visits = Visit.objects.filter(booked | dropped, site__customer__gone_on=None)
    rows = list(visits.select_related("site__customer", "technician").order_by("day", "pk"))
    readers = readers_of({row.site_id for row in rows})
    told = _told({row.pk for row in rows}, readers)
    rested = Rested(readers.values())
    found = []
    for visit in rows:
        before, stands = told.get(visit.pk), promise_of(visit)
        knows = still_true(before, visit) if before else not stands.coming
        # Somebody stands at their door.
        knows = knows or visit.state == Visit.State.UNDER_WAY or left_out(visit)
        if not knows and not _over(before, stands, now):
            person = readers.get(visit.site_id)
            found.append(Untold(visit, person, stands, before, *_way_to(person, rested)))
    found += _told_beside(rows, readers, rested, now)
    return found


def _told_beside(
    visits: list[Visit], readers: dict[int, Person], rested: Rested, now: datetime
) -> list[Untold]:
    """Who was told of a visit, is its reader no more but lives there still, and would wait in vain."""
    last: dict[tuple[int | None, int | None], tuple[Person, Promise]] = {}
    calls = {visit: (at, promise) for at, visit, promise in sorted(_rung({v.pk for v in visits}), key=str)}
    sent = Notice.objects.filter(visit__in=visits, kind=Notice.Kind.VISIT, state=Notice.State.SENT)
    lives_there = SiteRole.objects.filter(site=OuterRef("site"), person=OuterRef("person"), until=None)
    sent = (
        sent.exclude(said={}).filter(Exists(lives_there)).select_related("person").order_by("sent_at", "pk")
    )
    for row in sent:
        if row.person is not None:
            at, promise = calls.get(row.visit_id, (None, None))
            later = at is not None and row.sent_at is not None and at >= row.sent_at
            said = promise if later and promise is not None else Promise.from_json(row.said)
            last[row.visit_id, row.person_id] = row.person, said
    more = []
    for visit in visits:
        reader, stands = readers.get(visit.site_id), promise_of(visit)
        for (pk, person_id), (person, before) in last.items():
            if pk != visit.pk or (reader is not None and reader.pk == person_id):
                continue
            if before.coming and not still_true(before, visit) and not _over(before, stands, now):
                more.append(Untold(visit, person, stands, before, *_way_to(person, rested)))
    return more


def _way_to(person: Person | None, rested: Rested) -> tuple[str, str]:
    """Why no message reaches the person, and the channel of one that does."""
    why = why_no_mail(person, VISITS, rested)
    if why and person is not None and person.wants_visit_mail and not why_no_text(person):
        return "", Notice.Channel.TEXT
    return why, Notice.Channel.MAIL


def left_out(visit: Visit) -> bool:
    """Whether its day is in order and it found no time there: nobody is told hours that nobody can keep."""
    if visit.state not in Visit.ON_A_DAY or visit.arrive_at is not None or not visit.site.placed:
        return False
    others = Visit.objects.filter(technician=visit.technician_id, day=visit.day, arrive_at__isnull=False)
    return others.exclude(pk=visit.pk).exists()


def _over(before: Promise | None, stands: Promise, now: datetime) -> bool:
    """Whether the day that would be spoken of is past."""
    days = [one.day for one in (before, stands) if one and one.day]
    return not days or max(days) < clock.local_day(now, Desk.the().zone)


def _told(visits: set[int], readers: dict[int, Person] | None = None) -> dict[int, Promise]:
    """The last that each household was told of its visit, by letter or on the telephone; with ``readers`` by
    site, the last that these very people were."""
    lives_there = SiteRole.objects.filter(site=OuterRef("site"), person=OuterRef("person"), until=None)
    letters = Notice.objects.filter(visit__in=visits, state=Notice.State.SENT).exclude(said={})
    # What somebody was told who has left since, nobody there knows.
    letters = letters.filter(Q(person=None) | Exists(lives_there))
    every: list[tuple[datetime | None, int | None, Promise]] = [
        (sent_at, visit, Promise.from_json(said))
        for sent_at, visit, said, site, person in letters.values_list(
            "sent_at", "visit", "said", "site", "person"
        )
        if readers is None or person is None or person == getattr(readers.get(site), "pk", None)
    ]
    every += _rung(visits)
    in_order = sorted(every, key=lambda row: str(row[0]))
    return {visit: promise for _at, visit, promise in in_order if visit is not None}


def _rung(visits: set[int]) -> list[tuple[datetime | None, int | None, Promise]]:
    """What was said on the telephone, but to people who have left since."""
    lives_there = SiteRole.objects.filter(site=OuterRef("site"), person=OuterRef("person"), until=None)
    calls = Rung.objects.filter(visit__in=visits, reached=True).exclude(said={})
    calls = calls.filter(Q(person=None) | Exists(lives_there))
    return [
        (at, visit, Promise.from_json(said)) for at, visit, said in calls.values_list("at", "visit", "said")
    ]


def told_to(visit: Visit, reader: Person | None) -> Promise | None:
    """The last that this reader, or the household by telephone, was told of the visit."""
    if reader is None:
        return told_of(visit)
    return _told({visit.pk}, {visit.site_id: reader}).get(visit.pk)


def was_invited(visit: Visit, reader: Person | None) -> bool:
    """Whether a letter with hours has put the visit into the reader's calendar."""
    sent = Notice.objects.filter(visit=visit, person=reader, kind=Notice.Kind.VISIT, state=Notice.State.SENT)
    return any(said.get("first") for said in sent.values_list("said", flat=True))


def readers_of(sites: Iterable[int]) -> dict[int, Person]:
    """Who is told of visits at each site: filter changer, occupant or owner, whoever has mail first."""
    roles = SiteRole.objects.filter(site__in=list(sites), role__in=_ROLES, until=None)
    best: dict[int, tuple[bool, int, Person]] = {}
    for role in roles.select_related("person").order_by("pk"):
        rank = (not role.person.email, _ROLES.index(SiteRole.Role(role.role)), role.person)
        if role.site_id not in best or rank[:2] < best[role.site_id][:2]:
            best[role.site_id] = rank
    return {site: person for site, (_mailless, _rank, person) in best.items()}


def write_visits(now: datetime) -> int:
    """Write an outbox row for every household that a letter is to tell; how many were written."""
    found = [row for row in untold(now) if row.reachable]
    rows = Notice.objects.filter(visit__in=[row.visit.pk for row in found], kind=Notice.Kind.VISIT)
    last = {(row.visit_id, row.person_id): row for row in rows.order_by("pk")}
    written = 0
    for row in found:
        if not _stands_in_the_way(last.get((row.visit.pk, row.person.pk if row.person else None)), row):
            written += _write(row, now)
    return written


def _stands_in_the_way(last: Notice | None, row: Untold) -> bool:
    """Whether the visit's last letter is still to go, or failed with the words that a new one would have."""
    if last is None:
        return False
    if last.state in (Notice.State.WAITING, Notice.State.CLAIMED):
        return True
    same_reader = row.person is not None and last.sent_to in ("", row.person.email, digits(row.person.phone))
    lost = last.state in (Notice.State.PARKED, Notice.State.FAILED)
    return lost and same_reader and last.said in (row.promise.as_json(), {})


def _write(row: Untold, now: datetime) -> int:
    visit = row.visit
    try:
        Notice.objects.create(
            key=f"visit-{visit.pk}-{visit.notices.count()}",
            kind=Notice.Kind.VISIT,
            site=visit.site,
            visit=visit,
            channel=row.channel,
            person=row.person,
            send_at=settled(visit.site, now),
        )
    except IntegrityError:
        return 0
    return 1


def why_stale(notice: Notice, now: datetime) -> str:
    """Why a letter about a visit must not go out any more; empty when it may."""
    visit, person = notice.visit, notice.person
    if visit is None or person is None:
        return _("its visit or its reader is not known")
    visit.refresh_from_db()
    if visit.state in (Visit.State.COMPLETED, Visit.State.NO_ACCESS):
        return _("the visit is over")
    if visit.state == Visit.State.UNDER_WAY:
        return _("somebody is at the door")
    if left_out(visit):
        return _("it has no time in the order of its day")
    told, stands = told_to(visit, person), promise_of(visit)
    if told is None and not stands.coming:
        return _("the visit was called off before anybody was told of it")
    if told is not None and still_true(told, visit):
        return _("nothing has changed since the last letter")
    if _over(told, stands, now):
        return _("that day is past")
    if readers_of([visit.site_id]).get(visit.site_id) != person and not (told and told.coming):
        return _("somebody else is told of visits there now")
    if not visit.site.roles.filter(person=person, until=None).exists():
        return _("they live there no more")
    return ""


def told_by_visit(visits: set[int]) -> dict[int, Promise]:
    """The last that each household was told of these visits."""
    return _told(visits)


def told_of(visit: Visit) -> Promise | None:
    """The last that the household was told of the visit; None for nothing."""
    return _told({visit.pk}).get(visit.pk)
