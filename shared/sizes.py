"""Nominal filter sizes as people type them.

A size is the label's own triple: two face sides, interchangeable at the grille, and the depth,
which is not. The short side is written first.
"""

import re
from dataclasses import dataclass
from fractions import Fraction

from shared.units import METRE_PER_INCH

_BETWEEN = re.compile(r"\s*(?:x|×|\*|by)\s*", re.IGNORECASE)
_INCH_MARKS = re.compile(r"(?:\"|″|”|''|in(?:ch(?:es)?)?\b\.?)", re.IGNORECASE)
_NUMBER = re.compile(r"(?:(\d+)[ -])?(\d+)/(\d+)|(\d+(?:\.\d*)?|\.\d+)")
LONGEST_FACE_M = 2.5
THINNEST_M = 0.003


class NotASize(ValueError):
    """What was typed is not a filter size; the message says why in plain words."""


@dataclass(frozen=True, order=True)
class Size:
    """Nominal size in metres, ``short_m`` <= ``long_m``; ``label`` is how it is written."""

    short_m: float
    long_m: float
    depth_m: float
    label: str

    @property
    def area_m2(self) -> float:
        """Nominal face area in m2."""
        return self.short_m * self.long_m

    @property
    def triple(self) -> tuple[float, float, float]:
        """Short side, long side and depth in metres."""
        return self.short_m, self.long_m, self.depth_m


def parse_size(text: str) -> Size:
    """A size such as ``16x25x1``, ``16 X 25 x 1"``, ``15 1/2 x 24 1/2 x 7/8`` or ``406 x 635 x 25 mm``.

    Inches unless millimetres or centimetres are written. A metric size within half a millimetre of
    whole or half inches is that inch size. Raises NotASize for fewer or more than three numbers, for
    nought, for a depth larger than the face, and for faces over 2.5 m.
    """
    body, unit_m = _strip_unit(text.strip())
    parts = _BETWEEN.split(body)
    if len(parts) != 3:
        raise NotASize(f"“{text}” is not a size: write width x height x depth, such as 16x25x1")
    numbers = [_one_number(part, text) for part in parts]
    if any(value <= 0 for value in numbers):
        raise NotASize(f"“{text}”: no side of a filter measures 0")
    short, long = sorted(numbers[:2])
    return _checked(short, long, numbers[2], unit_m, text)


def _strip_unit(text: str) -> tuple[str, float]:
    for ending, metres in (("mm", 0.001), ("cm", 0.01)):
        if ending in text.lower():
            return re.sub(ending, "", text, flags=re.IGNORECASE), metres
    return _INCH_MARKS.sub("", text), METRE_PER_INCH


def _one_number(part: str, whole: str) -> float:
    match = _NUMBER.fullmatch(part.strip().replace(",", "."))
    if match is None or match[3] == "0":
        raise NotASize(f"“{whole}” is not a size: “{part.strip()}” is not a number")
    if match[4]:
        return float(match[4])
    return float(int(match[1] or 0) + Fraction(int(match[2]), int(match[3])))


def _checked(short: float, long: float, depth: float, unit_m: float, text: str) -> Size:
    if depth > short:
        raise NotASize(f"“{text}”: the depth comes last and cannot be larger than the face")
    if long * unit_m > LONGEST_FACE_M:
        raise NotASize(f"“{text}”: a side of {long:g} is longer than any filter")
    if depth * unit_m < THINNEST_M:
        raise NotASize(f"“{text}”: a depth of {depth:g} is thinner than any filter")
    tenths = [round(value * unit_m * 1000, 1) for value in (short, long, depth)]
    # Of what the label will say, so that the label read again is this size.
    inches = [_as_inches(millimetres / 1000) for millimetres in tenths]
    if unit_m == METRE_PER_INCH:
        return _size([short, long, depth], METRE_PER_INCH, "")
    if all(value is not None for value in inches):
        return _size([value for value in inches if value is not None], METRE_PER_INCH, "")
    return _size(tenths, 0.001, " mm")


def _as_inches(metres: float) -> float | None:
    halves = round(metres / METRE_PER_INCH * 2) / 2
    return halves if halves > 0 and abs(halves * METRE_PER_INCH - metres) <= 0.000501 else None


def _size(sides: list[float], unit_m: float, ending: str) -> Size:
    short, long, depth = sides
    label = "x".join(f"{round(side, 4):g}" for side in sides) + ending
    return Size(short * unit_m, long * unit_m, depth * unit_m, label)


def show_size(short_m: float, long_m: float, depth_m: float, system: str = "ip") -> str:
    """Three sides in metres as people read them, such as ``15.5 × 24.5 × 0.75 in``."""
    sides = (short_m, long_m, depth_m)
    if system == "si":
        return " × ".join(f"{side * 1000:.0f}" for side in sides) + " mm"
    return " × ".join(f"{round(side / METRE_PER_INCH, 3):g}" for side in sides) + " in"
