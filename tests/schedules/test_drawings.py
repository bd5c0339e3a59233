"""The drawings' dates."""

from datetime import date

import pytest

from schedules.drawings import month_marks


@pytest.mark.parametrize(
    ("first", "last", "at_most", "expected"),
    [
        (date(2026, 5, 1), date(2026, 7, 20), 3, ["May 2026", "Jun 2026", "Jul 2026"]),
        (date(2026, 5, 2), date(2026, 7, 20), 3, ["Jun 2026", "Jul 2026"]),
        (date(2026, 9, 6), date(2027, 7, 4), 6, ["Nov 2026", "Jan 2027", "Mar 2027", "May 2027", "Jul 2027"]),
        (date(2026, 9, 6), date(2027, 7, 4), 3, ["Jan 2027", "Jul 2027"]),
        (date(2026, 9, 6), date(2029, 1, 30), 3, ["Jan 2027", "Jan 2028", "Jan 2029"]),
        (date(2026, 5, 2), date(2026, 5, 20), 3, []),
    ],
)
def test_the_dates_below_a_curve_are_few_first_days_of_months(
    first: date, last: date, at_most: int, expected: list[str]
) -> None:
    marks = month_marks(first.toordinal(), last.toordinal() + 0.5, at_most)
    assert [mark.label for mark in marks] == expected
    assert all(first.toordinal() <= mark.at <= last.toordinal() for mark in marks)
