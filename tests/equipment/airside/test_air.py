import numpy as np
import pytest

from equipment.airside.air import (
    dry_density,
    dynamic_viscosity,
    face_velocity,
    nominal_area,
    standard_density,
    standard_pressure,
)
from equipment.airside.refused import NoArea


def test_sea_level_is_the_standard_atmospheres_own_definition() -> None:
    assert standard_pressure(0.0) == pytest.approx(101_325.0, rel=1e-12)
    assert standard_density(0.0) == pytest.approx(1.225, rel=1e-4)


def test_density_falls_all_the_way_up_and_keeps_the_shape_asked_for() -> None:
    heights = np.linspace(-500, 11_000, 12).reshape(3, 4)
    density = standard_density(heights)
    assert density.shape == (3, 4)
    assert (np.diff(density.ravel()) < 0).all()


@pytest.mark.parametrize("altitude", [-501.0, 11_001.0, float("nan")])
def test_altitudes_outside_the_lowest_layer_are_refused(altitude: float) -> None:
    with pytest.raises(ValueError, match="standard atmosphere"):
        standard_density([0.0, altitude])


def test_face_velocity_is_airflow_over_area_for_every_pair() -> None:
    velocity = face_velocity([[0.2], [0.4]], nominal_area([0.4, 0.5], 0.5))
    assert velocity == pytest.approx(np.array([[1.0, 0.8], [2.0, 1.6]]))


@pytest.mark.parametrize("area", [0.0, -1.0])
def test_an_area_that_is_none_is_refused(area: float) -> None:
    with pytest.raises(NoArea, match="face area must be above 0"):
        face_velocity(0.2, area)


def test_dry_air_is_lighter_when_warm_and_in_proportion_to_its_pressure() -> None:
    cold, warm = dry_density(101_325.0, [0.0, 30.0])
    assert cold / warm == pytest.approx(303.15 / 273.15)
    assert dry_density(50_000.0, 20.0) == pytest.approx(dry_density(100_000.0, 20.0) / 2)


def test_warm_air_is_the_tougher() -> None:
    assert (np.diff(dynamic_viscosity(np.arange(-50.0, 90.0, 10.0))) > 0).all()
