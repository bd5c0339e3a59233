"""The age at which replacing costs least: check 24 of the field's figures, and the same for what harms by
the day, against scipy's laws, quadrature and search."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize_scalar
from scipy.stats import lognorm, weibull_min

from schedules.planning.age_replacement import fair_chance, least_rate

AGES = np.arange(0.0, 3000.0, 0.5)


def test_a_weibull_life_of_shape_2_5_and_scale_1000_is_ended_at_493() -> None:
    """Planned 1, late 5: t* = 493.05 at 0.0034620 a unit of time; scipy 1.17.1 (minimised) and the package
    reliability 0.9.0 agree."""
    survival = weibull_min(2.5, scale=1000.0).sf(AGES)[None, :]
    age, rate = least_rate(AGES, survival, 1.0, 5.0)
    assert age[0] == pytest.approx(493.05, rel=1e-3)
    assert rate[0] == pytest.approx(0.0034620, rel=1e-3)


def test_a_life_that_does_not_age_is_never_ended_early() -> None:
    """Barlow and Proschan: under an exponential life a planned change buys nothing (textbook result)."""
    survival = np.exp(-AGES / 1000.0)[None, :]
    assert least_rate(AGES, survival, 1.0, 5.0)[0][0] == AGES[-1]


def test_the_dearer_a_late_change_is_the_sooner_one_changes() -> None:
    survival = weibull_min(2.5, scale=1000.0).sf(AGES)[None, :]
    ages = [least_rate(AGES, survival, 1.0, late)[0][0] for late in (2.0, 5.0, 20.0)]
    assert ages == sorted(ages, reverse=True)
    assert ages[0] > ages[-1]


# Ages as the engine looks at them: a few of the past and of the years to come.
LOOKED_AT = np.array([[0.6, 3.0, 12.0, 30.0, 60.0, 63.0, 70.0, 90.0, 150.0, 270.0, 560.0, 1460.0, 3712.0]])
LIVES = [
    lognorm(0.5, scale=90.0),
    lognorm(0.9, scale=200.0),
    lognorm(0.25, scale=40.0),
    weibull_min(2.5, scale=120.0),
]


def least_cost_age(life: Any, days: float) -> float:
    """By search over the age t, of ``(days + integral of F to t) / t``."""
    found = minimize_scalar(
        lambda log_age: (days + quad(life.cdf, 0.0, np.exp(log_age))[0]) / np.exp(log_age),
        bounds=(np.log(2.0), np.log(3000.0)),
        method="bounded",
        options={"xatol": 1e-6},
    )
    return float(np.exp(found.x))


@pytest.mark.parametrize("life", LIVES, ids=lambda life: f"{life.dist.name} {life.args}")
@pytest.mark.parametrize("days", [3.0, 5.0, 12.0])
def test_waiting_stops_to_pay_where_a_search_over_ages_finds_it(life: Any, days: float) -> None:
    chance = fair_chance(LOOKED_AT, life.cdf(LOOKED_AT), days)[0]
    assert life.ppf(chance) == pytest.approx(least_cost_age(life, days), rel=0.015)


def test_a_lognormals_partial_mean_is_what_a_change_weighs() -> None:
    """E[T; T < t] = exp(mu + s^2/2) Phi((ln t - mu)/s - s), the textbook's partial expectation."""
    scale, spread, days = 150.0, 0.6, 20.0
    ages = np.geomspace(1.0, 2000.0, 200)[None, :]
    age = lognorm(spread, scale=scale).ppf(fair_chance(ages, lognorm(spread, scale=scale).cdf(ages), days)[0])
    z = (np.log(age) - np.log(scale)) / spread
    mean = scale * np.exp(spread**2 / 2)
    assert mean * lognorm(1.0).cdf(np.exp(z - spread)) == pytest.approx(days, rel=0.02)


def test_nobody_waits_beyond_the_middle_of_a_life_that_is_shorter_than_what_a_change_weighs() -> None:
    quick = lognorm(0.4, scale=6.0).cdf(LOOKED_AT)
    assert fair_chance(LOOKED_AT, quick, 10.0)[0] == 0.5
    assert fair_chance(LOOKED_AT, quick, 1.0)[0] < 0.5
    assert fair_chance(LOOKED_AT, np.ones_like(LOOKED_AT), 10.0)[0] == 0.5


@given(
    spread=st.floats(0.1, 1.5),
    scale=st.floats(3.0, 900.0),
    faster=st.floats(1.0, 8.0),
    days=st.floats(1.0, 60.0),
)
def test_a_filter_that_fills_faster_is_never_changed_later(
    spread: float, scale: float, faster: float, days: float
) -> None:
    ages = np.geomspace(0.2, 3700.0, 40)[None, :]

    def age(scale: float) -> float:
        life = lognorm(spread, scale=scale)
        return float(life.ppf(fair_chance(ages, life.cdf(ages), days)[0]))

    assert age(scale / faster) <= age(scale) * 1.02
