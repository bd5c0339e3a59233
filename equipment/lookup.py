"""The technician's one box: address, name, phone, slot code or size, as people type them."""

import re

from django.db.models import Case, Exists, Expression, F, IntegerField, OuterRef, Q, QuerySet, Value, When
from django.db.models.functions import Concat, Replace

from equipment.models import FilterSlot, Person, SiteRole
from shared.sizes import NotASize, Size, parse_size

AT_MOST = 50
_SAME_SIDE_M = 0.0005
# What stands in these is matched word by word; all of it may be written with commas and the like.
_PLACE = ("system__site__street", "system__site__name", "system__site__customer__name", "location")
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

    A number is a house number, a postcode's beginning or a whole code, and alone also a side of the filter;
    those come first in which the most words stand whole. A slot's own code finds that slot alone. A size
    finds the slots of that nominal size, the sides in any order, and two sides those of every depth; five
    digits or more also find phones.
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
    slots = slots.annotate(place=_spaced(*_PLACE))
    words, wanted = re.findall(r"[^\s,;]+", typed)[:8], Q()
    for word in words:
        wanted &= _number(word, len(words) == 1) if word.isdigit() else _word(word)
    digits = re.sub(r"\D", "", typed)
    if len(digits) >= 5:
        wanted |= _of_person(person__in=_people_with_phone(digits))
    whole = sum((_stands_whole(word) for word in words), start=Value(0))
    return slots.filter(wanted).annotate(whole=whole).order_by("-whole", "system__site__name", "name")


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
    found = _of_person(person__name__icontains=word)
    for field in _WORD_FIELDS:
        found |= Q(**{field: word})
    return found


def _number(word: str, alone: bool) -> Q:
    """A number as a whole: of the house or the place, a code, the beginning of a postcode, a side."""
    found = Q(place__contains=f" {word} ") | Q(name=word) | Q(system__name=word)
    found |= Q(system__site__postcode__istartswith=word) | _of_person(person__name__icontains=word)
    if alone:
        found |= Q(nominal_size__startswith=f"{word}x") | Q(nominal_size__contains=f"x{word}x")
    return found


def _of_person(**wanted: object) -> Q:
    """Slots of homes with such a person; asked apart, so that no slot comes twice."""
    return Q(Exists(SiteRole.objects.filter(site=OuterRef("system__site"), **wanted)))


def _stands_whole(word: str) -> Expression:
    return Case(When(place__icontains=f" {word} ", then=1), default=0, output_field=IntegerField())


def _spaced(*fields: str) -> Expression:
    """The fields as words with a blank before and behind each."""
    parts: list[Expression] = [Value(" ")]
    for field in fields:
        parts.extend((F(field), Value(" ")))  # type: ignore[arg-type]
    text: Expression = Concat(*parts)
    for mark in ",;.()/#":
        text = Replace(text, Value(mark), Value(" "))
    return text


def _people_with_phone(digits: str) -> QuerySet[Person]:
    bare = F("phone")
    for mark in " -().+/":
        bare = Replace(bare, Value(mark), Value(""))  # type: ignore[assignment]
    return Person.objects.annotate(bare_phone=bare).filter(bare_phone__contains=digits)
