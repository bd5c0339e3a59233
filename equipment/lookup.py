"""The technician's one box: address, name, phone, slot code or size, as people type them."""

import re

from django.db.models import F, Q, QuerySet, Value
from django.db.models.functions import Replace

from equipment.models import FilterSlot, Person
from shared.sizes import NotASize, Size, parse_size

AT_MOST = 50
_SAME_SIDE_M = 0.0005
_WORD_FIELDS = (
    "name__icontains",
    "location__icontains",
    "system__name__icontains",
    "system__site__name__icontains",
    "system__site__street__icontains",
    "system__site__city__icontains",
    "system__site__postcode__istartswith",
    "system__site__customer__name__icontains",
)


def look_up(typed: str) -> QuerySet[FilterSlot]:
    """Slots that answer to what was typed: every word must be found in the slot, its place or its people.

    A size finds the slots of that nominal size, the sides in any order, and two sides those of every depth;
    five digits or more also find phones.
    """
    typed = typed.strip()
    slots = FilterSlot.objects.in_use().order_by("system__site__name", "name")
    if not typed:
        return slots.none()
    size = as_size(typed)
    if size is not None:
        return slots.filter(nominal_size=size.label)
    face = as_face(typed)
    if face is not None:
        return slots.filter(of_face(face)).order_by("depth_m", "system__site__name", "name")
    exact = slots.filter(name__iexact=typed)
    if exact.exists():
        return exact
    wanted = Q()
    for word in typed.split()[:8]:
        wanted &= _word(word)
    digits = re.sub(r"\D", "", typed)
    if len(digits) >= 5:
        wanted |= Q(system__site__roles__person__in=_people_with_phone(digits))
    return slots.filter(wanted).distinct()


def as_size(typed: str) -> Size | None:
    """The filter size that was typed, if it was one."""
    try:
        return parse_size(typed)
    except NotASize:
        return None


def as_face(typed: str) -> tuple[float, float] | None:
    """Short and long side in metres where two sides were typed and no depth."""
    # Any depth serves to read the two sides: an inch, or 25 where they are millimetres.
    for depth in ("x1", "x25"):
        size = as_size(typed + depth)
        if size is not None:
            return size.short_m, size.long_m
    return None


def of_face(face: tuple[float, float]) -> Q:
    """Slots or media with these two sides, to within half a millimetre, whatever their depth."""
    short, long = face
    return Q(
        short_m__range=(short - _SAME_SIDE_M, short + _SAME_SIDE_M),
        long_m__range=(long - _SAME_SIDE_M, long + _SAME_SIDE_M),
    )


def _word(word: str) -> Q:
    found = Q(system__site__roles__person__name__icontains=word)
    for field in _WORD_FIELDS:
        found |= Q(**{field: word})
    return found


def _people_with_phone(digits: str) -> QuerySet[Person]:
    bare = F("phone")
    for mark in " -().+/":
        bare = Replace(bare, Value(mark), Value(""))  # type: ignore[assignment]
    return Person.objects.annotate(bare_phone=bare).filter(bare_phone__contains=digits)
