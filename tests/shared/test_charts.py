"""The life curve: everything in the box, few dates, round drops, text that a telephone can show."""

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import pytest

from shared.charts import (
    NARROW,
    WIDE,
    Curve,
    Life,
    Mark,
    Promise,
    Size,
    calibration,
    gauge,
    life_curve,
    nice_steps,
)

LIFE = Life(
    curve=Curve([0.0, 100.0, 200.0], [0.1, 0.2, 0.3], [0.1, 0.25, 0.4], [0.1, 0.3, 0.5]),
    readings=[(0.0, 0.12), (100.0, 0.26)],
    limit=Mark(0.48, "limit 0.48 in. w.c."),
    today=Mark(100.0, "today"),
    due=Mark(150.0, "by 24 January"),
    span=(140.0, 200.0),
    dates=[Mark(31.0, "Nov 2026"), Mark(180.0, "Apr 2027")],
    unit="in. w.c.",
)
SIZES = pytest.mark.parametrize("size", [WIDE, NARROW])


def drawn(life: Life, size: Size) -> str:
    return life_curve("Life", "It grows.", life, size)


@SIZES
def test_title_description_and_the_name_for_screen_readers_are_there(size: Size) -> None:
    svg = drawn(LIFE, size)
    assert "<title>Life</title><desc>It grows.</desc>" in svg
    assert 'role="img" aria-label="Life. It grows."' in svg


@SIZES
def test_nothing_lies_outside_the_box(size: Size) -> None:
    late = replace(LIFE, due=Mark(260.0, "by 13 May"), span=(140.0, 900.0))
    svg = drawn(late, size)
    for name, most in (("x", size.width), ("y", size.height)):
        found = [float(value) for value in re.findall(rf' c?{name}[12]?="([-\d.]+)"', svg)]
        assert len(found) > 10
        assert 0 <= min(found) <= max(found) <= most
    assert max(float(x) for x in re.findall(r'<line x1="([-\d.]+)"[^>]+class="due"', svg)) <= size.width - 14


@SIZES
def test_labels_of_a_line_do_not_run_into_each_other(size: Size) -> None:
    """A letter of 13 px system-ui is at most some 7.5 px wide on average."""
    rows: dict[str, list[tuple[float, float]]] = {}
    for x, y, anchor, label in re.findall(
        r'<text x="([-\d.]+)" y="([-\d.]+)" text-anchor="(\w+)"[^>]*>([^<]+)', drawn(LIFE, size)
    ):
        wide = 7.5 * len(label)
        left = float(x) - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        rows.setdefault(y, []).append((left, left + wide))
        assert left >= 0
        assert left + wide <= size.width
    for spans in rows.values():
        ordered = sorted(spans)
        assert all(before[1] <= after[0] for before, after in pairwise(ordered))


def test_the_limits_label_keeps_out_of_a_curve_that_begins_at_the_limit() -> None:
    above = re.search(r'y="([^"]+)"[^>]*>limit', drawn(LIFE, WIDE))
    full = replace(LIFE.curve, high=[0.48, 0.5, 0.6])
    below = re.search(r'y="([^"]+)"[^>]*>limit', drawn(replace(LIFE, curve=full), WIDE))
    line = re.search(r'y1="([^"]+)"[^>]*class="limit-line"', drawn(LIFE, WIDE))
    assert above
    assert below
    assert line
    assert float(above[1]) < float(line[1]) < float(below[1])


def test_a_telephones_drawing_keeps_its_text_at_eleven_pixels() -> None:
    """A page of 360 px leaves 331 px between its margins of 0.9 rem; text is drawn 13 units high."""
    assert 13 * 331 / NARROW.width >= 11
    # The wide one gives way at 42 rem.
    assert 13 * (42 * 16 - 2 * 0.03 * 42 * 16) / WIDE.width >= 11


@pytest.mark.parametrize("now", [0.0, 0.1, 0.2, 0.25, 0.3, 0.35, 0.39, 0.5, 1.0])
def test_what_the_gauge_says_of_now_keeps_off_the_limits_tick(now: float) -> None:
    svg = gauge("Drop", "", now, Mark(0.2, "clean"), Mark(0.39, "limit"), "now about 0.30 in. w.c.")
    tick = re.search(r'<line x1="([^"]+)" y1="([^"]+)" x2="[^"]+" y2="([^"]+)" class="tick limit"', svg)
    said = re.search(r'<text x="([^"]+)" y="([^"]+)" text-anchor="middle" class="now"', svg)
    assert tick
    assert said
    x, top, foot = map(float, tick.groups())
    middle, baseline = map(float, said.groups())
    beside = abs(x - middle) > 7.5 * len("now about 0.30 in. w.c.") / 2
    assert beside or baseline < top or baseline - 13 > foot
    assert 13 <= baseline <= 112


@pytest.mark.parametrize(
    ("top", "expected"),
    [
        (0.65, [0.0, 0.2, 0.4, 0.6]),
        (120.0, [0.0, 50.0, 100.0]),
        (1.0, [0.0, 0.5, 1.0]),
        (0.19, [0.0, 0.05, 0.1, 0.15]),
        (4.0, [0.0, 1.0, 2.0, 3.0, 4.0]),
    ],
)
def test_the_drops_at_the_side_are_round(top: float, expected: list[float]) -> None:
    assert nice_steps(top, 4) == pytest.approx(expected)


def test_a_promise_that_is_kept_lies_on_the_rising_line() -> None:
    svg = calibration("Kept", "All of it.", [Promise(0.5, 0.5, 0.4, 0.6)], ("promised", "read"))
    line = re.search(r'<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)" class="today"', svg)
    dot = re.search(r'<circle cx="([\d.]+)" cy="([\d.]+)"', svg)
    assert line
    assert dot
    x1, y1, x2, y2 = map(float, line.groups())
    assert (float(dot[1]), float(dot[2])) == pytest.approx(((x1 + x2) / 2, (y1 + y2) / 2))
    assert "<title>Kept</title><desc>All of it.</desc>" in svg


class Counted(list[tuple[float, float]]):
    """Readings that count how often they are gone through."""

    times = 0

    def __iter__(self) -> Iterator[tuple[float, float]]:
        Counted.times += 1
        return super().__iter__()


def test_many_readings_are_gone_through_as_often_as_few() -> None:
    times = []
    for count in (2, 200):
        Counted.times = 0
        drawn(replace(LIFE, readings=Counted((day, 0.2) for day in range(count))), WIDE)
        times.append(Counted.times)
    assert times[0] == times[1]
