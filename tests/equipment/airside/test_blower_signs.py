"""Signs that must hold for both kinds of blower as the filter's drop rises.

Air power is airflow times external static, what the air gets. Published is the power the motor draws: -8 to
-13 % without speed control and +11 to +18 % with it on going from MERV 8 to 13 or 14 (Zaatari et al. 2014).
"""

import numpy as np
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from equipment.airside.operating import Paths, Points, Tables, constant_airflow, electric_power, fixed_speed

few = settings(max_examples=30, deadline=None)
squares, drops = st.floats(60, 600), st.floats(5, 90)
loadings, times = st.floats(1.0, 3.0), st.floats(1.02, 2.5)


def path(square: float, filter_pa: float, loading: float) -> Paths:
    one = np.array([1.0])
    return Paths(square * one, filter_pa * one, 0.4 * one, 1.3 * one, loading * one)


def air_power(points: Points) -> float:
    return float(points.airflow_m3s[0] * points.static_pa[0])


def table(highest: float, fall: float) -> Tables:
    """From ``highest`` Pa at no airflow, falling straight by ``fall`` of it to 0.9 m3/s."""
    return Tables(np.array([[0.0, 0.9]]), np.array([[highest, highest * (1 - fall)]]))


@few
@given(squares, drops, loadings, times, st.floats(150, 300))
def test_more_drop_gives_a_fixed_speed_blower_less_air_against_more_static(
    square: float, filter_pa: float, loading: float, more: float, highest: float
) -> None:
    before, after = (
        fixed_speed(table(highest, 1.0), path(square, filter_pa, one)) for one in (loading, loading * more)
    )
    assert after.airflow_m3s[0] < before.airflow_m3s[0]
    assert after.static_pa[0] > before.static_pa[0]


@few
@given(squares, drops, loadings, times, st.floats(150, 300), st.floats(0.05, 0.45))
def test_on_the_flat_part_of_its_table_a_fixed_speed_blower_gives_the_air_less_power(
    square: float, filter_pa: float, loading: float, more: float, highest: float, fall: float
) -> None:
    """Where static falls by less than half from no airflow to the table's end, airflow times static rises
    all along: airflow is lost faster than static is gained. On the steep part it is the other way."""
    flat = table(highest, fall)
    before, after = (fixed_speed(flat, path(square, filter_pa, one)) for one in (loading, loading * more))
    assume(not before.beyond[0])
    assert air_power(after) < air_power(before)


@few
@given(squares, drops, loadings, times)
def test_a_constant_airflow_blower_holds_its_air_and_draws_more(
    square: float, filter_pa: float, loading: float, more: float
) -> None:
    design, none = np.array([0.4]), np.array([np.inf])
    before, after = (
        constant_airflow(design, path(square, filter_pa, one), none) for one in (loading, loading * more)
    )
    assert before.airflow_m3s[0] == after.airflow_m3s[0] == 0.4
    assert electric_power(after, 0.3)[0] > electric_power(before, 0.3)[0]


@few
@given(squares, drops, loadings, times)
def test_beyond_its_ceiling_of_static_a_constant_airflow_blower_gives_way(
    square: float, filter_pa: float, loading: float, more: float
) -> None:
    design = np.array([0.4])
    ceiling = path(square, filter_pa, loading).static(design)
    after = constant_airflow(design, path(square, filter_pa, loading * more), ceiling)
    assert after.airflow_m3s[0] < 0.4
    np.testing.assert_allclose(after.static_pa, ceiling, rtol=1e-6)
