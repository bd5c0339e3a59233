"""Ducts: signs, limits and ranges."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.airside.duct import equivalent_round, flexible_correction, friction_factor, friction_pa


@given(st.floats(2400, 1e9), st.floats(0, 0.05))
def test_the_factor_solves_colebrooks_equation(reynolds: float, rough: float) -> None:
    factor = float(friction_factor(reynolds, rough))
    right = -2 * np.log10(rough / 3.7 + 2.51 / (reynolds * np.sqrt(factor)))
    assert 1 / np.sqrt(factor) == pytest.approx(right, rel=1e-6)


def test_slow_air_flows_in_layers() -> None:
    assert friction_factor(1000.0, 0.01) == pytest.approx(0.064)


@given(st.floats(0.01, 1.5), st.floats(0.1, 0.6), st.floats(0, 50))
def test_more_air_or_length_loses_more_and_a_wider_duct_less(
    flow: float, diameter: float, length: float
) -> None:
    loss = float(friction_pa(flow, diameter, length))
    assert friction_pa(flow * 1.1, diameter, length) >= loss
    assert friction_pa(flow, diameter, length * 1.1) >= loss
    assert friction_pa(flow, diameter * 1.1, length) <= loss


def test_no_airflow_loses_nothing() -> None:
    assert friction_pa(0.0, 0.3, 10.0) == 0


def test_arrays_broadcast() -> None:
    assert friction_pa(np.full((3, 1), 0.4), np.array([0.3, 0.4]), 5.0).shape == (3, 2)


def test_a_square_equals_a_round_somewhat_wider_than_its_side() -> None:
    assert equivalent_round(0.3, 0.3) == pytest.approx(0.328, rel=0.01)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: flexible_correction(0.25, 0.4), "30 % of compression"),
        (lambda: flexible_correction(0.05, 0.1), "100 to 500 mm"),
        (lambda: friction_pa(0.4, 0.0, 1.0), "diameter must be above 0"),
        (lambda: friction_pa(-0.4, 0.3, 1.0), "negative"),
        (lambda: friction_factor(0.0, 0.0), "Reynolds"),
        (lambda: friction_factor(1e5, 0.2), "roughness"),
        (lambda: equivalent_round(0.0, 0.3), "sides"),
    ],
)
def test_what_cannot_be_is_refused(call: object, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        call()  # type: ignore[operator]
