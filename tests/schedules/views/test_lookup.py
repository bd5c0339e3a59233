"""The look-up page: what is typed and the filters that answer."""

import re

import pytest
from django.test import Client

from tests.factories import FilterSlotFactory, MediaFactory

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
    text = client.get("/find/", {"q": typed}).text
    return re.findall(r'<span class="small faint">(\w+) ·', text)


@pytest.mark.parametrize("typed", ["16x25", "25 X 16", '16" x 25"', "406 x 635 mm", "40.6 x 63.5 cm"])
def test_two_sides_find_the_filters_of_every_depth(depths: Client, typed: str) -> None:
    assert slots(depths, typed) == ["thin", "deep"]


def test_a_whole_size_finds_its_own_depth_alone(depths: Client) -> None:
    assert slots(depths, "16x25x4") == ["deep"]


def test_two_sides_tell_what_is_on_hand_in_every_depth(depths: Client) -> None:
    text = depths.get("/find/", {"q": "16x25"}).text
    assert text.index("panel (16x25x1, MERV 8): 7") < text.index("box (16x25x4, MERV 8): 3")


def test_two_sides_that_nobody_has_find_nothing(depths: Client) -> None:
    assert "0 filters answer to “14x14”" in depths.get("/find/", {"q": "14x14"}).text
