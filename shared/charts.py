"""Small drawings as accessible SVG text: the inclined gauge and the life curve.

Colours come from the page's stylesheet by class; a drawing holds no style of its own. Every drawing
has a title and a description; the page puts its numbers beside it as a table.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape


@dataclass(frozen=True)
class Mark:
    """A labelled position on an axis."""

    at: float
    label: str


def _svg(width: int, height: int, name: str, title: str, description: str, body: Sequence[str]) -> str:
    return (
        f'<svg class="drawing {name}" viewBox="0 0 {width} {height}" role="img" '
        f'aria-label="{escape(title)}. {escape(description)}">'
        f"<title>{escape(title)}</title><desc>{escape(description)}</desc>" + "".join(body) + "</svg>"
    )


def _text(x: float, y: float, label: str, anchor: str = "middle", name: str = "") -> str:
    kind = f' class="{name}"' if name else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{kind}>{escape(label)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, name: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{name}"/>'


def gauge(title: str, description: str, now: float, clean: Mark, limit: Mark, now_label: str) -> str:
    """An inclined tube filled with gauge fluid up to ``now``, with ticks at clean and limit.

    ``now``, ``clean.at`` and ``limit.at`` share one unit; the tube ends a tenth beyond the larger of
    limit and now. Values must not be negative.
    """
    top = max(limit.at, now, 1e-9) * 1.1
    left, right, low, high = 14.0, 306.0, 74.0, 34.0

    def place(value: float) -> tuple[float, float]:
        share = min(max(value / top, 0.0), 1.0)
        return left + share * (right - left), low + share * (high - low)

    end_x, end_y = place(now)
    body = [
        _line(left, low, right, high, "tube"),
        _line(left, low, end_x, end_y, "fluid past" if now > limit.at else "fluid"),
    ]
    # Two labels that would run into each other turn away from each other.
    close = abs(place(clean.at)[0] - place(limit.at)[0]) < 60
    for mark, name, anchor in ((clean, "tick", "end"), (limit, "tick limit", "start")):
        x, y = place(mark.at)
        aside = {"end": -3.0, "start": 3.0}[anchor] if close else 0.0
        label = _text(x + aside, y + 26, mark.label, anchor if close else "middle")
        body += [_line(x, y - 9, x, y + 9, name), label]
    body.append(_text(min(max(end_x, 70.0), 230.0), end_y - 16, now_label, name="now"))
    return _svg(320, 112, "gauge", title, description, body)


def small_gauge(title: str, share: float) -> str:
    """A tube the size of a word for lists: ``share`` of the way from clean to limit, past it above one."""
    x = 4 + 64 * min(max(share, 0.0), 1.15) / 1.15
    y = 20 - 14 * min(max(share, 0.0), 1.15) / 1.15
    limit_x, limit_y = 4 + 64 / 1.15, 20 - 14 / 1.15
    body = [
        _line(4, 20, 68, 6, "tube"),
        _line(4, 20, x, y, "fluid past" if share >= 1 else "fluid"),
        _line(limit_x, limit_y - 5, limit_x, limit_y + 5, "tick limit"),
    ]
    return _svg(72, 26, "small-gauge", title, "", body)


@dataclass(frozen=True)
class Curve:
    """A line with its band over days: ``x`` days from any zero, ``low``, ``middle``, ``high`` alike long."""

    x: Sequence[float]
    low: Sequence[float]
    middle: Sequence[float]
    high: Sequence[float]


def life_curve(
    title: str,
    description: str,
    curve: Curve,
    readings: Sequence[tuple[float, float]],
    limit: Mark,
    today: Mark,
    due: Mark | None,
    unit: str,
) -> str:
    """Drop over time: readings as dots, expected line, 10-90 % band, limit, today and the date."""
    first, last = curve.x[0], max(curve.x[-1], due.at if due else curve.x[-1])
    top = max(limit.at * 1.35, max((value for _, value in readings), default=0.0) * 1.1, 1e-9)
    left, right, floor, ceiling = 46.0, 700.0, 236.0, 34.0

    def x_of(day: float) -> float:
        return left + (day - first) / max(last - first, 1e-9) * (right - left)

    def y_of(value: float) -> float:
        return floor - min(max(value, 0.0), top) / top * (floor - ceiling)

    def path(values: Sequence[float], days: Sequence[float]) -> str:
        return " ".join(f"{x_of(day):.1f},{y_of(value):.1f}" for day, value in zip(days, values, strict=True))

    band = path(curve.high, curve.x) + " " + path(list(reversed(curve.low)), list(reversed(curve.x)))
    body = [
        f'<polygon points="{band}" class="band"/>',
        f'<polyline points="{path(curve.middle, curve.x)}" class="expected"/>',
        _line(left, y_of(limit.at), right, y_of(limit.at), "limit-line"),
        _text(left + 8, y_of(limit.at) - 6, limit.label, "start"),
        _line(left, floor, right, floor, "axis"),
        _line(left, floor, left, ceiling, "axis"),
        _text(left, ceiling - 12, unit, "start"),
        _line(x_of(today.at), floor, x_of(today.at), ceiling, "today"),
        _text(x_of(today.at), floor + 16, today.label),
    ]
    if due is not None:
        x = x_of(due.at)
        # A label that would run into today's steps down a line.
        lower = 32 if abs(x - x_of(today.at)) < 90 else 16
        anchor = "end" if x > right - 60 else "middle"
        body += [_line(x, floor, x, ceiling, "due"), _text(x, floor + lower, due.label, anchor, "now")]
    body += [
        f'<circle cx="{x_of(day):.1f}" cy="{y_of(value):.1f}" r="4" class="reading"/>'
        for day, value in readings
        if first <= day <= last
    ]
    return _svg(720, 276, "life-curve", title, description, body)


def route_sketch(
    title: str, description: str, depot: tuple[float, float], stops: Sequence[tuple[float, float]]
) -> str:
    """Stops of a day joined in order, north up; positions are (latitude, longitude) in degrees."""
    points = [depot, *stops]
    if len(points) < 2:
        return _svg(320, 60, "route", title, description, [_text(160, 34, "–")])
    lats, lons = [p[0] for p in points], [p[1] for p in points]
    span = max(max(lats) - min(lats), (max(lons) - min(lons)) * 0.75, 1e-4)
    mid_lat, mid_lon = (max(lats) + min(lats)) / 2, (max(lons) + min(lons)) / 2

    def place(point: tuple[float, float]) -> tuple[float, float]:
        return 160 + (point[1] - mid_lon) * 0.75 / span * 250, 140 - (point[0] - mid_lat) / span * 230

    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in map(place, [depot, *stops, depot]))
    x, y = place(depot)
    body = [
        f'<polyline points="{path}" class="road"/>',
        f'<rect x="{x - 6:.1f}" y="{y - 6:.1f}" width="12" height="12" class="depot"/>',
    ]
    for number, stop in enumerate(stops, start=1):
        x, y = place(stop)
        body += [
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="11" class="stop"/>',
            _text(x, y + 4, str(number), name="stop-number"),
        ]
    return _svg(320, 280, "route", title, description, body)
