"""Least cost: the closed form where the drop rises straight, and sums done by brute force."""

import numpy as np
import pytest

from schedules.planning.interval import NEVER
from schedules.planning.least_cost import (
    LOOKED_AT,
    Filters,
    energy_kwh,
    least_cost_day,
    summed_growth,
)
from schedules.planning.loading import SHAPES, growth
from schedules.planning.supposed import Supposed

EFFICIENCY, KWH, AIRFLOW, PRICE = 0.15, 0.17, 0.56634, 10.0
RISE_PA_H = 50 / 440
CLEAN_PA = 2500.0  # so high that the straightest of the engine's shapes is straight enough
VELOCITY = 1.5


def straight(used_h: float = 0.0) -> Filters:
    """A filter whose drop rises by RISE_PA_H, under the one supposition of the straightest shape."""
    kappa = RISE_PA_H / CLEAN_PA / (3600 * VELOCITY)
    # The slope at nought of the straightest shape is a little under one.
    kappa *= float(np.expm1(SHAPES[0]) / SHAPES[0])
    weight = np.zeros((1, len(SHAPES), 1))
    weight[0, 0] = 1.0
    log = np.full((1, len(SHAPES), 1), np.log(kappa))
    one = np.ones(1)
    return Filters(
        CLEAN_PA * one,
        AIRFLOW * one,
        VELOCITY * one,
        used_h * 3600 * VELOCITY * one,
        Supposed(log, log, weight),
    )


def days_at(price: float, hours_a_day: float, used_days: float = 0.0) -> int:
    filters = straight(used_days * hours_a_day)
    ahead = (LOOKED_AT * hours_a_day * 3600 * VELOCITY)[None, :].astype(float)
    energy = KWH * energy_kwh(filters, ahead, EFFICIENCY)
    day = least_cost_day(np.array([price]), energy, np.array([used_days]), np.array([True]))
    return int(day[0])


@pytest.mark.parametrize("hours_a_day", [3.0, 10.0, 20.0])
def test_a_straight_rise_gives_the_closed_form(hours_a_day: float) -> None:
    # T* = sqrt(2000 eta F / (c Q s)) = 523.6 run hours; differentiated age-replacement cost, brute-forced.
    assert days_at(PRICE, hours_a_day) * hours_a_day == pytest.approx(523.6, rel=0.03)


def test_nine_times_the_price_is_three_times_the_life() -> None:
    assert days_at(9 * PRICE, 10.0) == pytest.approx(3 * days_at(PRICE, 10.0), rel=0.05)


def test_a_filter_that_has_been_in_for_a_while_keeps_its_day() -> None:
    assert days_at(PRICE, 10.0, used_days=20.0) == pytest.approx(52.4 - 20, abs=1.5)
    assert days_at(PRICE, 10.0, used_days=90.0) == 0


def test_a_change_dearer_than_ten_years_energy_never_decides() -> None:
    day = least_cost_day(np.array([1e9]), np.ones((1, len(LOOKED_AT))), np.zeros(1), np.array([True]))
    assert day[0] == NEVER
    cheap = least_cost_day(np.array([1e-9]), LOOKED_AT[None, :] ** 2.0, np.zeros(1), np.array([False]))
    assert cheap[0] == NEVER


@pytest.mark.parametrize("shape", SHAPES)
def test_the_sum_of_growth_is_its_integral(shape: float) -> None:
    dose = np.linspace(0, 1.7, 20_001)
    rise = growth(dose, np.array(shape)) - 1
    by_hand = float(((rise[1:] + rise[:-1]) / 2 * np.diff(dose)).sum())
    assert summed_growth(np.array(1.7), np.array(shape)) == pytest.approx(by_hand, rel=1e-6)
