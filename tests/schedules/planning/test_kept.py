"""Judging promises: against readings drawn from the promised law, and against known intervals."""

import numpy as np
import pytest

from schedules.planning.kept import FEWEST, Promises, calibration, judge, share_of


def promises(count: int, spread: float = 1.0, shift: float = 0.0) -> Promises:
    """Promised normal about 40 Pa with 4 Pa; read with ``spread`` times that, ``shift`` Pa off."""
    rng = np.random.default_rng(8)
    told = np.tile(40.0 + 4.0 * np.array([[-1.2816], [0.0], [1.2816]]), (1, count))
    return Promises(told, 40.0 + shift + 4.0 * spread * rng.standard_normal(count))


def test_readings_from_the_promised_law_are_judged_right() -> None:
    kept = judge(promises(2000))
    assert kept.verdict == "right"
    assert kept.inside + kept.below + kept.above == kept.count == 2000
    assert kept.error_pa == pytest.approx(0.6745 * 4.0, rel=0.06)
    assert abs(kept.bias_pa) < 0.3


@pytest.mark.parametrize(("spread", "word"), [(1.6, "narrow"), (0.5, "wide")])
def test_spans_too_narrow_or_too_wide_are_called_so(spread: float, word: str) -> None:
    assert judge(promises(600, spread)).verdict == word


def test_a_lasting_error_is_the_bias() -> None:
    kept = judge(promises(2000, shift=3.0))
    assert kept.bias_pa == pytest.approx(3.0, abs=0.4)
    assert kept.above > 3 * kept.below


@pytest.mark.parametrize(
    ("shift", "count", "word"),
    [(3.0, 200, "faster"), (-3.0, 200, "slower"), (0.0, 2000, ""), (-3.0, 31, "slower"), (-0.2, 9000, "")],
)
def test_what_lies_to_one_side_of_the_middle_is_a_lean_where_it_is_clear_and_worth_telling(
    shift: float, count: int, word: str
) -> None:
    kept = judge(promises(count, shift=shift))
    assert kept.lean == word
    assert kept.under is not None
    assert kept.under.low < kept.under.share < kept.under.high


def test_under_thirty_readings_nothing_is_judged() -> None:
    kept = judge(promises(FEWEST - 1))
    assert (kept.verdict, kept.lean, kept.enough) == ("few", "", False)
    assert calibration(promises(FEWEST - 1)) == []
    assert judge(promises(FEWEST)).enough


def test_no_reading_at_all_is_too_few() -> None:
    assert judge(Promises(np.zeros((3, 0)), np.zeros(0))).count == 0


def test_the_interval_of_eight_in_ten_is_the_tabled_one() -> None:
    """Clopper and Pearson's 95 % limits for 8 of 10, from memory of their table: 0.444 and 0.975."""
    share = share_of(8, 10)
    assert (share.low, share.high) == pytest.approx((0.444, 0.975), abs=0.001)


def test_calibrated_promises_lie_on_the_diagonal() -> None:
    shares = calibration(promises(3000))
    assert [share.share for share in shares] == pytest.approx([0.1, 0.5, 0.9], abs=0.03)
    assert all(share.low < share.share < share.high for share in shares)
