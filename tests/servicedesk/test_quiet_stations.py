"""Where a weather station has gone stale, the desk is told on the pages where it looks."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Site, Station
from tests.factories import NOW, TODAY, StationFactory, WeatherDayFactory

pytestmark = pytest.mark.django_db
PAGES = ("due-list", "sheets")


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def station(home: Site, home_slot: FilterSlot) -> Station:
    """The one that the home's weather comes from."""
    home.station = StationFactory(name="ord")
    home.save()
    return home.station


@pytest.mark.parametrize("page", PAGES)
def test_a_station_without_a_day_in_the_last_ten_is_named_with_its_last(
    page: str, manager: Client, station: Station
) -> None:
    WeatherDayFactory(station=station, day=TODAY - timedelta(days=11))
    assert "ord has told nothing since 1 May 2026" in manager.get(reverse(page)).content.decode()
    WeatherDayFactory(station=station, day=TODAY - timedelta(days=10))
    assert "has told nothing" not in manager.get(reverse(page)).content.decode()


@pytest.mark.parametrize("page", PAGES)
def test_a_station_never_fed_gets_another_sentence(page: str, manager: Client, station: Station) -> None:
    answer = manager.get(reverse(page)).content.decode()
    assert "ord has no weather on record yet" in answer
    assert "has told nothing" not in answer


def test_a_station_that_no_filter_in_use_relies_on_is_not_named(
    manager: Client, station: Station, home_slot: FilterSlot
) -> None:
    StationFactory(name="spare")
    answer = manager.get(reverse("due-list")).content.decode()
    assert "spare" not in answer
    home_slot.retired_on = TODAY
    home_slot.save()
    assert "no weather on record" not in manager.get(reverse("due-list")).content.decode()


def test_only_managers_are_warned_and_rows_alone_carry_no_warning(
    manager: Client, technician: Client, station: Station
) -> None:
    assert "no weather on record" not in technician.get(reverse("due-list")).content.decode()
    rows = manager.get(reverse("due-list"), headers={"HX-Request": "true"})
    assert "no weather on record" not in rows.content.decode()
