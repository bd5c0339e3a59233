"""Sizes as people type them into the look-up: nominal, as measured, in inches or metric."""

import re
from contextlib import suppress

from django.db.models import Q

from equipment.look_up_find import of_sides, of_size
from equipment.models import FilterSlot
from shared.sizes import NotASize, Size, parse_size
from shared.units import METRE_PER_INCH

_SAME_SIDE_M = 0.0005
# Nominal sides are rounded up: a frame measures up to so much less, and hardly ever more.
_UNDER_NOMINAL_M = 0.6 * METRE_PER_INCH
_OVER_NOMINAL_M = 0.13 * METRE_PER_INCH
_NEAR_M = 1.05 * METRE_PER_INCH
_MOST_SIZES = 3
AT_MOST = 51
Face = tuple[float, float]


def as_size(typed: str) -> Size | None:
    """The filter size that was typed, if it was one: also ``20 20 1``, ``16/25/1``, the letter O for 0, and
    bare millimetres, which as inches would be longer than any filter."""
    for spelling in (typed, _as_triple(typed), f"{typed} mm"):
        with suppress(NotASize):
            return parse_size(spelling)
    return None


def _as_triple(typed: str) -> str:
    """Three numbers parted by anything, with letters that were taken for digits, as a size is written."""
    plain = re.sub(r"(?<=[\dxX×\s/*])[oO](?=[\dxX×\s/*]|$)|(?<=\d)[oO]", "0", typed.strip())
    numbers = re.fullmatch(r"(\d+(?:\.\d+)?)[\s/x×*]+(\d+(?:\.\d+)?)[\s/x×*]+(\d+(?:\.\d+)?)", plain, re.I)
    return "x".join(numbers.groups()) if numbers else plain


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


def of_size_or_face(size: Size | None, face: Face | None, among: list[int] | None) -> list[int]:
    """Slots of that size, or with those two sides, the thinnest first; only ``among`` those ids if given."""
    if among is not None:
        same = Q(nominal_size=size.label) if size else of_face(face or (0.0, 0.0))
        slots = FilterSlot.objects.filter(same, pk__in=among)
        return list(slots.order_by("depth_m", "system__site__name", "name").values_list("pk", flat=True))
    if size is not None:
        return of_size(size.label, AT_MOST)
    short, long = ((side - _SAME_SIDE_M, side + _SAME_SIDE_M) for side in face or (0.0, 0.0))
    return of_sides(short, long, AT_MOST)


def near_size(size: Size | None, face: Face | None) -> list[int]:
    """Slots of the sizes on record that come nearest, first those which a frame of these sides is sold as."""
    return [slot for label in _near_labels(size, face)[:_MOST_SIZES] for slot in of_size(label, AT_MOST)]


def sold_as(size: Size | None, face: Face | None) -> str:
    """The nominal size on record as which a frame of these measures is sold; empty where there is none, or
    where it is a nominal size itself."""
    near = _near_rows(size, face)
    if not near or near[0][0][0] != 0 or near[0][0][1] < _SAME_SIDE_M:
        return ""
    return near[0][1]


def _near_labels(size: Size | None, face: Face | None) -> list[str]:
    return [label for _rank, label in _near_rows(size, face)]


def _near_rows(size: Size | None, face: Face | None) -> list[tuple[tuple[int, float], str]]:
    short, long = face or ((size.short_m, size.long_m) if size else (0.0, 0.0))
    rows = FilterSlot.objects.in_use().filter(
        short_m__range=(short - _NEAR_M, short + _NEAR_M), long_m__range=(long - _NEAR_M, long + _NEAR_M)
    )
    found = rows.order_by().values_list("nominal_size", "short_m", "long_m", "depth_m").distinct()
    typed = (short, long, *((size.depth_m,) if size else ()))
    return sorted((_rank(typed, sides[: len(typed)]), label) for label, *sides in found)


def _rank(typed: tuple[float, ...], nominal: list[float]) -> tuple[int, float]:
    """Nought for sizes as which such a frame is sold, then the distance in m, depth and all."""
    more = [side - have for side, have in zip(nominal, typed, strict=True)]
    fits = all(-_OVER_NOMINAL_M <= one <= _UNDER_NOMINAL_M for one in more)
    return int(not fits), sum(abs(one) for one in more)
