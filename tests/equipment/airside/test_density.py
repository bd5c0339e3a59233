"""Blowers and paths in thinner air."""

import numpy as np
import pytest

from equipment.airside.operating import Paths, Tables, fixed_speed
from shared.units import METRE_PER_INCH

MILE_M = 5280 * 12 * METRE_PER_INCH
# Of the standard atmosphere at 5280 ft over 101,325 Pa; indoors it is as warm as at the sea.
THINNER = 83_431.8 / 101_325
SEA, MILE = 1.204, 1.204 * THINNER
ONE = np.array([1.0])
LINE = Tables(np.array([[0.2, 0.6]]), np.array([[200.0, 0.0]]))


def path(exponent: float, square: float = 250.0) -> Paths:
    return Paths(square * ONE, 40.0 * ONE, 0.4 * ONE, exponent * ONE, ONE)


def test_a_mile_up_a_path_all_turbulent_keeps_its_airflow_and_loses_static_with_density() -> None:
    sea = fixed_speed(LINE, path(2.0))
    mile = fixed_speed(LINE.at_density(MILE), path(2.0).at_density(SEA, MILE))
    assert mile.airflow_m3s[0] == pytest.approx(sea.airflow_m3s[0], rel=1e-9)
    assert mile.static_pa[0] / sea.static_pa[0] == pytest.approx(0.823407, rel=1e-5)


def test_a_mile_up_a_filter_of_fine_fibres_takes_air_from_the_blower() -> None:
    """Its drop feels viscosity, which stays, while the blower's static falls."""
    airflows = [
        fixed_speed(LINE.at_density(MILE), path(exponent).at_density(SEA, MILE)).airflow_m3s[0]
        for exponent in (1.0, 1.5, 2.0)
    ]
    at_sea = [fixed_speed(LINE, path(exponent)).airflow_m3s[0] for exponent in (1.0, 1.5)]
    assert airflows[0] < at_sea[0]
    assert airflows[1] < at_sea[1]
    assert 1 - airflows[0] / at_sea[0] > 1 - airflows[1] / at_sea[1]


@pytest.mark.parametrize(
    ("exponent", "density", "viscosity"),
    [(1.0, 0.0, 1.0), (1.18, 0.18, 0.82), (2.0, 1.0, 0.0), (2.4, 1.0, 0.0)],
)
def test_a_filters_drop_goes_with_density_and_viscosity_as_its_units_demand(
    exponent: float, density: float, viscosity: float
) -> None:
    """Drop over density V2 hangs on the Reynolds number alone: density^(n-1) viscosity^(2-n) V^n."""
    carried = path(exponent).at_density(1.2, 0.9, viscosity_ratio=1.1)
    assert carried.filter_pa[0] == pytest.approx(40.0 * 0.75**density * 1.1**viscosity)
    assert carried.square[0] == pytest.approx(250.0 * 0.75)


def test_there_and_back_changes_nothing() -> None:
    back = path(1.18).at_density(SEA, MILE, 1.05).at_density(MILE, SEA, 1 / 1.05)
    assert back.filter_pa[0] == pytest.approx(40.0)
    assert LINE.at_density(MILE).at_density(SEA, MILE).static_pa == pytest.approx(LINE.static_pa)


def test_each_home_has_its_own_air() -> None:
    two = Tables(np.tile(LINE.airflow_m3s, (2, 1)), np.tile(LINE.static_pa, (2, 1)))
    assert two.at_density(np.array([SEA, SEA / 2])).static_pa[:, 0] == pytest.approx([200.0, 100.0])
