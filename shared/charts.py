"""Small drawings as accessible SVG text: the inclined gauge and the life curve.

Colours come from the page's stylesheet by class; a drawing holds no style of its own. Every drawing
has a title and a description; the page puts its numbers beside it as a table.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from html import escape


@dataclass(frozen=True)
class Mark:
    """A labelled position on an axis."""

    at: float
    label: str


def svg(width: int, height: int, name: str, title: str, description: str, body: Sequence[str]) -> str:
    """A drawing of ``body`` in a box, with its title and description for whoever does not see it."""
    return (
        f'<svg class="drawing {name}" viewBox="0 0 {width} {height}" role="img" '
        f'aria-label="{escape(title)}. {escape(description)}">'
        f"<title>{escape(title)}</title><desc>{escape(description)}</desc>" + "".join(body) + "</svg>"
    )


def text(x: float, y: float, label: str, anchor: str = "middle", name: str = "") -> str:
    """A label at a place of the box."""
    kind = f' class="{name}"' if name else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{kind}>{escape(label)}</text>'


def line(x1: float, y1: float, x2: float, y2: float, name: str) -> str:
    """A straight line of the stylesheet's class ``name``."""
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
        line(left, low, right, high, "tube"),
        line(left, low, end_x, end_y, "fluid past" if now > limit.at else "fluid"),
    ]
    # Two labels that would run into each other turn away from each other.
    close = abs(place(clean.at)[0] - place(limit.at)[0]) < 60
    for mark, name, anchor in ((clean, "tick", "end"), (limit, "tick limit", "start")):
        x, y = place(mark.at)
        aside = {"end": -3.0, "start": 3.0}[anchor] if close else 0.0
        label = text(x + aside, y + 26, mark.label, anchor if close else "middle")
        body += [line(x, y - 9, x, y + 9, name), label]
    now_x, (limit_x, limit_y) = min(max(end_x, 70.0), 230.0), place(limit.at)
    # Near the limit the label steps above its tick; a letter is some 7.5 units wide.
    meets = abs(limit_x - now_x) < 3.75 * len(now_label) + 4
    body.append(text(now_x, min(end_y - 16, limit_y - 14) if meets else end_y - 16, now_label, name="now"))
    return svg(320, 112, "gauge", title, description, body)


def small_gauge(title: str, described: str, share: float) -> str:
    """A tube the size of a word for lists: ``share`` of the way from clean to limit, past it above one."""
    x = 4 + 64 * min(max(share, 0.0), 1.15) / 1.15
    y = 20 - 14 * min(max(share, 0.0), 1.15) / 1.15
    limit_x, limit_y = 4 + 64 / 1.15, 20 - 14 / 1.15
    body = [
        line(4, 20, 68, 6, "tube"),
        line(4, 20, x, y, "fluid past" if share >= 1 else "fluid"),
        line(limit_x, limit_y - 5, limit_x, limit_y + 5, "tick limit"),
    ]
    return svg(72, 26, "small-gauge", title, described, body)


@dataclass(frozen=True)
class Curve:
    """A line with its band over days: ``x`` days from any zero, ``low``, ``middle``, ``high`` alike long."""

    x: Sequence[float]
    low: Sequence[float]
    middle: Sequence[float]
    high: Sequence[float]


@dataclass(frozen=True)
class Size:
    """How large a life curve is drawn: its box and how many dated ticks it holds."""

    width: int
    height: int
    dates: int


# Text is 13 units high: WIDE stays above 11 px down to a page of 650 px, NARROW down to one of 310.
WIDE, NARROW = Size(720, 330, 6), Size(330, 330, 3)


@dataclass(frozen=True)
class Life:
    """What a life curve shows; drops in one unit, days from one zero.

    ``span`` is the days between which the limit is likely reached, ``dates`` the labelled days below.
    """

    curve: Curve
    readings: Sequence[tuple[float, float]]
    limit: Mark
    today: Mark
    due: Mark | None
    span: tuple[float, float] | None
    dates: Sequence[Mark]
    unit: str

    @property
    def ends(self) -> tuple[float, float]:
        """First and last day drawn: the curve's own, and the due day's and today's where they lie outside."""
        days = [self.curve.x[0], self.curve.x[-1], self.today.at, *([self.due.at] if self.due else [])]
        return min(days), max(days)


def nice_steps(top: float, at_most: int) -> list[float]:
    """Round values from nought up to ``top``, at most ``at_most`` steps of 1, 2 or 5 tenths apart."""
    power = 10.0 ** math.floor(math.log10(top / at_most))
    step = next(power * times for times in (1, 2, 5, 10) if power * times * at_most >= top)
    return [round(step * number, 10) for number in range(int(top / step + 1e-9) + 1)]


