"""Policies side by side as one drawing: changes a year against days past the limit."""

import math
from collections.abc import Callable, Sequence
from html import escape

from schedules.rehearsal.policies import Outcome

_WIDTH, _HEIGHT, _LEFT, _TOP, _RIGHT, _BOTTOM = 640, 400, 64, 24, 20, 52
_COLOURS = {"fixed days": "#8a5a2b", "run-hours": "#5b6770"}
_DASHES = {"fixed days": "6 3", "run-hours": "2 3"}
_OURS = "#0f5c6e"
_STYLE = "text{font:13px sans-serif;fill:#222}line{stroke:#999}"


def drawing(outcomes: Sequence[Outcome]) -> str:
    """A whole SVG file: one line a family of policies, a dot a setting; the lower left is better."""
    top_x = max(o.changes for o in outcomes) * 1.08
    top_y = max(o.days_past for o in outcomes) * 1.08 or 1.0

    def place(outcome: Outcome) -> tuple[float, float]:
        x = _LEFT + outcome.changes / top_x * (_WIDTH - _LEFT - _RIGHT)
        return x, _HEIGHT - _BOTTOM - outcome.days_past / top_y * (_HEIGHT - _TOP - _BOTTOM)

    families = dict.fromkeys(o.family for o in outcomes)
    body = [part for family in families for part in _family(family, outcomes, place)]
    title = "Changes a year and days past the limit, by policy"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img">'
        f"<title>{title}</title><style>{_STYLE}</style>" + "".join([*_axes(top_x, top_y), *body]) + "</svg>\n"
    )


def _family(
    family: str, outcomes: Sequence[Outcome], place: Callable[[Outcome], tuple[float, float]]
) -> list[str]:
    rows = sorted((o for o in outcomes if o.family == family), key=lambda o: o.changes)
    colour, dash = _COLOURS.get(family, _OURS), _DASHES.get(family, "none")
    points = [place(row) for row in rows]
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    line = f'stroke="{colour}" stroke-width="2" stroke-dasharray="{dash}"'
    parts = [f'<polyline points="{path}" fill="none" {line}/>']
    parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{colour}"/>' for x, y in points]
    # Named at its upper end, where the lines lie apart.
    x, y = points[0]
    return [*parts, f'<text x="{x + 7:.1f}" y="{max(y, _TOP + 8):.1f}">{escape(family)}</text>']


def _axes(top_x: float, top_y: float) -> list[str]:
    low, right = _HEIGHT - _BOTTOM, _WIDTH - _RIGHT
    parts = [
        f'<line x1="{_LEFT}" y1="{low}" x2="{right}" y2="{low}"/>',
        f'<line x1="{_LEFT}" y1="{_TOP}" x2="{_LEFT}" y2="{low}"/>',
        f'<text x="{(_LEFT + right) / 2}" y="{_HEIGHT - 12}" text-anchor="middle">'
        "changes a filter a year</text>",
        "changes a filter a year</text>",
        f'<text x="{_LEFT}" y="{_TOP - 8}">days past the limit a filter a year</text>',
    ]
    for at in _steps(top_x):
        x = _LEFT + at / top_x * (right - _LEFT)
        parts.append(f'<text x="{x:.1f}" y="{low + 18}" text-anchor="middle">{at:g}</text>')
    for at in _steps(top_y):
        y = low - at / top_y * (low - _TOP)
        parts.append(f'<text x="{_LEFT - 8}" y="{y + 4:.1f}" text-anchor="end">{at:g}</text>')
    return parts


def _steps(top: float) -> list[float]:
    size = 10.0 ** math.floor(math.log10(top))
    step = next(size * part for part in (0.2, 0.25, 0.5, 1.0, 2.0) if top / (size * part) <= 6)
    return [step * number for number in range(int(top / step) + 1)]
