"""Wishes written down as they are said: what, when, where and in which words."""

from datetime import datetime

from equipment.models import Person
from schedules.models import Wish
from schedules.reach import CONSENT

TEXTS = "texts"
_LONGEST = 300


def wanted_of(person: Person) -> dict[str, bool]:
    """What the person wants to hear of, by subject."""
    return {subject: bool(getattr(person, field)) for subject, field in CONSENT.items()}


def note(
    person: Person, before: dict[str, bool], now: datetime, how: str, words: dict[str, str] | str
) -> None:
    """Write down what differs from ``before``; ``words``: what was read where it was said, by subject or the
    same of all."""
    Wish.objects.bulk_create(
        Wish(
            person=person,
            subject=subject,
            wanted=wanted,
            at=now,
            how=how,
            wording=(words if isinstance(words, str) else words.get(subject, ""))[:_LONGEST],
        )
        for subject, wanted in wanted_of(person).items()
        if before.get(subject) != wanted
    )


def note_texts(people: list[int], now: datetime, how: str, words: str, *, wanted: bool) -> None:
    """The same of text messages."""
    Wish.objects.bulk_create(
        Wish(person_id=pk, subject=TEXTS, wanted=wanted, at=now, how=how, wording=words[:_LONGEST])
        for pk in people
    )
