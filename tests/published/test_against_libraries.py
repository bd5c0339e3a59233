"""The air side beside two reference libraries: fluids (pipe flow, atmosphere) and psychrolib (moist air)."""

import fluids
import numpy as np
import psychrolib
import pytest

from equipment.airside.air import dry_density, standard_density, standard_pressure
from equipment.airside.duct import friction_factor, friction_pa

REYNOLDS = (2.5e3, 1e4, 1e5, 1e6, 5e6)
ROUGHNESS = (0.0, 1e-5, 1e-4, 1e-3, 1e-2, 0.04)


@pytest.mark.parametrize("reynolds", REYNOLDS)
def test_friction_factors_are_those_of_colebrook_in_fluids(reynolds: float) -> None:
    for rough in ROUGHNESS:
        theirs = fluids.friction_factor(Re=reynolds, eD=rough, Method="Colebrook")
        assert friction_factor(reynolds, rough) == pytest.approx(theirs, rel=1e-8)


def test_laminar_flow_is_64_over_the_reynolds_number_there_too() -> None:
    assert friction_factor(1500.0, 0.01) == pytest.approx(fluids.friction_factor(Re=1500.0, eD=0.01))


@pytest.mark.parametrize(("airflow", "diameter"), [(0.1, 0.2), (0.47, 0.25), (0.6, 0.4)])
def test_the_loss_of_a_duct_is_theirs(airflow: float, diameter: float) -> None:
    speed = airflow / (np.pi / 4 * diameter**2)
    reynolds = fluids.Reynolds(V=speed, D=diameter, nu=1.5e-5)
    factor = fluids.friction_factor(Re=reynolds, eD=0.9e-3 / diameter, Method="Colebrook")
    theirs = fluids.K_from_f(fd=factor, L=7.0, D=diameter) * 0.5 * 1.204 * speed**2
    assert friction_pa(airflow, diameter, 7.0, 0.9e-3) == pytest.approx(theirs, rel=1e-8)


@pytest.mark.parametrize("altitude", [-200.0, 0.0, 500.0, 1609.344, 2500.0, 4000.0])
def test_the_standard_atmosphere_is_that_of_1976(altitude: float) -> None:
    theirs = fluids.ATMOSPHERE_1976(altitude)
    assert standard_pressure(altitude) == pytest.approx(theirs.P, rel=1e-4)
    assert standard_density(altitude) == pytest.approx(theirs.rho, rel=1e-4)


@pytest.mark.parametrize("celsius", [-10.0, 0.0, 21.1111, 35.0])
@pytest.mark.parametrize("altitude", [0.0, 1609.344])
def test_dry_air_weighs_what_psychrolib_says(celsius: float, altitude: float) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    pressure = float(standard_pressure(altitude))
    theirs = psychrolib.GetDryAirDensity(celsius, pressure)
    assert dry_density(pressure, celsius) == pytest.approx(theirs, rel=5e-4)


def test_dry_air_of_70_f_at_sea_level() -> None:
    """psychrolib 2.5.0: 0.0748897 lb/ft3; CoolProp 8.0.0: 1.200014 kg/m3."""
    celsius = (70 - 32) / 1.8
    assert dry_density(101_325.0, celsius) == pytest.approx(1.200014, rel=5e-4)
    psychrolib.SetUnitSystem(psychrolib.IP)
    assert psychrolib.GetDryAirDensity(70.0, 14.696) == pytest.approx(0.0748897, rel=1e-5)
