"""Local days where the clocks change both ways, and zones on both sides of the date line."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared import clock

CHICAGO = ZoneInfo("America/Chicago")
BERLIN = ZoneInfo("Europe/Berlin")
ZONES = ["America/Chicago", "Europe/Berlin", "Pacific/Auckland", "America/St_Johns", "America/Phoenix", "UTC"]


@pytest.mark.parametrize(
    ("day", "hours"), [("2026-03-08", 23), ("2026-11-01", 25), ("2026-03-09", 24), ("2026-07-04", 24)]
)
def test_the_length_of_a_day_in_chicago(day: str, hours: float) -> None:
    """Clocks there go forward on 8 March and back on 1 November 2026."""
    assert clock.hours_in_day(date.fromisoformat(day), CHICAGO) == hours


def test_the_same_days_are_ordinary_where_the_clocks_change_later_or_never() -> None:
    assert clock.hours_in_day(date(2026, 3, 8), BERLIN) == 24
    assert clock.hours_in_day(date(2026, 10, 25), BERLIN) == 25
    assert clock.hours_in_day(date(2026, 3, 8), ZoneInfo("America/Phoenix")) == 24


def test_a_day_begins_and_ends_at_local_midnight() -> None:
    assert clock.start_of_day(date(2026, 5, 12), CHICAGO) == datetime(2026, 5, 12, 5, tzinfo=UTC)
    assert clock.end_of_day(date(2026, 11, 1), CHICAGO) == datetime(2026, 11, 2, 6, tzinfo=UTC)


def test_the_day_of_an_instant_depends_on_the_place() -> None:
    at = datetime(2026, 5, 12, 2, tzinfo=UTC)
    assert clock.local_day(at, CHICAGO) == date(2026, 5, 11)
    assert clock.local_day(at, ZoneInfo("Pacific/Auckland")) == date(2026, 5, 12)


def test_an_hour_that_the_clocks_skip_still_is_one_instant() -> None:
    """Two o'clock does not exist in Chicago on 8 March 2026; both two and three o'clock are 08:00 UTC."""
    assert clock.send_at(date(2026, 3, 8), CHICAGO, 2) == datetime(2026, 3, 8, 8, tzinfo=UTC)
    assert clock.send_at(date(2026, 3, 8), CHICAGO, 3) == datetime(2026, 3, 8, 8, tzinfo=UTC)


def test_an_hour_that_comes_twice_is_the_first() -> None:
    assert clock.send_at(date(2026, 11, 1), CHICAGO, 1) == datetime(2026, 11, 1, 6, tzinfo=UTC)


@pytest.mark.parametrize(
    ("utc_hour", "inside"), [(12, False), (13, True), (15, True), (16, False), (1, False)]
)
def test_the_window_is_from_its_first_hour_to_before_its_last(utc_hour: int, inside: bool) -> None:
    """Eight to eleven in Chicago is 13 to 16 UTC in summer."""
    assert clock.in_window(datetime(2026, 5, 12, utc_hour, tzinfo=UTC), CHICAGO, 8, 11) is inside


def test_weekends_and_holidays_are_no_working_days() -> None:
    holidays = frozenset({date(2026, 5, 25)})
    assert clock.next_working_day(date(2026, 5, 23), holidays) == date(2026, 5, 26)
    assert clock.next_working_day(date(2026, 5, 22), holidays) == date(2026, 5, 22)


@pytest.mark.parametrize(
    "name", ["", "Chicago", "America", "../etc/passwd", "/etc/localtime", "America/Nowhere", "\x00"]
)
def test_what_is_no_zone_is_refused(name: str) -> None:
    with pytest.raises(ValueError, match="not a time zone"):
        clock.zone(name)


@given(day=st.dates(date(1970, 1, 2), date(2100, 1, 1)), name=st.sampled_from(ZONES))
def test_days_follow_one_another_without_gap_and_hold_their_own_noon(day: date, name: str) -> None:
    tz = clock.zone(name)
    assert clock.end_of_day(day, tz) == clock.start_of_day(day + timedelta(days=1), tz)
    assert clock.local_day(clock.start_of_day(day, tz), tz) == day
    assert clock.local_day(clock.end_of_day(day, tz) - timedelta(seconds=1), tz) == day
    assert clock.local_day(clock.send_at(day, tz, 12), tz) == day
    assert 23 <= clock.hours_in_day(day, tz) <= 25


@pytest.mark.parametrize(
    ("local", "skipped", "repeated"),
    [
        ("2026-03-08T01:59", False, False),
        ("2026-03-08T02:00", True, False),
        ("2026-03-08T02:59", True, False),
        ("2026-03-08T03:00", False, False),
        ("2026-11-01T00:59", False, False),
        ("2026-11-01T01:00", False, True),
        ("2026-11-01T01:59", False, True),
        ("2026-11-01T02:00", False, False),
    ],
)
def test_times_that_the_clocks_skip_or_show_twice(local: str, skipped: bool, repeated: bool) -> None:
    """Chicago goes from 02:00 to 03:00 on 8 March and from 02:00 to 01:00 on 1 November 2026."""
    moment = datetime.fromisoformat(local)
    assert (clock.skipped(moment, CHICAGO), clock.repeated(moment, CHICAGO)) == (skipped, repeated)


@pytest.mark.parametrize(("hour", "day"), [(9, 1), (10, 2), (23, 2)])
def test_the_latest_day_is_that_of_the_islands_fourteen_hours_east(hour: int, day: int) -> None:
    now = datetime(2026, 6, 1, hour, tzinfo=UTC)
    assert (
        clock.latest_day(now) == date(2026, 6, day) == clock.local_day(now, clock.zone("Pacific/Kiritimati"))
    )
