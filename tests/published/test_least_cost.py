"""Fan energy and least cost against a standard's formula and a search by scipy."""

import numpy as np
import pytest
from scipy.optimize import minimize_scalar

from schedules.planning.interval import YearAhead
from schedules.planning.least_cost import Filters, cost_days, energy_kwh
from schedules.planning.loading import SHAPES
from schedules.planning.supposed import Supposed

VELOCITY = 1.5
M_AN_HOUR = 3600 * VELOCITY
ONE = np.ones(1)


def straight(rise_pa_h: float, airflow_m3s: float) -> Filters:
    """A new filter whose drop rises straight: the straightest shape, so early in its life that it is."""
    clean_pa = 1e4 * rise_pa_h * 60
    kappa = rise_pa_h / clean_pa / M_AN_HOUR * float(np.expm1(SHAPES[0]) / SHAPES[0])
    log = np.full((1, len(SHAPES), 1), np.log(kappa))
    weight = np.zeros((1, len(SHAPES), 1))
    weight[0, 0] = 1.0
    supposed = Supposed(log, log, weight)
    return Filters(clean_pa * ONE, airflow_m3s * ONE, VELOCITY * ONE, 0.0 * ONE, supposed)


def test_a_years_fan_energy() -> None:
    """Eurovent 4/21 as quoted in a second source: E = q dP t / (1000 eta), 1132.8 kWh a year for
    0.944 m3/s, 6000 h, efficiency 0.5 and 100 Pa on average, which a straight rise to 200 Pa gives."""
    year = np.array([[6000.0 * M_AN_HOUR]])
    energy = energy_kwh(straight(200 / 6000, 0.944), year, 0.5)
    assert energy[0, 0] == pytest.approx(1132.8, rel=1e-3)


RISE, HOURS_A_DAY = 50 / 440, 6.0


def best_hours(price: float) -> float:
    running = YearAhead(np.cumsum(np.full((1, 365), HOURS_A_DAY * M_AN_HOUR), axis=1))
    days = cost_days(straight(RISE, 0.56634), running, price * ONE, 0.17, 0.0 * ONE, 0.15)
    return float(days[0]) * HOURS_A_DAY


def test_the_least_cost_time_of_a_straight_rise() -> None:
    """F 10, c 0.17 a kWh, 0.56634 m3/s, efficiency 0.15, 50 Pa in 440 h: T* = sqrt(2000 eta F / (c Q s)),
    brute-forced outside, 523.6 h; nine times the price is three times the life. Days are looked at one by
    one at first, then every third and every seventh: two days are twelve hours here."""
    assert best_hours(10.0) == pytest.approx(523.6, abs=12)
    assert best_hours(90.0) == pytest.approx(3 * 523.6, abs=30)


def test_the_least_cost_time_is_where_a_search_finds_it() -> None:
    """scipy's bounded search over cost an hour: the change, and the mean power above the clean filter's."""

    def cost_an_hour(hours: float) -> float:
        return 20 / hours + 0.17 * 0.56634 * RISE * hours / 2 / (1000 * 0.15)

    found = minimize_scalar(cost_an_hour, bounds=(10, 5000), method="bounded").x
    assert best_hours(20.0) == pytest.approx(found, abs=18)
