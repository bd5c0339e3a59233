"""A year of a day's numbers in few bytes, to the bit as they were.

Numbers that are whole hundredths, as meters print them, take two bytes a day; any others take eight.
Pure: no Django.
"""

import numpy as np
from numpy.typing import NDArray

DAYS = 366
FloatArray = NDArray[np.float64]
_HUNDREDTHS, _AS_THEY_ARE = b"h", b"d"
_UNKNOWN = 65_535


def pack(values: FloatArray) -> bytes:
    """``values`` [366] from the first of January on, NaN for a day that is not known; none of them negative
    or infinite. Raises ValueError for another shape or such a number."""
    if values.shape != (DAYS,):
        raise ValueError(f"a year has {DAYS} places, not {values.shape}")
    known = ~np.isnan(values)
    if not np.isfinite(values[known]).all() or (values[known] < 0).any():
        raise ValueError("numbers of days are finite and not negative")
    with np.errstate(over="ignore"):
        hundredths = np.where(known, np.rint(np.where(known, values, 0.0) * 100), _UNKNOWN)
    if (hundredths[known] < _UNKNOWN).all() and (hundredths[known] / 100 == values[known]).all():
        return _HUNDREDTHS + hundredths.astype("<u2").tobytes()
    return _AS_THEY_ARE + values.astype("<f8").tobytes()


def unpack(packed: list[bytes]) -> FloatArray:
    """Years [n, 366] as they were packed. Raises ValueError for bytes that are no packed year."""
    out = np.empty((len(packed), DAYS))
    kinds = np.array([one[:1] for one in packed], dtype="S1")
    for kind, form in ((_HUNDREDTHS, "<u2"), (_AS_THEY_ARE, "<f8")):
        rows = np.flatnonzero(kinds == kind)
        if len(rows):
            told = np.frombuffer(b"".join(packed[row][1:] for row in rows), dtype=form)
            if len(told) != len(rows) * DAYS:
                raise ValueError("a packed year is cut short")
            years = told.reshape(len(rows), DAYS)
            out[rows] = np.where(years == _UNKNOWN, np.nan, years / 100) if form == "<u2" else years
    if not np.isin(kinds, [_HUNDREDTHS, _AS_THEY_ARE]).all():
        raise ValueError("bytes that are no packed year")
    return out
