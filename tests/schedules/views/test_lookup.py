"""The look-up page: what is typed and the filters that answer."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Media, Site, System
from tests.factories import (
    FilterSlotFactory,
    MediaFactory,
    MediaPointFactory,
    PersonFactory,
    SiteFactory,
    SiteRoleFactory,
    SystemFactory,
)
from tests.markup import tight

pytestmark = pytest.mark.django_db


@pytest.fixture
def depths(manager: Client) -> Client:
    """A manager at a desk with 16 x 25 filters of two depths and one of another face."""
    deep = {"nominal_size": "16x25x4", "depth_m": 0.1016}
    FilterSlotFactory(name="deep", **deep)
    FilterSlotFactory(name="thin")
    FilterSlotFactory(name="other", nominal_size="20x25x1", short_m=0.508, long_m=0.635)
    MediaFactory(name="box", on_hand=3, **deep)
    MediaFactory(name="panel", on_hand=7)
    return manager


def slots(client: Client, typed: str) -> list[str]:
    text = tight(client.get("/find/", {"q": typed}).text)
    return re.findall(r'<span class="small faint">(\w+) ·', text)


@pytest.mark.parametrize("typed", ["16x25", "25 X 16", '16" x 25"', "406 x 635 mm", "40.6 x 63.5 cm"])
def test_two_sides_find_the_filters_of_every_depth(depths: Client, typed: str) -> None:
    assert slots(depths, typed) == ["thin", "deep"]


def test_a_whole_size_finds_its_own_depth_alone(depths: Client) -> None:
    assert slots(depths, "16x25x4") == ["deep"]


def test_two_sides_tell_what_is_on_hand_in_every_depth(depths: Client) -> None:
    text = tight(depths.get("/find/", {"q": "16x25"}).text)
    assert text.index("panel (16x25x1, MERV 8): 7") < text.index("box (16x25x4, MERV 8): 3")


def test_two_sides_that_nobody_has_find_nothing(depths: Client) -> None:
    assert "0 filters answer to “14x14”" in depths.get("/find/", {"q": "14x14"}).text


@pytest.fixture
def street(manager: Client) -> Client:
    """A manager at a desk with house numbers that stand in other codes and numbers."""
    for code, number, size in [
        ("KB14", "40 Gannet Close", "16x25x1"),
        ("KB04", "4 Gannet Close", "16x25x1"),
        ("KB05", "14 Gannet Close", "16x25x1"),
        ("KB06", "7 Gannet Closes, 14", "16x25x1"),
        ("KB07", "9 Mill Lane", "14x20x1"),
        ("KB08", "24 Mill Lane", "20x25x4"),
    ]:
        site = SiteFactory(name=f"{number}, home", street=number, city="Kettle Bend", postcode="60114")
        FilterSlotFactory(name=code, nominal_size=size, system=SystemFactory(name=f"{code}-A", site=site))
    return manager


@pytest.mark.parametrize(
    ("typed", "found"),
    [
        ("4 gannet close kettle bend", ["KB04"]),
        ("4 Gannet Close, Kettle Bend", ["KB04"]),
        ("14 gannet", ["KB05", "KB06"]),
        ("gannet close", ["KB05", "KB04", "KB14", "KB06"]),
        ("kb14", ["KB14"]),
        ("14", ["KB05", "KB06", "KB07"]),
        ("4", ["KB04"]),
        ("6011 mill", ["KB08", "KB07"]),
        ("kb0 gannet", ["KB05", "KB04", "KB06"]),
    ],
)
def test_numbers_are_matched_whole_and_whole_words_come_first(
    street: Client, typed: str, found: list[str]
) -> None:
    assert slots(street, typed) == found


def test_a_slot_of_a_home_with_two_people_comes_once(street: Client) -> None:
    site = Site.objects.get(street="4 Gannet Close")
    for name in ("Ada Lorne", "Ada Lorne the younger"):
        SiteRoleFactory(site=site, person=PersonFactory(name=name), role="occupant")
    assert slots(street, "ada lorne") == ["KB04"]


def test_what_comes_nearest_is_said_to_be_no_exact_answer(street: Client) -> None:
    text = tight(street.get("/find/", {"q": "4 ganet close"}).text)
    assert "Nothing answers exactly; these come nearest" in text
    assert slots(street, "4 ganet close") == ["KB04"]


def test_the_answer_tells_what_is_on_hand_the_arrow_and_what_else_would_do(manager: Client) -> None:
    system = SystemFactory(
        design_airflow_m3s=0.2, return_budget_pa=90.0, return_static_pa=20.0, blower="constant_airflow"
    )
    media = {
        name: MediaFactory(name=name, merv=merv, on_hand=count)
        for name, merv, count in [("Usual", 8, 5), ("Finer", 11, 2), ("None left", 9, 0), ("Choking", 13, 9)]
    }
    for name, medium in media.items():
        drop = 200.0 if name == "Choking" else 20.0
        MediaPointFactory(media=medium, airflow_m3s=0.2, clean_drop_pa=drop)
    MediaFactory(name="Unmeasured", on_hand=1)
    FilterSlotFactory(name="attic", system=system, first_media=media["Usual"])
    text = tight(manager.get("/find/", {"q": "attic"}).text)
    assert "Usual, MERV 8, 5 on hand" in text
    assert "arrow with the air, towards the blower" in text
    assert "would do as well: Finer, MERV 11 (2 on hand); None left, MERV 9 (0 on hand)" in text
    assert "Choking" not in text
    assert "Unmeasured" not in text


def test_the_name_of_a_medium_finds_where_it_is_and_how_many_are_left(depths: Client) -> None:
    FilterSlotFactory(name="here", first_media=Media.objects.get(name="panel"))
    text = tight(depths.get("/find/", {"q": "panel"}).text)
    assert slots(depths, "panel") == ["here"]
    assert "panel (16x25x1, MERV 8): 7" in text


@pytest.mark.parametrize(
    "typed", ["\0", '"', "'" * 200, "🙂🙂", "%_\\", "...", "a" * 300, "NEAR(x y)", "٣", "²"]
)
def test_odd_input_is_answered(street: Client, typed: str) -> None:
    answer = street.get("/find/", {"q": typed})
    assert answer.status_code == 200
    assert "KB08" not in answer.text


def test_a_filter_that_the_rule_refuses_is_not_shown_as_right_without_a_word(
    manager: Client, home_slot: FilterSlot
) -> None:
    page = reverse("look-up")
    System.objects.filter(pk=home_slot.system_id).update(
        blower="constant_airflow", kind="conventional", capacity_w=None, return_budget_pa=100.0,
        return_static_pa=10.0, design_airflow_m3s=0.37,
    )  # fmt: skip
    pleat = MediaFactory(name="Pleat 11", merv=11)
    MediaPointFactory(media=pleat, airflow_m3s=0.37, clean_drop_pa=25.0)
    FilterSlot.objects.filter(pk=home_slot.pk).update(first_media=pleat)
    assert "does not fit" not in manager.get(page, {"q": home_slot.name}).text
    System.objects.filter(pk=home_slot.system_id).update(return_static_pa=90.0)
    assert "by what is on record it does not fit:" in manager.get(page, {"q": home_slot.name}).text
    System.objects.filter(pk=home_slot.system_id).update(return_budget_pa=None)
    assert "whether it fits is not known:" in manager.get(page, {"q": home_slot.name}).text
