"""What people type of sizes and codes: any way of parting three numbers, letters taken for digits."""

import pytest

from equipment.lookup import as_size, look_up, nearest
from equipment.models import FilterSlot
from tests.factories import NOW, FilterSlotFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "typed", ["16x25x1", "16/25/1", "16 25 1", "16X25xl".replace("l", "1"), "25 x 16 x 1"]
)
def test_three_numbers_are_a_size_however_they_are_parted(typed: str) -> None:
    size = as_size(typed)
    assert size is not None
    assert size.label == "16x25x1"


@pytest.mark.parametrize(("typed", "label"), [("20X2Ox1", "20x20x1"), ("2Ox20x1", "20x20x1")])
def test_the_letter_o_is_taken_for_nought_in_a_size(typed: str, label: str) -> None:
    size = as_size(typed)
    assert size is not None
    assert size.label == label


@pytest.mark.parametrize("typed", ["Oak Street 20", "20 Elm", "5201", "oo"])
def test_what_is_no_size_is_none(typed: str) -> None:
    assert as_size(typed) is None


@pytest.mark.parametrize("typed", ["kbo2-a1", "KB02-AL", "KB O2 A1", "KBO2-Al"])
def test_a_code_with_letters_that_look_like_its_digits_is_found_first(typed: str) -> None:
    FilterSlotFactory(name="MF12-A1")
    slot: FilterSlot = FilterSlotFactory(name="KB02-A1")
    found = list(look_up(typed, NOW)) or list(nearest(typed))
    assert found[0] == slot
