"""Return ducts and grilles against the tables."""

import pytest

from equipment.airside.return_path import shortfalls, wanted
from shared.units import METRE_PER_INCH, W_PER_TON

INCH = METRE_PER_INCH


def test_a_capacity_between_two_rows_takes_the_larger() -> None:
    want = wanted(2.2 * W_PER_TON, 1)
    assert want is not None
    assert want.diameters_m[0] / INCH == pytest.approx(20)


@pytest.mark.parametrize(("tons", "returns"), [(3.0, 1), (5.5, 2), (3.0, 3)])
def test_where_the_tables_end_nothing_is_wanted(tons: float, returns: int) -> None:
    assert wanted(tons * W_PER_TON, returns) is None


@pytest.mark.parametrize(("watts", "returns"), [(0.0, 1), (-5.0, 1), (7000.0, 0)])
def test_no_capacity_or_no_return_is_refused(watts: float, returns: int) -> None:
    with pytest.raises(ValueError, match="at least one return"):
        wanted(watts, returns)


def test_each_narrow_part_is_named_and_what_is_unknown_is_not_judged() -> None:
    want = wanted(3 * W_PER_TON, 2)
    assert want is not None
    narrow = shortfalls(want, [12 * INCH, 16 * INCH], 800 * INCH**2)
    assert [part.part for part in narrow] == ["return duct", "return grille"]
    assert narrow[0].found / INCH == pytest.approx(12)
    assert shortfalls(want, [None, None], None) == []
    assert shortfalls(want, [16 * INCH, 14 * INCH], 900 * INCH**2) == []
