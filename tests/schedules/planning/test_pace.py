"""Speeds by the hour: by hand, against going second by second, and in routes."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.planning.routing import Iterations, Problem, Stop, Technician, check, solve
from schedules.planning.routing.pace import Pace
from schedules.planning.routing.timing import on_the_road

HOUR = 3600
RUSH = Pace(((7 * HOUR, 9 * HOUR, 80), (16 * HOUR, 18 * HOUR, 75)))


@st.composite
def paces(draw: st.DrawFn) -> Pace:
    edges = sorted(draw(st.sets(st.integers(0, 4000), min_size=2, max_size=8)))
    pairs = list(zip(edges[::2], edges[1::2], strict=False))
    return Pace(tuple((start, end, draw(st.integers(10, 200))) for start, end in pairs))


def crawled(pace: Pace, leave: int, way: int) -> int:
    """Second by second: in hundredths of a second of the way."""
    left, now = 100 * way, leave
    while left > 0:
        left -= next((share for start, end, share in pace.spans if start <= now < end), 100)
        now += 1
    return now


@given(paces(), st.integers(-500, 5000), st.integers(0, 3000))
def test_a_way_is_driven_second_by_second(pace: Pace, leave: int, way: int) -> None:
    assert pace.arrive(leave, way) == crawled(pace, leave, way)


@given(paces(), st.integers(-500, 5000), st.integers(0, 3000))
def test_the_last_second_to_leave_is_just_in_time(pace: Pace, arrive: int, way: int) -> None:
    leave = pace.leave(arrive, way)
    assert pace.arrive(leave, way) <= arrive < pace.arrive(leave + 1, way) + 1


@given(paces(), st.integers(0, 4000), st.integers(0, 4000))
def test_the_reach_between_two_moments_is_driven_in_time(pace: Pace, start: int, took: int) -> None:
    reach = pace.reach(start, start + took)
    assert pace.arrive(start, reach) <= start + took < pace.arrive(start, reach + 1)


def test_half_an_hour_in_the_morning_s_rush_by_hand() -> None:
    # 24 minutes of way in the 30 to nine at 80 %, the other six at the usual speed.
    assert RUSH.arrive(8 * HOUR + 1800, 1800) == 9 * HOUR + 360
    assert RUSH.leave(9 * HOUR + 360, 1800) == 8 * HOUR + 1800
    assert RUSH.arrive(12 * HOUR, 1800) == 12 * HOUR + 1800
    # Eight to five: 60 minutes at 80 %, 60 at 75 %, the rest as usual: 540 over 513.
    assert RUSH.stretch([(8 * HOUR, 17 * HOUR)]) == pytest.approx(540 / 513)


@pytest.mark.parametrize(
    "spans", [((10, 10, 80),), ((-5, 10, 80),), ((0, 10, 80), (5, 20, 90)), ((0, 9, 0),)]
)
def test_spans_that_are_none_are_refused(spans: tuple[tuple[int, int, int], ...]) -> None:
    with pytest.raises(ValueError, match="no span"):
        Pace(spans)


def a_day(stops: int, pace: Pace) -> Problem:
    ways = tuple(tuple(abs(one - other) * 900 for other in range(stops + 1)) for one in range(stops + 1))
    shift = (8 * HOUR, 17 * HOUR)
    return Problem(
        (Technician("a", 0, shift), Technician("b", 0, shift)),
        tuple(Stop(f"s{at}", at, 1800) for at in range(1, stops + 1)),
        ways, ways, pace=pace,
    )  # fmt: skip


@pytest.mark.parametrize("stops", [3, 12])
def test_routes_keep_the_hour_s_speed(stops: int) -> None:
    """Few stops by trying all orders, many by the search; the checker drives piece by piece on its own."""
    slow, usual = (solve(a_day(stops, pace), Iterations(100), seed=1) for pace in (RUSH, Pace()))
    assert check(a_day(stops, RUSH), slow) == []
    assert on_the_road(slow.routes) > on_the_road(usual.routes)
    assert (slow.unserved, usual.unserved) == ((), ())
    assert slow.travel_s >= usual.travel_s
    late = replace(slow, routes=tuple(replace(route, back_s=route.back_s + 1) for route in slow.routes))
    assert check(a_day(stops, RUSH), late)


def test_a_stop_out_of_reach_in_the_rush_is_told() -> None:
    """Two hours out and two back fill four hours to nine; at 80 % of the speed they do not."""
    shift = (7 * HOUR, 11 * HOUR)
    given_ = Problem(
        (Technician("a", 0, shift),), (Stop("far", 1, 0),), ((0, 7200), (7200, 0)), ((0, 1), (1, 0))
    )
    assert solve(given_, Iterations(10), seed=1).unserved == ()
    (left,) = solve(replace(given_, pace=RUSH), Iterations(10), seed=1).unserved
    assert "within any window and shift" in left.why
