"""Air-side figures against values published elsewhere, each with its source beside it."""

import numpy as np
import pytest

from equipment.airside.air import face_velocity, nominal_area, standard_density, standard_pressure
from equipment.airside.media import LabelCurve, loading_multiplier, merv
from shared.units import M3S_PER_CFM, METRE_PER_INCH, MS_PER_FPM, PA_PER_INWC

INCH = METRE_PER_INCH


def test_the_inch_of_water_the_cfm_and_the_fpm() -> None:
    """From memory: NIST SP 811 for the conventional inch of water; the foot is 0.3048 m by definition."""
    assert pytest.approx(249.0889, rel=1e-5) == PA_PER_INWC
    assert pytest.approx(0.4719474e-3, rel=1e-5) == M3S_PER_CFM
    assert pytest.approx(0.00508, rel=1e-5) == MS_PER_FPM


def test_24_filters_of_20x20_at_375_fpm_pass_25000_cfm() -> None:
    """NAFA, Mathematics of Air Filtration seminar, 2011 (prints 25,020 after rounding an area)."""
    area = 24 * nominal_area(20 * INCH, 20 * INCH)
    velocity = face_velocity(25_000 * M3S_PER_CFM, area)
    assert velocity == pytest.approx(375 * MS_PER_FPM, rel=1e-3)


def test_40000_cfm_at_400_fpm_takes_25_filters_of_24x24() -> None:
    """The same seminar."""
    one = nominal_area(24 * INCH, 24 * INCH)
    enough = face_velocity(40_000 * M3S_PER_CFM, np.array([24, 25]) * one)
    assert (enough <= 400 * MS_PER_FPM * (1 + 1e-9)).tolist() == [False, True]


@pytest.mark.parametrize(("cfm", "square_inches"), [(400, 384), (1200, 1152)])
def test_one_inch_filters_sized_by_title_24_meet_the_air_at_150_fpm(cfm: float, square_inches: float) -> None:
    """Rule of California Title 24 150.0(m)12 from memory; the arithmetic follows from it."""
    velocity = face_velocity(cfm * M3S_PER_CFM, square_inches * INCH**2)
    assert velocity == pytest.approx(150 * MS_PER_FPM, rel=1e-3)


@pytest.mark.parametrize(("sides", "cfm"), [((20, 20), 416.7), ((20, 25), 520.8)])
def test_the_largest_airflow_of_a_face_at_150_fpm(sides: tuple[float, float], cfm: float) -> None:
    """The same rule, its arithmetic."""
    velocity = face_velocity(cfm * M3S_PER_CFM, nominal_area(sides[0] * INCH, sides[1] * INCH))
    assert velocity == pytest.approx(150 * MS_PER_FPM, rel=1e-3)


@pytest.mark.parametrize(("efficiencies", "grade"), [((20, 65, 85), 11), ((20, 64.9, 85), 10)])
def test_merv_of_two_sets_of_efficiencies(efficiencies: tuple[float, float, float], grade: int) -> None:
    """ASHRAE 52.2 Table 12-1, as quoted in a second source."""
    assert merv(*efficiencies) == grade


@pytest.mark.parametrize(
    ("floors", "grade"),
    [
        ((0, 0, 20), 5),
        ((0, 0, 35), 6),
        ((0, 0, 50), 7),
        ((0, 20, 70), 8),
        ((0, 35, 75), 9),
        ((0, 50, 80), 10),
        ((20, 65, 85), 11),
        ((35, 80, 90), 12),
        ((50, 85, 90), 13),
        ((75, 90, 95), 14),
        ((85, 90, 95), 15),
        ((95, 95, 95), 16),
    ],
)
def test_every_merv_starts_at_its_floors_and_not_a_tenth_below(
    floors: tuple[float, float, float], grade: int
) -> None:
    """ASHRAE 52.2 Table 12-1, as quoted in a second source; E3 = 90 of MERV 13 from memory."""
    assert merv(*floors) == grade
    for place, floor in enumerate(floors):
        below = [value - 0.1 if here == place else value for here, value in enumerate(floors)]
        assert floor == 0 or merv(*below) != grade


@pytest.mark.parametrize(
    ("loading", "times"), [(0, 1), (0.25, 1.1892), (0.5, 1.4142), (0.75, 1.6818), (1, 2)]
)
def test_the_drop_grows_with_the_power_of_the_loading(loading: float, times: float) -> None:
    """LBNL's Modelica Buildings library after Li et al., Sep. Purif. Technol. 284:120209 (2022)."""
    assert loading_multiplier(np.array(2.0), np.array(loading)) == pytest.approx(times, abs=1e-4)


def test_half_the_airflow_gives_0_4424_of_the_drop() -> None:
    """The same library: airflow goes with the drop to the power m = 0.85."""
    curve = LabelCurve(np.array([0.1, 0.4]), np.array([10.0, 10.0 * 4 ** (1 / 0.85)]))
    carried = curve.carry(np.array(1.0), np.array(0.4), np.array(0.2))
    assert carried == pytest.approx(0.4424, abs=1e-4)


def test_air_a_mile_up_in_the_standard_atmosphere() -> None:
    """fluids 1.3.1, ATMOSPHERE_1976, run at 5280 ft."""
    altitude = 5280 * 12 * INCH
    assert standard_pressure(altitude) == pytest.approx(83_431.8, rel=1e-4)
    assert standard_density(altitude) == pytest.approx(1.0467, rel=1e-4)


def test_a_two_inch_20x20_at_400_cfm_meets_the_air_at_144_fpm() -> None:
    """Published measurement on a building-science site."""
    velocity = face_velocity(400 * M3S_PER_CFM, nominal_area(20 * INCH, 20 * INCH))
    assert velocity == pytest.approx(144 * MS_PER_FPM, rel=1e-3)
