"""The year a station lets one expect."""

from datetime import date

import numpy as np
import pytest

from schedules.planning.climate import day_number, day_of, fit_climate, latitude_climate, year_basis

FIRST = date(2024, 1, 1).toordinal()


def wave(days: np.ndarray) -> np.ndarray:
    """A year of our own: 10 C on average, 15 K up and down, coldest on 20 January."""
    return 10 - 15 * np.cos(2 * np.pi * (days - date(2024, 1, 20).toordinal()) / 365.2425)


def test_two_years_of_record_give_the_wave_that_made_them() -> None:
    days = np.arange(FIRST, FIRST + 730)
    noise = np.random.default_rng(1).normal(0, 3, len(days))
    climate = fit_climate((wave(days) + noise)[None, :], FIRST, np.array([45.0]))
    ahead = np.arange(FIRST + 730, FIRST + 1095)
    assert np.abs(climate.normal(ahead)[0] - wave(ahead)).max() < 1.5
    assert climate.spread_c[0] == pytest.approx(3, rel=0.15)


def test_holes_in_the_record_do_no_harm() -> None:
    days = np.arange(FIRST, FIRST + 730)
    temps = wave(days)
    temps[np.random.default_rng(2).random(len(days)) < 0.6] = np.nan
    climate = fit_climate(temps[None, :], FIRST, np.array([45.0]))
    assert np.abs(climate.normal(days)[0] - wave(days)).max() < 2


def test_without_any_record_the_latitude_speaks() -> None:
    climate = fit_climate(np.full((3, 10), np.nan), FIRST, np.array([45.0, 28.0, np.nan]))
    january, july = (np.array([date(2026, month, 20).toordinal()]) for month in (1, 7))
    assert np.all(np.isfinite(climate.normal(january)))
    north, south = climate.normal(july)[:2, 0] - climate.normal(january)[:2, 0]
    assert north > south > 0
    assert climate.normal(january)[0, 0] < climate.normal(january)[1, 0]


def test_south_of_the_equator_july_is_the_cold_month() -> None:
    coefficients = latitude_climate(np.array([-35.0]))
    january, july = (
        coefficients @ year_basis(np.array([date(2026, month, 20).toordinal()])).T for month in (1, 7)
    )
    assert july[0, 0] < january[0, 0]


def test_a_record_of_no_days_at_all_is_borne() -> None:
    climate = fit_climate(np.empty((1, 0)), FIRST, np.array([40.0]))
    assert np.all(np.isfinite(climate.coefficients))


def test_days_and_their_numbers_go_both_ways() -> None:
    for day in (date(2024, 2, 29), date(1950, 1, 1), date(2100, 12, 31)):
        assert day_of(day_number(day)) == day
