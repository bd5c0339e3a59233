"""Where a filter is, as a small drawing: a grille in ceiling, wall or floor, a slot at the blower, and the
air."""

import re
from collections.abc import Sequence

from shared.charts import line, svg

CEILING, WALL, FLOOR, RACK = "ceiling", "wall", "floor", "rack"
# In which order the words of a place tell; Spanish as well. What a grille is in tells before the room does,
# and it is in a wall where nothing else is said. A floor of the house is none that a grille is in.
_WORDS = (
    (CEILING, r"ceiling|techo"),
    (WALL, r"\bwall\b|\bpared\b"),
    (FLOOR, r"\bfloor (?:grille|return|register)|in the floor|\b(?:del|en el) (?:piso|suelo)\b"),
    (RACK, r"rack|furnace|air handler|basement|attic|closet|cabinet|sótano|ático|desván|horno|armario"),
)


def kind_of(place: str) -> str:
    """CEILING, WALL, FLOOR or RACK by the words of a place."""
    return next((kind for kind, words in _WORDS if re.search(words, place, re.IGNORECASE)), WALL)


def place_picture(place: str, title: str, description: str) -> str:
    """The drawing of a place in 120 by 90 units: the filter thick, the arrow with the air, to the blower."""
    return svg(120, 90, "place-picture", title, description, _BODIES[kind_of(place)])


def _box(x: float, y: float, width: float, height: float, name: str) -> str:
    return f'<rect x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" class="{name}"/>'


def _arrow(x: float, y: float, dx: float, dy: float) -> list[str]:
    """From a place by so much, with its head."""
    tip_x, tip_y = x + dx, y + dy
    back_x, back_y = (-dx / abs(dx) * 9 if dx else 0.0), (-dy / abs(dy) * 9 if dy else 0.0)
    side_x, side_y = (6.0, 0.0) if dy else (0.0, 6.0)
    return [
        line(x, y, tip_x, tip_y, "flow"),
        line(tip_x, tip_y, tip_x + back_x + side_x, tip_y + back_y + side_y, "flow"),
        line(tip_x, tip_y, tip_x + back_x - side_x, tip_y + back_y - side_y, "flow"),
    ]


_BODIES: dict[str, Sequence[str]] = {
    CEILING: [
        line(4, 30, 34, 30, "frame"), line(86, 30, 116, 30, "frame"), _box(34, 6, 52, 24, "frame"),
        _box(38, 20, 44, 7, "filter"), *_arrow(60, 76, 0, -34), line(8, 86, 112, 86, "faint"),
    ],
    WALL: [
        line(84, 4, 84, 18, "frame"), line(84, 70, 84, 86, "frame"), _box(84, 18, 28, 52, "frame"),
        _box(87, 22, 7, 44, "filter"), *_arrow(20, 44, 50, 0), line(4, 86, 84, 86, "faint"),
    ],
    FLOOR: [
        line(4, 58, 34, 58, "frame"), line(86, 58, 116, 58, "frame"), _box(34, 58, 52, 26, "frame"),
        _box(38, 61, 44, 7, "filter"), *_arrow(60, 14, 0, 34),
    ],
    RACK: [
        _box(4, 26, 112, 42, "frame"), _box(50, 22, 8, 50, "filter"), *_arrow(10, 47, 32, 0),
        '<circle cx="92" cy="47" r="15" class="frame"/>', line(92, 36, 92, 58, "frame"),
        line(81, 47, 103, 47, "frame"),
    ],
}  # fmt: skip
