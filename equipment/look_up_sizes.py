"""Sizes as people type them into the look-up: nominal, as measured, in inches or metric."""

import re
from contextlib import suppress
from dataclasses import dataclass

from django.db.models import Q

from equipment.look_up_find import of_sides, of_size, sizes_between
from equipment.models import FilterSlot
from shared.sizes import NotASize, Size, parse_size
from shared.units import METRE_PER_INCH

_SAME_SIDE_M = 0.0005
# Nominal sides are rounded up: a frame measures up to so much less, and hardly ever more.
_UNDER_NOMINAL_M = 0.6 * METRE_PER_INCH
_OVER_NOMINAL_M = 0.13 * METRE_PER_INCH
_NEAR_M = 1.05 * METRE_PER_INCH
_MOST_SIZES = 3
_PLAIN_NUMBERS = 3
# Two or three numbers, fractions too, with an x between them.
_NUMBER = r"(?:\d+[ -](?=\d+/))?\d+(?:/\d+|\.\d+)?"
_AMONG = re.compile(rf"(?<![\w.]){_NUMBER}(?:\s*[x×*]\s*{_NUMBER}){{1,2}}(?![\w.])", re.IGNORECASE)
Face = tuple[float, float]


@dataclass(frozen=True)
class Sides:
    """Two sides in metres as typed, the shorter first, and the whole size where a depth was typed too."""

    face: Face
    size: Size | None


def as_sides(typed: str) -> Sides | None:
    """The sides that were typed, if it was a size or a face."""
    typed = typed.replace("½", " 1/2").replace("¼", " 1/4").replace("¾", " 3/4")
    size = as_size(typed)
    face = (size.short_m, size.long_m) if size else as_face(typed)
    return Sides(face, size) if face else None


def sides_among(typed: str) -> tuple[Sides | None, str]:
    """The sides that stand among other words, with an x between them, and the words without them."""
    found = _AMONG.search(typed)
    sides = as_sides(found[0]) if found else None
    if found is None or sides is None:
        return None, typed
    return sides, (typed[: found.start()] + " " + typed[found.end() :]).strip()


def as_size(typed: str) -> Size | None:
    """The filter size that was typed, if it was one: also ``20 20 1``, ``16/25/1``, the letter O for 0, and
    bare millimetres, which as inches would be longer than any filter."""
    for spelling in (typed, _as_triple(typed), f"{typed} mm", _depth_last(typed)):
        with suppress(NotASize):
            return parse_size(spelling)
    return None


def _depth_last(typed: str) -> str:
    """Three plain numbers with the smallest, which only the depth can be, at the end: 1x20x20."""
    plain = _as_triple(typed)
    numbers = plain.split("x")
    if len(numbers) != _PLAIN_NUMBERS or not all(re.fullmatch(r"\d+(\.\d+)?", one) for one in numbers):
        return plain
    return "x".join(sorted(numbers, key=float, reverse=True))


def _as_triple(typed: str) -> str:
    """Three numbers parted by anything, with letters that were taken for digits, as a size is written."""
    plain = re.sub(r"(?<=[\dxX×\s/*])[oO](?=[\dxX×\s/*]|$)|(?<=\d)[oO]", "0", typed.strip())
    numbers = re.fullmatch(r"(\d+(?:\.\d+)?)[\s/x×*-]+(\d+(?:\.\d+)?)[\s/x×*-]+(\d+(?:\.\d+)?)", plain, re.I)
    return "x".join(numbers.groups()) if numbers else plain


def as_face(typed: str) -> Face | None:
    """Short and long side in metres where two sides were typed and no depth."""
    # Any depth serves to read the two sides: an inch, or 25 where they are millimetres.
    for depth in ("x1", "x25"):
        size = as_size(typed + depth)
        if size is not None:
            return size.short_m, size.long_m
    return None


def _same(side: float) -> tuple[float, float]:
    return side - _SAME_SIDE_M, side + _SAME_SIDE_M


def same_sides(sides: Sides) -> Q:
    """Slots or media of that size; without a depth those with these sides, to half a millimetre."""
    if sides.size is not None:
        return Q(nominal_size=sides.size.label)
    short, long = sides.face
    return Q(short_m__range=_same(short), long_m__range=_same(long))


def with_sides(sides: Sides, at_most: int, among: list[int] | None = None) -> list[int]:
    """Slots of that size, or with those two sides, the thinnest first; only ``among`` those ids if given."""
    if among is not None:
        slots = FilterSlot.objects.filter(same_sides(sides), pk__in=among)
        return list(slots.order_by("depth_m", "system__site__name", "name").values_list("pk", flat=True))
    if sides.size is not None:
        return of_size(sides.size.label, at_most)
    return of_sides(_same(sides.face[0]), _same(sides.face[1]), at_most)


def near_sides(sides: Sides, at_most: int) -> list[int]:
    """Slots of the sizes on record that come nearest, first those which a frame of these sides is sold as."""
    return [slot for _rank, label in _nearest(sides)[:_MOST_SIZES] for slot in of_size(label, at_most)]


def sold_as(sides: Sides) -> str:
    """The nominal size on record as which a frame of these measures is sold; empty where there is none, or
    where it is a nominal size itself."""
    near = _nearest(sides)
    if not near:
        return ""
    (is_other, apart_m), label = near[0]
    return "" if is_other or apart_m < _SAME_SIDE_M else label


def _nearest(sides: Sides) -> list[tuple[tuple[int, float], str]]:
    short, long = sides.face
    found = sizes_between((short - _NEAR_M, short + _NEAR_M), (long - _NEAR_M, long + _NEAR_M))
    typed = sides.size.triple if sides.size else sides.face
    return sorted((_rank(typed, nominal[: len(typed)]), label) for label, *nominal in found)


def _rank(typed: tuple[float, ...], nominal: list[float]) -> tuple[int, float]:
    """Nought for sizes as which such a frame is sold, then the distance in m, depth and all."""
    more = [side - have for side, have in zip(nominal, typed, strict=True)]
    fits = all(-_OVER_NOMINAL_M <= one <= _UNDER_NOMINAL_M for one in more)
    return int(not fits), sum(abs(one) for one in more)
