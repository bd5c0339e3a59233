"""From exposure to days: order of the quantiles, the signs that must hold, the decision."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedules.planning.chance import Scatter, reach
from schedules.planning.facts import Settings
from schedules.planning.forecast import forecast
from schedules.planning.interval import (
    HORIZON_DAYS,
    NEVER,
    Reason,
    YearAhead,
    decide,
    outlook,
)
from schedules.planning.loading import Prior
from schedules.planning.pooling import Learned
from tests.schedules.planning.fleet import AS_OF, CLEAN_PA, one_slot
from tests.schedules.planning.test_loading import learned, read_at

SCATTER = Scatter(np.zeros(1), Prior().life)
CHANCES = (0.1, 0.2, 0.5, 0.9)
FACTOR = st.floats(1.0, 4.0)


def days(one: Learned, ratio: float = 2.0, used: float = 0.0, daily: float = 3e4) -> list[int]:
    ahead = YearAhead(np.cumsum(np.full((1, 365), daily), axis=1))
    where = reach(one, np.array([ratio]), np.array([used]))
    coming = outlook(where, ahead, SCATTER)
    return [int(coming.until(chance)[0]) for chance in CHANCES]


def shifted(one: Learned, log: float) -> Learned:
    return replace(one, now=one.now + log, house=one.house + log)


LEARNED = {"nothing": learned([]), "past": learned(read_at(0.4, 0.7, 0.5, 0.9), [])}
which = st.sampled_from(sorted(LEARNED))


@given(which=which, ratio=st.floats(1.01, 5), used=st.floats(0, 2e7), daily=st.floats(10, 2e5))
def test_quantiles_stand_in_order(which: str, ratio: float, used: float, daily: float) -> None:
    found = days(LEARNED[which], ratio, used, daily)
    assert found == sorted(found)
    assert all(0 <= day <= HORIZON_DAYS or day == NEVER for day in found)


@given(which=which, used=st.floats(0, 2e7), daily=st.floats(1e3, 2e5), factor=FACTOR)
def test_more_running_to_come_never_makes_a_date_later(
    which: str, used: float, daily: float, factor: float
) -> None:
    pairs = zip(
        days(LEARNED[which], 2, used, daily * factor), days(LEARNED[which], 2, used, daily), strict=True
    )
    assert all(more <= less for more, less in pairs)


@given(which=which, used=st.floats(0, 2e7), log=st.floats(0, 1.5))
def test_more_dust_never_makes_a_date_later(which: str, used: float, log: float) -> None:
    """Twice the dust is half the exposure to the same drop; a larger dust capacity is less dust."""
    loading = LEARNED[which]
    pairs = zip(days(shifted(loading, log), 2, used), days(loading, 2, used), strict=True)
    assert all(dusty <= clean for dusty, clean in pairs)


@settings(deadline=None, max_examples=40)
@given(factor=FACTOR, days_in=st.floats(0, 300), limit=st.floats(1.05, 4))
@pytest.mark.parametrize("name", ["clean_pa", "airflow_m3s"])
def test_a_dirtier_start_or_more_air_never_makes_a_date_later(
    name: str, factor: float, days_in: float, limit: float
) -> None:
    compare(name, factor, days_in, limit * CLEAN_PA, later=False)


@settings(deadline=None, max_examples=40)
@given(factor=FACTOR, days_in=st.floats(0, 300), limit=st.floats(1.05, 4))
@pytest.mark.parametrize("name", ["area_m2", "limit_pa"])
def test_a_larger_face_or_limit_never_makes_a_date_earlier(
    name: str, factor: float, days_in: float, limit: float
) -> None:
    compare(name, factor, days_in, limit * CLEAN_PA, later=True)


def compare(name: str, factor: float, days_in: float, limit_pa: float, *, later: bool) -> None:
    base = one_slot(days_in=days_in, limit_pa=limit_pa)
    value = float(getattr(base.slots, name)[0])
    grown = one_slot(**{"days_in": days_in, "limit_pa": limit_pa} | {name: value * factor})
    before, after = forecast(base, Settings()), forecast(grown, Settings())
    for column in ("due", "p10", "p50", "p90"):
        one, other = getattr(before, column)[0], getattr(after, column)[0]
        assert other >= one if later else other <= one, column


def test_a_limit_already_reached_for_sure_is_the_as_of_day_itself() -> None:
    assert days(LEARNED["nothing"], used=1e12) == [0, 0, 0, 0]


def test_what_takes_more_than_ten_years_is_never() -> None:
    assert days(LEARNED["nothing"], daily=1e-3) == [NEVER] * 4


def test_the_median_day_is_the_median_exposure_over_the_daily_one() -> None:
    """Far ahead and with wide knowledge the future's own noise moves the median little."""
    loading = learned(read_at(0.0, 0.7, 0.3, 0.5, 0.7, 0.9))
    median = float(reach(loading, np.array([2.0]), np.array([1.0])).share(np.array([0.5]))[0])
    assert days(loading, daily=median / 100)[2] == pytest.approx(100, abs=4)


def test_a_year_ahead_repeats() -> None:
    ahead = YearAhead(np.cumsum(np.ones((1, 365)), axis=1))
    assert ahead.until(np.array([0])).tolist() == [0]
    assert ahead.until(np.array([364])).tolist() == [364]
    assert ahead.until(np.array([365])).tolist() == [365]
    assert ahead.until(np.array([1000])).tolist() == [1000]


@pytest.mark.parametrize(
    ("risk", "medium", "calendar", "cost", "due", "reason"),
    [
        (10, 20, 30, 40, 10, Reason.RISK),
        (NEVER, 20, 30, 40, 20, Reason.MEDIUM),
        (30, NEVER, 20, 40, 20, Reason.CALENDAR),
        (30, NEVER, 25, 5, 5, Reason.COST),
        (NEVER, NEVER, NEVER, NEVER, NEVER, Reason.UNKNOWN),
        (7, 7, 7, 7, 7, Reason.RISK),
        (8, 7, 7, 7, 7, Reason.MEDIUM),
    ],
)
def test_the_earliest_day_decides_and_says_which_it_was(
    risk: int, medium: int, calendar: int, cost: int, due: int, reason: Reason
) -> None:
    days = (np.array([day], dtype=np.int64) for day in (risk, medium, calendar, cost))
    decision = decide(*days, np.array([True]))
    assert (decision.due[0], decision.reason[0]) == (due, reason)


def test_without_any_record_there_is_no_date() -> None:
    days = [np.array([AS_OF])] * 4
    decision = decide(*days, np.array([False]))
    assert (decision.due[0], decision.reason[0]) == (NEVER, Reason.UNKNOWN)
