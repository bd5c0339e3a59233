"""A packed year is the year to the bit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from shared.packed_days import DAYS, pack, unpack

hundredths = st.integers(0, 65_534).map(lambda n: n / 100)
numbers = st.one_of(st.just(np.nan), hundredths, st.floats(0, 1e300))


def same(one: np.ndarray, other: np.ndarray) -> bool:
    """NaN for NaN, and every other number to the bit."""
    return bool(((one == other) | (np.isnan(one) & np.isnan(other))).all())


@given(st.lists(arrays(np.float64, DAYS, elements=numbers, fill=st.nothing()), min_size=1, max_size=4))
def test_what_goes_in_comes_out(years: list[np.ndarray]) -> None:
    assert same(unpack([pack(year) for year in years]), np.array(years))


@given(arrays(np.float64, DAYS, elements=st.one_of(st.just(np.nan), hundredths), fill=st.nothing()))
def test_what_a_meter_prints_takes_two_bytes_a_day(year: np.ndarray) -> None:
    assert len(pack(year)) == 1 + 2 * DAYS
    assert same(unpack([pack(year)])[0], year)


def test_an_odd_third_takes_eight() -> None:
    year = np.full(DAYS, 1 / 3)
    assert len(pack(year)) == 1 + 8 * DAYS
    assert same(unpack([pack(year)])[0], year)


@pytest.mark.parametrize("wrong", [np.zeros(365), np.full(DAYS, -0.01), np.full(DAYS, np.inf)])
def test_what_is_no_year_is_refused(wrong: np.ndarray) -> None:
    with pytest.raises(ValueError, match=r"places|finite"):
        pack(wrong)


@pytest.mark.parametrize("wrong", [b"", b"x" + bytes(732), b"h" + bytes(731), b"d" + bytes(8)])
def test_bytes_that_are_no_year_are_refused(wrong: bytes) -> None:
    with pytest.raises(ValueError, match=r"year|buffer size"):
        unpack([wrong])


def test_nothing_is_nothing() -> None:
    assert unpack([]).shape == (0, DAYS)
