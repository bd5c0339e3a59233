"""What of free text goes when a person is forgotten.

Where they lived or changed filters, what was noted about people until they left goes whole: calls, answers,
happenings, wishes and notes of visits that are over. Of what tells of the building, there and where they only
own or pay, their name, mail and telephone go.
"""

import re
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from equipment.models import LifeEvent, Person, SiteRole
from schedules.models import Answer, Defect, FieldEntry, Rung, TaskDone, Visit

GONE = "…"
_LEAST_LETTERS, _LEAST_DIGITS = 3, 7
_AT_HOME = (SiteRole.Role.OCCUPANT, SiteRole.Role.FILTER_CHANGER)


def signs_of(person: Person) -> re.Pattern[str] | None:
    """Whatever names the person, now or before: whole names and words of them, mails, telephones."""
    rows = [(person.name, person.email, person.phone)]
    rows += person.history.values_list("name", "email", "phone")
    parts = {part for row in rows for part in _parts(*row)}
    longest_first = sorted(parts, key=lambda part: (-len(part), part))
    return re.compile("|".join(longest_first)) if longest_first else None


def _parts(name: str, mail: str, phone: str) -> Iterator[str]:
    words = [word for word in re.findall(r"[^\W\d_]+", name) if len(word) >= _LEAST_LETTERS]
    if name.strip():
        yield rf"(?i:(?<!\w){re.escape(name.strip())}(?!\w))"
    # As a name is written: `reed` in the garden is no Reed.
    yield from (rf"(?<!\w){re.escape(word)}(?!\w)" for word in words if word[0].isupper())
    if mail:
        yield rf"(?i:{re.escape(mail)})"
    digits = re.sub(r"\D", "", phone)[-10:]
    if len(digits) >= _LEAST_DIGITS:
        yield r"(?:\+?1[\s.-]*)?\(?" + r"[\s().-]*".join(digits) + r"(?!\d)"


def take_out(person: Person, now: datetime) -> None:
    """Take the person out of what was written about the homes where they were; in one transaction, before
    their own row is blanked."""
    signs = signs_of(person)
    for site, until in _stays(person.roles.filter(role__in=_AT_HOME)).items():
        then = now if until is None else _end_of(until)
        _notes(site, person, then)
        _notes_of_visits(Visit.objects.filter(site=site, created_at__lte=then))
    for site in _stays(person.roles.all()):
        visits = Visit.objects.filter(site=site)
        if signs is not None:
            for rows, names in _of_the_building(site, visits):
                _without(rows, names, signs)


def _stays(roles: QuerySet[SiteRole]) -> dict[int, date | None]:
    """The homes of these parts, each with the last day; None while it lasts."""
    found: dict[int, date | None] = {}
    for site, until in roles.values_list("site", "until"):
        known = found.get(site, date.min)
        found[site] = None if known is None or until is None else max(known, until)
    return found


def _end_of(day: date) -> datetime:
    """A day more than the home's own, wherever it is."""
    return timezone.make_aware(datetime.combine(day + timedelta(days=2), time.min))


def _notes(site: int, person: Person, then: datetime) -> None:
    """What was noted about people: calls and answers of theirs or of nobody named, and what happened."""
    theirs = Q(person=person) | Q(person=None)
    Rung.objects.filter(theirs, site=site, at__lte=then).update(note="", why="")
    Answer.objects.filter(theirs, site=site, at__lte=then).update(text="")
    LifeEvent.objects.filter(theirs, site=site, recorded_at__lte=then).update(note="")


def _notes_of_visits(visits: QuerySet[Visit]) -> None:
    """Wishes and notes of visits that are over; of those to come they are still needed, without the name."""
    over = visits.exclude(state__in=Visit.OPEN)
    Visit.history.filter(id__in=over.values("pk")).update(wanted="", note="")
    FieldEntry.objects.filter(visit__in=over.values("pk")).exclude(
        pk__in=FieldEntry.objects.waiting().values("pk")
    ).update(fields={})
    Visit.objects.filter(pk__in=list(over.values_list("pk", flat=True))).update(wanted="", note="")


def _of_the_building(site: int, visits: QuerySet[Visit]) -> Iterable[tuple[Any, tuple[str, ...]]]:
    mine = visits.values("pk")
    told = ("wanted", "note", "findings")
    return (
        (Visit.objects.filter(pk__in=mine), told),
        (Visit.history.filter(id__in=mine), told),
        (Defect.objects.filter(site=site), ("settled_how",)),
        (TaskDone.objects.filter(task__system__site=site), ("note",)),
    )


def _without(rows: Any, names: tuple[str, ...], signs: re.Pattern[str]) -> None:
    """Only rows in which somebody is named are written."""
    for key, *texts in rows.values_list("pk", *names):
        fresh = [signs.sub(GONE, text) for text in texts]
        if fresh != texts:
            rows.model._base_manager.filter(pk=key).update(**dict(zip(names, fresh, strict=True)))
