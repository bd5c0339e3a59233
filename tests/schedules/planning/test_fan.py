"""Fan hours of a system: what its log says stands, however much weather there is beside it."""

import numpy as np
import pytest

from schedules.planning.arrays import FloatArray
from schedules.planning.fan import Fan, fan_hours
from tests.schedules.planning.fleet import AS_OF, one_slot, with_weather


def temps(days: int) -> FloatArray:
    """Daily means of the last ``days`` days, with a scatter of four degrees."""
    day = np.arange(AS_OF + 1 - days, AS_OF + 1)
    wave = np.cos(2 * np.pi * (day - 735_618) / 365.2425)
    return np.asarray(11.0 - 13.0 * wave + 4.0 * np.random.default_rng(3).standard_normal(2000)[-days:])


def hours_of(temps_c: FloatArray) -> FloatArray:
    return np.asarray(1.5 + 0.5 * np.maximum(0.0, 14.5 - temps_c) + 0.7 * np.maximum(0.0, temps_c - 20.0))


def of(log: FloatArray | float, weather_days: int) -> Fan:
    facts = one_slot(hours=log)
    if weather_days:
        facts = with_weather(facts, temps(weather_days))
    return fan_hours(facts.as_of, facts.weather, facts.systems)


@pytest.mark.parametrize("log", [0.0, 8.0])
@pytest.mark.parametrize("weather_days", [0, 1, 29, 30, 31, 120, 400])
def test_a_long_log_has_its_say_however_many_days_of_weather_there_are(log: float, weather_days: int) -> None:
    assert of(log, weather_days).ahead.mean() == pytest.approx(log, abs=0.35)


def test_one_day_more_of_weather_or_of_log_moves_a_year_by_little() -> None:
    # Balance points lie on a grid of one and a half kelvin, and a day can move one to the next.
    log = hours_of(temps(400))
    years = [of(log, days).ahead.sum() for days in range(25, 36)]
    assert np.abs(np.diff(years)).max() < 0.05 * years[0]
    kept = [of(np.where(np.arange(400) < 400 - days, np.nan, log), 400).ahead.sum() for days in range(25, 36)]
    assert np.abs(np.diff(kept)).max() < 0.05 * kept[0]


def test_the_year_of_a_log_without_weather_is_near_that_of_the_same_log_with_it() -> None:
    log = hours_of(temps(400))
    assert of(log, 0).ahead.sum() == pytest.approx(of(log, 400).ahead.sum(), rel=0.1)


@pytest.mark.parametrize("days", [10, 30, 60, 100, 200])
@pytest.mark.parametrize("level", [2.0, 8.0])
def test_a_short_log_without_weather_tells_about_the_year_that_it_tells_with_it(
    days: int, level: float
) -> None:
    log = np.where(np.arange(400) < 400 - days, np.nan, level)
    without, beside = of(log, 0).ahead.mean(), of(log, 400).ahead.mean()
    assert without == pytest.approx(beside, rel=0.5)
    assert level - 0.5 < without < level + 4.0


def test_a_day_more_of_a_log_without_weather_moves_a_year_by_little() -> None:
    years = [
        of(np.where(np.arange(400) < 400 - days, np.nan, 2.0), 0).ahead.mean() for days in range(1, 400, 3)
    ]
    assert np.abs(np.diff(years)).max() < 0.6


@pytest.mark.parametrize(("days", "unlogged"), [(0, 1.0), (30, 0.75), (60, 0.5), (120, 0.0), (400, 0.0)])
def test_doubt_about_hours_fades_with_the_days_of_log(days: int, unlogged: float) -> None:
    log = np.where(np.arange(400) < 400 - days, np.nan, 6.0)
    assert of(log, 0).unlogged[0] == pytest.approx(unlogged)
