"""The strip of weeks: heights, what is red, and labels that stay inside."""

import re

import pytest

from shared.season_strip import HALF, NARROW, WIDE, WeekBar, season_strip, top_of


def strip(bars: list[WeekBar], **given: object) -> str:
    return season_strip("Season", "Hours.", bars, "hours", "capacity 40, far above", **given)  # type: ignore[arg-type]


def boxes(svg: str, name: str) -> list[tuple[float, float]]:
    """Top and height of each box of a class."""
    found = re.findall(
        rf'<rect x="[\d.]+" y="([\d.]+)" width="[\d.]+" height="([\d.]+)" class="{name}"/>', svg
    )
    return [(float(y), float(height)) for y, height in found]


def test_only_what_lies_past_the_capacity_is_red() -> None:
    svg = strip([WeekBar("1 Mar", 4, 4, 6, 10, 6), WeekBar("8 Mar", 2, 3, 4, 6, 6)])
    (booked, _), (expected, past) = boxes(svg, "booked"), (boxes(svg, "expected-work"), boxes(svg, "past"))
    assert len(past) == 1
    # Past is the upper two of eight hours: half of what is expected, from the same top.
    assert past[0][0] == pytest.approx(expected[0][0], abs=0.11)
    assert past[0][1] == pytest.approx(expected[0][1] / 2, abs=0.11)
    assert booked[1] == pytest.approx(expected[0][1], abs=0.11)


def test_what_a_part_is_short_of_is_red_though_the_whole_would_fit() -> None:
    svg = strip([WeekBar("1 Mar", 0, 4, 4, 4, 6, short=1)])
    assert boxes(svg, "past")[0][1] == pytest.approx(boxes(svg, "expected-work")[0][1] / 4, abs=0.11)


def test_the_capacity_is_a_stepped_line_over_all_weeks() -> None:
    svg = strip([WeekBar("a", 1, 1, 2, 2, 3), WeekBar("b", 1, 1, 2, 2, 0), WeekBar("c", 1, 1, 2, 2, 3)])
    line = re.findall(r'<polyline points="([^"]+)" class="capacity"/>', svg)
    assert [len(run.split()) for run in line] == [6]


def test_capacity_far_above_is_told_in_words() -> None:
    far = [WeekBar("a", 1, 1, 2, 3, 40)] * 3
    assert "capacity 40, far above" in strip(far)
    assert 'class="capacity"' not in strip(far)
    assert top_of(far) == pytest.approx(3 * 1.15)
    assert "far above" not in strip([WeekBar("a", 1, 1, 2, 3, 4)])


@pytest.mark.parametrize("size", [WIDE, HALF, NARROW])
@pytest.mark.parametrize("weeks", [1, 12, 26])
def test_labels_stay_inside_the_box(size: object, weeks: int) -> None:
    svg = strip([WeekBar("28 Sep", 1, 1, 2, 3, 4)] * weeks, size=size)
    width = size.width  # type: ignore[attr-defined]
    for x, anchor in re.findall(r'<text x="([\d.]+)" y="[\d.]+" text-anchor="(\w+)">28 Sep', svg):
        half = 3.75 * 6
        assert float(x) + {"middle": half, "end": 0}[anchor] <= width
        assert float(x) - {"middle": half, "end": 2 * half}[anchor] >= 0


def test_weeks_without_work_or_workers_draw_no_box() -> None:
    svg = strip([WeekBar("a", 0, 0, 0, 0, 0)] * 12)
    assert "<rect" not in svg
    assert strip([])


def test_names_are_escaped() -> None:
    assert "<b>" not in season_strip("<b>", "<b>", [WeekBar("<b>", 1, 1, 1, 1, 1)], "<b>", "<b>")
