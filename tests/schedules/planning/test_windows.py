"""Windows against working days, and what doing a job early throws away."""

from datetime import date, timedelta

import pytest

from schedules.planning.windows import DueWindow, days_open, waste_s

MONDAY = date(2026, 5, 11)
WEEK = [MONDAY + timedelta(days=at) for at in range(5)]
TWO_WEEKS = [*WEEK, *(day + timedelta(days=7) for day in WEEK)]


def window(first: int, last: int) -> DueWindow:
    return DueWindow(MONDAY + timedelta(days=first), MONDAY + timedelta(days=last))


@pytest.mark.parametrize(("first", "last", "days"), [
    (1, 3, [1, 2, 3]),
    (5, 6, [4]),  # a weekend: the Friday before
    (5, 8, [7, 8]),
    (-3, -1, [0]),  # before the first day: the first there is
    (12, 13, [11]),
])  # fmt: skip
def test_a_window_without_a_working_day_opens_the_nearest(first: int, last: int, days: list[int]) -> None:
    assert days_open(window(first, last), TWO_WEEKS, must=True) == [
        MONDAY + timedelta(days=at) for at in days
    ]


def test_nobody_works_at_all() -> None:
    assert days_open(window(0, 3), [], must=True) == []


def test_what_may_wait_beyond_the_plan_is_not_brought_forward() -> None:
    assert days_open(window(12, 40), TWO_WEEKS, must=False) == []
    assert days_open(window(12, 40), TWO_WEEKS, must=True) == [MONDAY + timedelta(days=11)]


def test_the_earlier_the_more_is_thrown_away() -> None:
    due = window(0, 10)
    assert waste_s(due, MONDAY + timedelta(days=10), 100, 2400) == 0
    assert waste_s(due, MONDAY, 100, 2400) == 240  # ten of a hundred days, a tenth of a trip
    assert waste_s(due, MONDAY + timedelta(days=12), 100, 2400) == 0
    assert waste_s(due, MONDAY, 0, 2400) == 2400
