"""The season as a drawing: a bar of load for each week with its span, against a stepped line of capacity.

Ink on paper; red is only what lies past the capacity. Classes only, as in ``shared.charts``.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from shared.charts import Size, line, nice_steps, svg, text

WIDE, HALF, NARROW = Size(720, 300, 12), Size(480, 280, 6), Size(330, 280, 4)
_NAMES = {WIDE: "season", HALF: "season half", NARROW: "season narrow"}
# Capacity beyond so many times the highest bar is told in words, and the bars are drawn large.
_FAR = 2.5
_ANCHOR = {True: "end", False: "middle"}


@dataclass(frozen=True)
class WeekBar:
    """A week: ``label`` below it, ``booked`` and ``expected`` on top of each other, the span ``low`` to
    ``high`` of both together, ``capacity``; all in one unit and not negative. ``short``: what cannot be done,
    more than the excess over the capacity where a part of it is short by itself."""

    label: str
    booked: float
    expected: float
    low: float
    high: float
    capacity: float
    short: float = 0.0

    @property
    def load(self) -> float:
        """How high the bar is."""
        return self.booked + self.expected


def top_of(bars: Sequence[WeekBar]) -> float:
    """What the drawing's height stands for; two drawings that are compared share the larger."""
    highest = max((bar.high for bar in bars), default=0.0)
    near = [bar.capacity for bar in bars if bar.capacity <= highest * _FAR]
    return max(highest * 1.15, max(near, default=0.0) * 1.08, 1e-9)


def season_strip(
    title: str,
    description: str,
    bars: Sequence[WeekBar],
    unit: str,
    beyond: str,
    top: float | None = None,
    size: Size = WIDE,
) -> str:
    """The strip of weeks. ``unit`` names the scale; ``beyond`` says what the capacity is where it lies above
    the drawing, ``top`` (None: what fits) being its height."""
    frame = _Frame(len(bars), top or top_of(bars), size)
    body = [
        line(frame.left, frame.floor, frame.right, frame.floor, "axis"),
        text(frame.left - 30, frame.ceiling - 14, unit, "start"),
    ]
    for value in nice_steps(frame.top, 4):
        y = frame.y(value)
        body += [
            line(frame.left - 4, y, frame.left, y, "axis"),
            text(frame.left - 7, y + 4, f"{value:g}", "end"),
        ]
    for at, bar in enumerate(bars):
        body += _bar(frame, at, bar)
    body += _capacity(frame, bars)
    if 2 * sum(bar.capacity > frame.top for bar in bars) > len(bars):
        body.append(text(frame.right, frame.ceiling - 14, beyond, "end"))
    return svg(size.width, size.height, _NAMES.get(size, "season"), title, description, body)


@dataclass(frozen=True)
class _Frame:
    """Where weeks and hours lie in a box."""

    weeks: int
    top: float
    size: Size
    left: float = 40.0
    ceiling: float = 34.0

    @property
    def right(self) -> float:
        return self.size.width - 8.0

    @property
    def floor(self) -> float:
        return self.size.height - 30.0

    @property
    def step(self) -> float:
        return (self.right - self.left) / max(self.weeks, 1)

    def x(self, week: float) -> float:
        return self.left + week * self.step

    def y(self, value: float) -> float:
        return self.floor - min(max(value, 0.0), self.top) / self.top * (self.floor - self.ceiling)


def _bar(frame: _Frame, at: int, bar: WeekBar) -> list[str]:
    body = [
        _box(frame, at, 0.0, bar.booked, "booked"),
        _box(frame, at, bar.booked, bar.load, "expected-work"),
    ]
    past = min(max(bar.load - bar.capacity, bar.short), bar.load)
    if past > 0:
        body.append(_box(frame, at, bar.load - past, bar.load, "past"))
    if bar.high - bar.low > frame.top * 0.004:
        x = frame.x(at + 0.5)
        body.append(line(x, frame.y(bar.low), x, frame.y(bar.high), "due"))
        body += [line(x - 3, frame.y(end), x + 3, frame.y(end), "due") for end in (bar.low, bar.high)]
    every = -(-frame.weeks // frame.size.dates)
    if at % every == 0:
        x = frame.x(at + 0.5)
        # A letter is some 7.5 units wide: the last label leans inwards.
        leans = x + 3.75 * len(bar.label) > frame.size.width
        body.append(text(frame.size.width if leans else x, frame.floor + 19, bar.label, _ANCHOR[leans]))
    return body


def _box(frame: _Frame, at: int, low: float, high: float, name: str) -> str:
    y, height = frame.y(high), frame.y(low) - frame.y(high)
    if height < 0.05:
        return ""
    width = frame.step * 0.66
    x = frame.x(at + 0.5) - width / 2
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" class="{name}"/>'


def _capacity(frame: _Frame, bars: Sequence[WeekBar]) -> list[str]:
    """A stepped line, broken where it lies above the drawing."""
    runs: list[list[str]] = [[]]
    for at, bar in enumerate(bars):
        if bar.capacity > frame.top:
            runs.append([])
            continue
        y = frame.y(bar.capacity)
        runs[-1] += [f"{frame.x(at):.1f},{y:.1f}", f"{frame.x(at + 1):.1f},{y:.1f}"]
    return [f'<polyline points="{" ".join(run)}" class="capacity"/>' for run in runs if run]
