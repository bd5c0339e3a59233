"""What readings say of a slot: readings narrow it, past lives help, odd ones do no great harm."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from schedules.planning.loading import (
    GRID,
    SHAPES,
    Lives,
    Loading,
    Readings,
    class_mean,
    dose_at,
    growth,
    learn,
)

CENTRE = -15.0
CLEAN = 25.0


def learned(*lives: list[tuple[float, float]]) -> Loading:
    """Posterior of one slot from the readings (exposure in m, Pa) of its lives, the present one last."""
    flat = [(row, exposure, drop) for row, read in enumerate(lives) for exposure, drop in read]
    count = len(lives)
    return learn(
        1,
        Lives(np.zeros(count, dtype=np.int64), np.full(count, CENTRE), np.full(count, CLEAN),
              np.arange(count) == count - 1),
        Readings(np.array([row for row, _, _ in flat], dtype=np.int64),
                 np.array([exposure for _, exposure, _ in flat], dtype=float),
                 np.array([drop for _, _, drop in flat], dtype=float)),
        np.array([True]),
        np.array([CENTRE]),
    )  # fmt: skip


def mean_and_spread(loading: Loading) -> tuple[float, float]:
    weight = loading.weight[0].sum(axis=0)
    mean = float(weight @ GRID)
    return mean, float(np.sqrt(weight @ np.square(GRID - mean)))


def read_at(log_kappa: float, shape: float, *doses: float) -> list[tuple[float, float]]:
    """Readings without noise of a filter whose log kappa lies ``log_kappa`` above the class mean."""
    scale = np.exp(-CENTRE)
    return [
        (dose * scale, CLEAN * (1 + np.expm1(shape * np.exp(log_kappa) * dose) / np.expm1(shape)))
        for dose in doses
    ]


@pytest.mark.parametrize("shape", [0.01, *SHAPES, 5.0])
def test_growth_is_one_at_nought_and_two_at_dose_one(shape: float) -> None:
    assert growth(np.array([0.0, 1.0]), np.array(shape)) == pytest.approx([1.0, 2.0])


def test_growth_with_shape_ln_2_doubles_as_published() -> None:
    """b ** M with b = 2: LBNL Modelica Buildings, air filters, after Li et al. 2022."""
    ratios = growth(np.array([0, 0.25, 0.5, 0.75, 1]), np.array(np.log(2)))
    assert ratios == pytest.approx([1, 1.1892, 1.4142, 1.6818, 2], abs=1e-4)


def test_half_the_rise_is_passed_at_0_585_of_the_way() -> None:
    """The same form, solved by hand: log2(1.5) = 0.585."""
    assert dose_at(np.array(1.5), np.array(np.log(2))) == pytest.approx(0.585, abs=1e-3)


@given(ratio=st.floats(1, 50), shape=st.sampled_from(list(SHAPES)))
def test_the_dose_at_a_ratio_grows_back_to_it(ratio: float, shape: float) -> None:
    assert growth(dose_at(np.array(ratio), np.array(shape)), np.array(shape)) == pytest.approx(ratio)


@pytest.mark.parametrize("truth", [-0.8, 0.0, 0.9])
def test_readings_narrow_the_posterior_toward_the_truth(truth: float) -> None:
    before = mean_and_spread(learned([]))
    one = mean_and_spread(learned(read_at(truth, 0.7, 0.5)))
    four = mean_and_spread(learned(read_at(truth, 0.7, 0.3, 0.5, 0.7, 0.9)))
    assert before[1] > one[1] > four[1]
    assert abs(four[0] - truth) < abs(before[0] - truth) or abs(four[0] - truth) < 0.15
    assert four[0] == pytest.approx(truth, abs=0.3)


def test_past_lives_help_a_filter_that_was_never_read() -> None:
    before = mean_and_spread(learned([]))
    after = mean_and_spread(learned(read_at(0.8, 0.7, 0.5, 0.9), read_at(0.8, 0.7, 0.4, 0.8), []))
    assert after[1] < before[1]
    assert after[0] == pytest.approx(0.8, abs=0.35)


def test_a_past_life_says_less_than_the_present_one() -> None:
    read = read_at(0.8, 0.7, 0.5, 0.9)
    assert mean_and_spread(learned(read, []))[1] > mean_and_spread(learned(read))[1]


def test_one_plainly_odd_reading_does_not_turn_the_rest() -> None:
    good = read_at(0.5, 0.7, 0.3, 0.5, 0.7)
    odd = [*good, (0.8 * np.exp(-CENTRE), 0.2 * CLEAN)]
    assert mean_and_spread(learned(odd))[0] == pytest.approx(mean_and_spread(learned(good))[0], abs=0.3)


@given(
    read=st.lists(st.tuples(st.floats(0, 1e12), st.floats(0, 1300)), max_size=8),
    past=st.lists(st.tuples(st.floats(0, 1e12), st.floats(0, 1300)), max_size=8),
)
def test_whatever_was_read_the_weights_are_a_distribution(
    read: list[tuple[float, float]], past: list[tuple[float, float]]
) -> None:
    loading = learned(past, read)
    assert np.all(loading.weight >= 0)
    assert loading.weight.sum() == pytest.approx(1)


def test_a_finer_or_dirtier_class_loads_faster_and_a_deeper_one_slower() -> None:
    def mean(merv: float = 8, depth: float = 0.0254, pets: float = 0, smokers: float = 0) -> float:
        return float(class_mean(*(np.array(value) for value in (merv, depth, pets, smokers))))

    assert mean(merv=13) > mean()
    assert mean(depth=0.1) < mean()
    assert mean(pets=1) > mean(pets=np.nan) > mean()
    assert mean(smokers=1) > mean(smokers=np.nan) > mean()
    assert mean(merv=np.nan) == mean(merv=8)
