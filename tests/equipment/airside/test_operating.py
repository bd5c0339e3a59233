"""Operating points of many systems: against one by hand, the single solver and the signs that must hold."""

from functools import partial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.airside.fan import operating_airflow, with_the_square
from equipment.airside.operating import Paths, Tables, constant_airflow, electric_power, fixed_speed

LINE = Tables(np.array([[0.2, 0.6]]), np.array([[200.0, 0.0]]))


def path(square: float = 250.0, filter_pa: float = 40.0, loading: float = 1.0) -> Paths:
    one = np.array([1.0])
    return Paths(square * one, filter_pa * one, 0.4 * one, 2.0 * one, loading * one)


def test_one_system_worked_by_hand() -> None:
    """Table 300 - 500 q meets (250 + 40 / 0.16) q2 = 500 q2: q2 + q - 0.6 = 0, so q = (sqrt(3.4) - 1) / 2."""
    points = fixed_speed(LINE, path())
    by_hand = (np.sqrt(3.4) - 1) / 2
    assert points.airflow_m3s[0] == pytest.approx(by_hand, rel=1e-9)
    assert points.static_pa[0] == pytest.approx(500 * by_hand**2, rel=1e-9)
    assert electric_power(points, 0.3)[0] == pytest.approx(by_hand * 500 * by_hand**2 / 0.3)


@settings(max_examples=60)
@given(
    st.floats(50, 900),
    st.floats(5, 80),
    st.floats(1.0, 2.0),
    st.lists(st.floats(5, 90), min_size=2, max_size=5),
)
def test_many_at_once_agree_with_one_at_a_time(
    square: float, filter_pa: float, exponent: float, falls: list[float]
) -> None:
    flows = np.linspace(0.15, 0.7, len(falls) + 1)
    statics = np.append(np.cumsum(falls[::-1])[::-1], 0.0)
    one = np.array([1.0])
    points = fixed_speed(
        Tables(flows[None], statics[None]),
        Paths(square * one, filter_pa * one, 0.4 * one, exponent * one, one),
    )
    if points.overcome[0]:
        return
    single = operating_airflow(
        list(zip(flows.tolist(), statics.tolist(), strict=True)),
        {
            "duct": with_the_square(square, 1.0),
            "filter": partial(lambda q, p, e: p * (q / 0.4) ** e, p=filter_pa, e=exponent),
        },
    )
    assert points.airflow_m3s[0] == pytest.approx(single, rel=1e-6)


def test_a_ceiling_of_power_is_kept_too() -> None:
    points = constant_airflow(
        np.array([0.4]), path(loading=3.0), np.array([np.inf]), np.array([150.0]), efficiency=0.3
    )
    assert electric_power(points, 0.3)[0] == pytest.approx(150.0, rel=1e-6)


def test_a_path_too_strong_or_too_weak_has_no_point_and_says_which() -> None:
    strong = fixed_speed(LINE, path(square=9000.0))
    assert strong.overcome[0]
    assert np.isnan(strong.airflow_m3s[0])
    none = fixed_speed(Tables(LINE.airflow_m3s, LINE.static_pa + 500.0), path())
    assert none.beyond[0]


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        ({"square": -1.0}, "not be negative"),
        ({"filter_pa": -1.0}, "not be negative"),
        ({"loading": 0.0}, "loading must be above 0"),
    ],
)
def test_negative_resistances_are_refused(broken: dict[str, float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        path(**broken)
