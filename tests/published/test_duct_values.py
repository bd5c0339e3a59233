"""Ducts, return paths and blower efficiency against handbook figures, each with its source beside it."""

import numpy as np
import pytest

from equipment.airside.duct import (
    FLEXIBLE_ROUGHNESS_M,
    equivalent_round,
    flexible_correction,
    friction_factor,
    friction_pa,
)
from equipment.airside.limit import AIRFLOW_FLOOR_HIGH_VELOCITY, AIRFLOW_FLOOR_OTHERS
from equipment.airside.return_path import wanted
from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC, W_PER_TON

INCH = METRE_PER_INCH


@pytest.mark.parametrize(("compression", "times"), [(0.04, 1.671), (0.15, 3.518), (0.30, 6.035)])
def test_flexible_duct_of_250_mm_compressed(compression: float, times: float) -> None:
    """ASHRAE Fundamentals ch. 21, Eq. 22, Example 6 (whose table prints 5.9 at 30 %, against its formula)."""
    assert flexible_correction(0.25, compression) == pytest.approx(times, abs=0.01)


@pytest.mark.parametrize(("roughness_m", "loss_pa"), [(0.12e-3, 7.7), (FLEXIBLE_ROUGHNESS_M, 11.4)])
def test_friction_of_a_short_round_duct(roughness_m: float, loss_pa: float) -> None:
    """The same example: 250 mm, 1.8 m, 470 L/s, air of 1.204 kg/m3."""
    assert friction_pa(0.470, 0.25, 1.8, roughness_m) == pytest.approx(loss_pa, rel=0.02)


def test_the_round_that_equals_8_by_24_inches() -> None:
    """ASHRAE Fundamentals ch. 21, Eq. 25, arithmetic."""
    assert equivalent_round(8 * INCH, 24 * INCH) == pytest.approx(0.371, rel=0.005)


def test_a_friction_factor() -> None:
    """fluids 1.3.1, Reynolds number 1e5 and relative roughness 1e-4, run."""
    assert friction_factor(1e5, 1e-4) == pytest.approx(0.0185139, rel=1e-5)


@pytest.mark.parametrize(
    ("tons", "returns", "inches", "square_inches"),
    [
        (1.5, 1, (16,), 500), (2, 1, (18,), 600), (2.5, 1, (20,), 800),
        (1.5, 2, (12, 10), 500), (2, 2, (14, 12), 600), (2.5, 2, (14, 14), 800), (3, 2, (16, 14), 900),
        (3.5, 2, (16, 16), 1000), (4, 2, (18, 18), 1200), (5, 2, (20, 20), 1500),
    ],
)  # fmt: skip
def test_return_ducts_and_grilles_by_capacity(
    tons: float, returns: int, inches: tuple[int, ...], square_inches: int
) -> None:
    """California Title 24, Tables 150.0-B and 150.0-C, as quoted in a second source."""
    want = wanted(tons * W_PER_TON, returns)
    assert want is not None
    assert np.array(want.diameters_m) / INCH == pytest.approx(inches)
    assert want.grille_m2 / INCH**2 == pytest.approx(square_inches)


def test_airflow_floors_a_ton() -> None:
    """Title 24 150.0(m)13, summary: 250 cfm a ton for small-duct high-velocity systems, 350 for others."""
    per_ton = W_PER_TON / M3S_PER_CFM
    assert AIRFLOW_FLOOR_HIGH_VELOCITY * per_ton == pytest.approx(250)
    assert AIRFLOW_FLOOR_OTHERS * per_ton == pytest.approx(350)


@pytest.mark.parametrize(("watts_a_cfm", "percent"), [(0.45, 13.1), (0.58, 10.1)])
def test_least_blower_efficiency_at_half_an_inch(watts_a_cfm: float, percent: float) -> None:
    """From Title 24's limits: 0.11756 W a cfm and inch; 13.1 and 10.1 % at 0.5 in. are printed."""
    air_w = M3S_PER_CFM * PA_PER_INWC
    assert air_w == pytest.approx(0.11756, rel=1e-3)
    assert 100 * 0.5 * air_w / watts_a_cfm == pytest.approx(percent, rel=0.005)
