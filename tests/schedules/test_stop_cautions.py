"""Dangers of a stop from the words of the record."""

import pytest

from schedules.models import Visit
from schedules.stop_cautions import cautions_of
from tests.factories import FilterSlotFactory, SiteFactory, VisitFactory, VisitJobFactory

pytestmark = pytest.mark.django_db


def cautions(words: str, place: str = "hall wall") -> list[str]:
    visit: Visit = VisitFactory(site=SiteFactory(cautions=words))
    VisitJobFactory(visit=visit, slot=FilterSlotFactory(system__site=visit.site, location=place))
    return cautions_of(visit)


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("gas furnace beside it", ["combustion appliance"]),
        ("propane heater", ["combustion appliance"]),
        ("wood stove in the hall", ["combustion appliance"]),
        ("electric furnace", []),
        ("no gas or oil", []),
        ("gas-free house", []),
        ("without any dogs", []),
        ("never any dogs", []),
        ("no dogs, cat in the yard", ["pets"]),
        ("perro en el patio", ["pets"]),
        ("escalera", ["ladder"]),
        ("new insulation", []),
        ("old insulation", ["old insulation"]),
        ("loose duct wrap", ["old insulation"]),
        ("10 ft ladder", ["ladder 10 ft"]),
        ("ceiling at 3 m high", ["ladder 3 m"]),
        ("", []),
    ],
)
def test_words_and_what_they_deny(words: str, found: list[str]) -> None:
    assert cautions(words) == found


def test_the_place_of_the_filter_counts_too() -> None:
    assert cautions("", "attic rack") == ["attic", "ladder"]


@pytest.mark.parametrize(
    ("heights", "words", "units", "found"),
    [
        ([3.05], "", "ip", ["ladder 10 ft"]),
        ([3.05, 2.4], "", "si", ["ladder 3.0 m"]),
        ([1.9], "", "ip", []),
        ([None], "", "ip", []),
        ([3.05], "20 ft ladder", "ip", ["ladder 10 ft"]),
        ([None], "20 ft ladder", "ip", ["ladder 20 ft"]),
    ],
)
def test_a_height_on_record_says_what_the_ladder_is_for(
    heights: list[float | None], words: str, units: str, found: list[str]
) -> None:
    visit: Visit = VisitFactory(site=SiteFactory(cautions=words))
    for height in heights:
        slot = FilterSlotFactory(system__site=visit.site, location="hall wall", height_m=height)
        VisitJobFactory(visit=visit, slot=slot)
    assert cautions_of(visit, units) == found
