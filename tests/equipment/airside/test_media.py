import numpy as np
import pytest

from equipment.airside.media import LabelCurve, loading_multiplier, merv

# Exponent 1, then 2.
CURVE = LabelCurve(np.array([0.1, 0.2, 0.4]), np.array([10.0, 20.0, 80.0]))


def test_the_curve_goes_through_the_labels_points() -> None:
    assert CURVE.clean_drop(CURVE.airflow_m3s) == pytest.approx(CURVE.drop_pa)
    assert not CURVE.extrapolates(CURVE.airflow_m3s).any()


def test_between_two_points_their_own_exponent_holds() -> None:
    assert CURVE.clean_drop(np.array([0.15, 0.3])) == pytest.approx(np.array([15.0, 45.0]))


def test_outside_the_points_the_end_segments_exponent_goes_on_and_is_said() -> None:
    airflow = np.array([[0.05], [0.8]])
    assert CURVE.clean_drop(airflow) == pytest.approx(np.array([[5.0], [320.0]]))
    assert CURVE.extrapolates(airflow).all()


def test_a_lone_point_has_the_exponent_1_18() -> None:
    lone = LabelCurve(np.array([0.2]), np.array([30.0]))
    assert lone.clean_drop(np.array([0.2, 0.4])) == pytest.approx(np.array([30.0, 30.0 * 2**1.18]))
    assert lone.extrapolates(np.array([0.2, 0.4])).tolist() == [False, True]


@pytest.mark.parametrize(
    ("flows", "drops", "words"),
    [
        ([], [], "at least one"),
        ([0.1, 0.2], [1.0], "as many drops"),
        ([0.1, 0.1], [1.0, 2.0], "rise"),
        ([0.2, 0.1], [2.0, 1.0], "rise"),
        ([0.0, 0.1], [1.0, 2.0], "above nought"),
        ([0.1, 0.2], [0.0, 2.0], "above nought"),
    ],
)
def test_points_that_make_no_curve_are_refused(flows: list[float], drops: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        LabelCurve(np.array(flows), np.array(drops))


def test_a_reading_is_carried_by_the_ratio_of_the_clean_drops() -> None:
    carried = CURVE.carry(np.array([30.0, 50.0]), np.array([0.2, 0.3]), np.array(0.4))
    assert carried == pytest.approx(np.array([30.0 * 80 / 20, 50.0 * 80 / 45]))


def test_carrying_there_and_back_changes_nothing() -> None:
    low, high = np.array(0.17), np.array(0.33)
    there = CURVE.carry(np.array(37.0), low, high)
    assert CURVE.carry(there, high, low) == pytest.approx(37.0)


@pytest.mark.parametrize(("base", "loading"), [(0.9, 0.5), (2.0, -0.1)])
def test_dust_that_would_thin_a_filter_is_refused(base: float, loading: float) -> None:
    with pytest.raises(ValueError, match="base"):
        loading_multiplier(np.array(base), np.array(loading))


def test_below_merv_5_arrestance_decides_and_nothing_is_said() -> None:
    assert merv(0, 0, 19.9) is None


@pytest.mark.parametrize("efficiencies", [(-1, 50, 80), (20, 101, 80), (20, 50, float("nan"))])
def test_an_efficiency_outside_the_percents_is_refused(efficiencies: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="efficiency"):
        merv(*efficiencies)