@dataclass(frozen=True)
class _Frame:
    """Where days and drops of a life lie in a box."""

    life: Life
    size: Size
    left: float = 46.0
    ceiling: float = 30.0

    @property
    def right(self) -> float:
        return self.size.width - 14.0

    @property
    def floor(self) -> float:
        return self.size.height - 68.0

    @cached_property
    def top(self) -> float:
        limit = self.life.limit.at
        read = max((value for _day, value in self.life.readings), default=0.0)
        expected = min(max(self.life.curve.middle) * 1.05, limit * 2)
        return max(limit * 1.35, read * 1.1, expected, 1e-9)

    def x(self, day: float) -> float:
        first, last = self.life.ends
        return self.left + (day - first) / max(last - first, 1e-9) * (self.right - self.left)

    def y(self, value: float) -> float:
        return self.floor - min(max(value, 0.0), self.top) / self.top * (self.floor - self.ceiling)

    def path(self, values: Sequence[float]) -> str:
        pairs = zip(self.life.curve.x, values, strict=True)
        return " ".join(f"{self.x(day):.1f},{self.y(value):.1f}" for day, value in pairs)


def life_curve(title: str, description: str, life: Life, size: Size = WIDE) -> str:
    """Drop over time: readings as dots, expected line, 10-90 % band, limit, today and the date."""
    frame = _Frame(life, size)
    there = frame.path(life.curve.high).split()
    back = frame.path(life.curve.low).split()[::-1]
    first, last = life.ends
    body = [
        f'<polygon points="{" ".join(there + back)}" class="band"/>',
        f'<polyline points="{frame.path(life.curve.middle)}" class="expected"/>',
        *_axes(frame),
        *_limit(frame),
        *_days(frame),
    ]
    body += [
        f'<circle cx="{frame.x(day):.1f}" cy="{frame.y(value):.1f}" r="4" class="reading"/>'
        for day, value in life.readings
        if first <= day <= last
    ]
    name = "life-curve" if size is WIDE else "life-curve narrow"
    return svg(size.width, size.height, name, title, description, body)


def _axes(frame: _Frame) -> list[str]:
    left, floor = frame.left, frame.floor
    body = [
        line(left, floor, frame.right, floor, "axis"),
        line(left, floor, left, frame.ceiling, "axis"),
        text(left, frame.ceiling - 12, frame.life.unit, "start"),
    ]
    for value in nice_steps(frame.top, 4):
        y = frame.y(value)
        body += [line(left - 4, y, left, y, "axis"), text(left - 7, y + 4, f"{value:g}", "end")]
    for mark in frame.life.dates:
        x = frame.x(mark.at)
        body += [
            line(x, floor, x, floor + 5, "axis"),
            text(x, floor + 19, mark.label, _anchor(frame, x, mark.label)),
        ]
    return body


def _limit(frame: _Frame) -> list[str]:
    y = frame.y(frame.life.limit.at)
    body = [line(frame.left, y, frame.right, y, "limit-line")]
    if frame.life.span:
        first, last = frame.life.ends
        low, high = (frame.x(min(max(day, first), last)) for day in frame.life.span)
        body.append(line(low, y, high, y, "limit-span"))
    # The label keeps to the side of the line where the curve does not begin.
    below = frame.life.curve.high[0] > frame.life.limit.at * 0.9
    return [*body, text(frame.left + 8, y + (19 if below else -8), frame.life.limit.label, "start")]


def _days(frame: _Frame) -> list[str]:
    today, due, floor = frame.life.today, frame.life.due, frame.floor
    x = frame.x(today.at)
    body = [
        line(x, floor, x, frame.ceiling, "today"),
        text(x, floor + 39, today.label, _anchor(frame, x, today.label)),
    ]
    if due is not None:
        x = frame.x(due.at)
        body += [
            line(x, floor, x, frame.ceiling, "due"),
            text(x, floor + 58, due.label, _anchor(frame, x, due.label), "now"),
        ]
    return body


def _anchor(frame: _Frame, x: float, label: str) -> str:
    """Labels that would leave the box lean inwards; a letter is some 7.5 units wide."""
    half = 3.75 * len(label)
    if x + half > frame.size.width:
        return "end"
    return "start" if x < half else "middle"


