"""The age at which replacing costs least: check 24 of the field's figures."""

import numpy as np
import pytest
from scipy.stats import weibull_min

from schedules.planning.age_replacement import least_rate

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
