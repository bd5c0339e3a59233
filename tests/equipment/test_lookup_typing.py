"""What people type of sizes and codes: any way of parting three numbers, letters taken for digits."""

import pytest

from equipment.look_up_sizes import as_sides, as_size, sold_as
from equipment.lookup import look_up, nearest
from equipment.models import FilterSlot, Site
from shared.sizes import parse_size
from tests.factories import (
    NOW,
    FilterSlotFactory,
    MediaFactory,
    PersonFactory,
    SiteFactory,
    SiteRoleFactory,
    SystemFactory,
)

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


def sized(size: str, **more: object) -> FilterSlot:
    known = parse_size(size)
    sides = {"short_m": known.short_m, "long_m": known.long_m, "depth_m": known.depth_m}
    made: FilterSlot = FilterSlotFactory(nominal_size=known.label, **sides, **more)
    return made


def sold(typed: str) -> str:
    sides = as_sides(typed)
    assert sides is not None
    return sold_as(sides)


@pytest.mark.parametrize(
    "typed",
    [
        "15 3/4 x 24 3/4 x 3/4", "15.5x24.5x.75", "15 1/2 x 24 1/2 x 7/8 in", "40 x 63 x 2.2 cm",
        "394 x 622 x 19 mm", "24.75 x 15.75 x 0.75",
    ],
)  # fmt: skip
def test_a_frame_as_measured_leads_to_the_size_it_is_sold_as(typed: str) -> None:
    slot = sized("16x25x1")
    sized("14x25x1")
    sized("16x25x4")
    assert not look_up(typed, NOW)
    assert nearest(typed)[0] == slot
    assert sold(typed) == "16x25x1"


def test_a_size_that_is_not_on_record_leads_to_the_nearest_and_is_not_called_the_same() -> None:
    slot = sized("16x24x1")
    sized("20x30x1")
    assert not look_up("16x25x1", NOW)
    assert list(nearest("16x25x1")) == [slot]
    assert sold("16x25x1") == ""
    assert sold("16x24x1") == ""  # it is that size


def test_bare_millimetres_are_read_as_such() -> None:
    size = as_size("406 x 635 x 25")
    assert size is not None
    assert size.label == "16x25x1"


@pytest.mark.parametrize("typed", ["MERV 13", "merv13", "Merv-13"])
def test_a_rating_finds_where_a_medium_of_it_is_in(typed: str) -> None:
    dense, loose = MediaFactory(name="Dense", merv=13), MediaFactory(name="Loose", merv=8)
    slot = sized("16x25x1", first_media=dense)
    sized("16x25x1", first_media=loose)
    assert list(look_up(typed, NOW)) == [slot]
    assert list(look_up(f"16x25x1 {typed}", NOW)) == [slot]
    assert not look_up(f"20x20x1 {typed}", NOW)
    assert not look_up("merv 16", NOW)


def test_a_rating_narrows_words() -> None:
    dense, loose = MediaFactory(name="Dense", merv=13), MediaFactory(name="Loose", merv=8)
    slot = sized("16x25x1", first_media=dense)
    sized("16x25x1", first_media=loose, system=slot.system)
    Site.objects.filter(pk=slot.system.site_id).update(street="12 Elder Lane")
    assert list(look_up("merv 13 elder", NOW)) == [slot]


def test_the_last_four_digits_of_a_phone_find_its_home() -> None:
    slot, other = sized("16x25x1"), sized("16x25x1")
    SiteRoleFactory(site=slot.system.site, person=PersonFactory(phone="(555) 010-7421"))
    SiteRoleFactory(site=other.system.site, person=PersonFactory(phone="(555) 742-1010"))
    assert list(look_up("7421", NOW)) == [slot]


def codes(typed: str) -> list[str]:
    return [slot.name for slot in look_up(typed, NOW)]


@pytest.mark.parametrize("typed", ["KB 02 A", "kb02a", "KB02-A", "kb-02-a1"])
def test_a_code_is_found_however_it_is_parted(typed: str) -> None:
    FilterSlotFactory(name="KB02-A1")
    FilterSlotFactory(name="KC02-A1")
    assert codes(typed) == ["KB02-A1"]


@pytest.mark.parametrize("typed", ["Pleat13", "pleat 13", "PLEAT13 16x25x1"])
def test_a_medium_s_words_may_run_together(typed: str) -> None:
    FilterSlotFactory(name="one", first_media=MediaFactory(name="Pleat 13 16x25x1", merv=13))
    FilterSlotFactory(name="two", first_media=MediaFactory(name="Pleat 11 16x25x1", merv=11))
    assert codes(typed) == ["one"]


@pytest.mark.parametrize(
    "typed", ["20 x 20 x 1 Kettle Bend", "kettle bend 20x20x1", "20x20 kettle", "1x20x20 kettle bend"]
)
def test_a_size_among_words_narrows_them(typed: str) -> None:
    size = parse_size("20x20x1")
    sides = {"nominal_size": size.label, "short_m": size.short_m, "long_m": size.long_m}
    bend = SystemFactory(site=SiteFactory(name="3 Kettle Bend", street="3 Kettle Bend"))
    FilterSlotFactory(name="bend-20", system=bend, **sides)
    FilterSlotFactory(name="bend-16", system=bend)
    FilterSlotFactory(name="other-20", **sides)
    assert codes(typed) == ["bend-20"]


def test_the_smallest_of_three_numbers_is_the_depth() -> None:
    size = as_size("1x20x20")
    assert size is not None
    assert size.label == "20x20x1"


def test_a_phone_with_the_country_s_number_before_a_part_of_it_is_found() -> None:
    slot = FilterSlotFactory(name="rung")
    SiteRoleFactory(site=slot.system.site, person=PersonFactory(phone="802-555-0100"))
    assert codes("+1 555 0100") == ["rung"]
    assert codes("+1 (802) 555-0100") == ["rung"]


def test_a_slip_in_a_medium_s_name_finds_it() -> None:
    FilterSlotFactory(name="one", first_media=MediaFactory(name="Pleat 13 16x25x1", merv=13))
    for typed in ("pleet", "pleet 13", "plaet 13"):
        assert codes(typed) == []
        assert [slot.name for slot in nearest(typed)] == ["one"], typed


@pytest.mark.parametrize("typed", ["16-25-1", "16 - 25 - 1"])
def test_dashes_part_a_size_too(typed: str) -> None:
    sides = as_sides(typed)
    assert sides is not None
    assert sides.size == parse_size("16x25x1")


def test_a_half_as_one_sign_is_read() -> None:
    assert as_sides("20½ x 20") == as_sides("20.5x20")


@pytest.mark.parametrize("typed", ["pleat 13 16x25", "16x25 pleat 13", "pleat 16x25"])
def test_a_size_without_a_depth_stands_beside_a_medium(typed: str) -> None:
    FilterSlotFactory(name="one", first_media=MediaFactory(name="Pleat 13 16x25x1", merv=13))
    FilterSlotFactory(name="two", first_media=MediaFactory(name="Deep 11 16x25x1", merv=11))
    assert codes(typed) == ["one"]
