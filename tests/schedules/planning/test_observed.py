"""The pace of ways and stays: careful while little was seen, blind to lunch."""

import numpy as np
import pytest

from schedules.planning.observed import BELIEF, pace


def test_nothing_seen_changes_nothing() -> None:
    assert pace(np.array([]), np.array([])) == (found := pace(np.array([np.nan]), np.array([600.0])))
    assert (found.factor, found.count) == (1.0, 0)


@pytest.mark.parametrize("count", [1, 20, 200])
def test_the_more_is_seen_the_more_it_counts(count: int) -> None:
    found = pace(np.full(count, 900.0), np.full(count, 600.0))
    # By hand: the ratio 1.5 to the power of n over n and the belief.
    assert found.factor == pytest.approx(1.5 ** (count / (count + BELIEF)))
    assert found.count == count


def test_lunch_and_slips_of_the_thumb_are_left_out() -> None:
    observed = np.array([*np.full(40, 660.0), 7200.0, 5.0, 30.0])
    found = pace(observed, np.full(43, 600.0))
    assert found.count == 40
    assert found.factor == pytest.approx(1.1 ** (40 / 60))


def test_it_stays_within_a_half_and_two() -> None:
    assert pace(np.full(100_000, 1700.0), np.full(100_000, 600.0)).factor == 2.0
    assert pace(np.full(100_000, 210.0), np.full(100_000, 600.0)).factor == 0.5


def test_the_scatter_is_that_of_a_normal_one_drawn_to_what_was_believed() -> None:
    """Ratios of a known logarithmic scatter of 0.2; what is believed, 0.3, weighs as twenty times do."""
    rng = np.random.default_rng(5)
    found = pace(600.0 * np.exp(rng.normal(0.0, 0.2, 20_000)), np.full(20_000, 600.0))
    assert found.spread == pytest.approx(0.2, abs=0.005)
    even = pace(np.full(20, 900.0), np.full(20, 600.0))
    assert even.spread == pytest.approx((0.5 * 0.3**2) ** 0.5)