def route_sketch(
    title: str, description: str, depot: tuple[float, float], stops: Sequence[tuple[float, float]]
) -> str:
    """Stops of a day joined in order, north up; positions are (latitude, longitude) in degrees."""
    points = [depot, *stops]
    if len(points) < 2:
        return svg(320, 60, "route", title, description, [text(160, 34, "–")])
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
            text(x, y + 4, str(number), name="stop-number"),
        ]
    return svg(320, 280, "route", title, description, body)


@dataclass(frozen=True)
class Promise:
    """How often something was promised to lie below, and how often it did, with the interval about it;
    shares from nought to one."""

    promised: float
    share: float
    low: float
    high: float


def calibration(title: str, description: str, promises: Sequence[Promise], axes: tuple[str, str]) -> str:
    """Kept against promised: on the rising line every promise holds; ``axes`` name across and up."""
    left, right, ceiling, floor = 46.0, 306.0, 34.0, 294.0

    def x(share: float) -> float:
        return left + share * (right - left)

    def y(share: float) -> float:
        return floor - share * (floor - ceiling)

    body = [
        line(left, floor, right, floor, "axis"),
        line(left, floor, left, ceiling, "axis"),
        line(x(0), y(0), x(1), y(1), "today"),
        text(left, ceiling - 12, axes[1], "start"),
        text(right, floor + 39, axes[0], "end"),
    ]
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        body += [text(left - 7, y(share) + 4, f"{share * 100:g}", "end")]
        body += [text(x(share), floor + 19, f"{share * 100:g}")]
    for one in promises:
        body.append(line(x(one.promised), y(one.low), x(one.promised), y(one.high), "due"))
        body.append(f'<circle cx="{x(one.promised):.1f}" cy="{y(one.share):.1f}" r="5" class="reading"/>')
    return svg(320, 340, "calibration", title, description, body)


_LABEL = 15.0


@dataclass(frozen=True)
class AirPath:
    """A blower and what it works against, in one unit across and one up: ``blower`` and each labelled one of
    ``resistances`` as pairs of airflow and static, ``points`` where they meet, beside the same labels,
    ``floor`` the least airflow."""

    blower: Sequence[tuple[float, float]]
    resistances: Sequence[tuple[str, Sequence[tuple[float, float]]]]
    points: Sequence[tuple[float, float]]
    axes: tuple[str, str]
    floor: Mark | None = None


def air_path(title: str, description: str, drawn: AirPath) -> str:
    """Static over airflow: the blower's curve, the path's at each load of the filter, and where they meet."""
    left, right, ceiling, floor = 46.0, 278.0, 34.0, 264.0
    every = [*drawn.blower, *drawn.points]
    widest, top = max(flow for flow, _ in every) * 1.1, max(static for _, static in every) * 1.1

    def place(pair: tuple[float, float]) -> tuple[float, float]:
        return left + pair[0] / widest * (right - left), floor - pair[1] / top * (floor - ceiling)

    def path(pairs: Sequence[tuple[float, float]], name: str) -> str:
        inside = [place(pair) for pair in pairs if pair[0] <= widest and pair[1] <= top]
        return f'<polyline points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in inside)}" class="{name}"/>'

    body = [line(left, floor, right, floor, "axis"), line(left, floor, left, ceiling, "axis")]
    body += [
        text(left, ceiling - 14, drawn.axes[1], "start"),
        text(right, floor + 36, drawn.axes[0], "end"),
    ]
    for flow in nice_steps(widest, 4)[1:]:
        body.append(text(place((flow, 0.0))[0], floor + 18, f"{flow:g}"))
    for static in nice_steps(top, 4):
        body.append(text(left - 6, place((0.0, static))[1] + 4, f"{static:g}", "end"))
    if drawn.floor is not None and drawn.floor.at <= widest:
        x = place((drawn.floor.at, 0.0))[0]
        body += [line(x, floor, x, ceiling + 6, "limit-line"), text(x, ceiling, drawn.floor.label)]
    body.append(path(drawn.blower, "expected"))
    ends = []
    for label, pairs in drawn.resistances:
        body.append(path(pairs, "today"))
        ends.append((place(next(p for p in reversed(pairs) if p[0] <= widest and p[1] <= top)), label))
    # Beside the curves' ends, the lowest first, each clear of the one below it.
    below = floor + _LABEL
    for (x, y), label in sorted(ends, key=lambda end: -end[0][1]):
        below = min(y + 4, below - _LABEL)
        body.append(text(x + 8, below, label, "start"))
    for point in drawn.points:
        x, y = place(point)
        body.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" class="reading"/>')
    return svg(330, 310, "air-path", title, description, body)
