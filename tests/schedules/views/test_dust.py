"""Unusual dust on the desk's page and a home's, and who may tell of it."""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import DustEpisode, FilterSlot, Site
from schedules import due
from schedules.models import Plan
from tests.factories import NOW, TODAY, DustEpisodeFactory, SiteFactory, StationFactory
from tests.markup import tight

pytestmark = [pytest.mark.django_db, pytest.mark.once]
WEEKS = {"kind": "smoke", "first_day": "2026-05-01", "last_day": "2026-05-20", "factor": "3"}


def test_a_renovation_is_written_down_on_the_homes_page(
    manager: Client, home: Site, home_slot: FilterSlot
) -> None:
    due.replan(NOW)
    told = WEEKS | {"kind": "renovation"}
    answer = tight(manager.post(reverse("site-dust", args=[home.pk]), told, follow=True).text)
    assert "The dust is on record" in answer
    assert "from 1 to 20 May" in answer
    assert "renovation, three times the usual dust" in answer
    episode = DustEpisode.objects.get()
    assert (episode.site, episode.factor, episode.recorded_on) == (home, 3.0, TODAY)
    assert not due.stale(NOW).exists()
    assert Plan.objects.get().facts_at == NOW


@pytest.mark.parametrize(
    ("wrong", "why"),
    [
        ({"last_day": "2026-04-01"}, "It cannot end before it begins."),
        ({"factor": "0"}, "between 0.1 and 20 times the usual"),
        ({"factor": "1000"}, "between 0.1 and 20 times the usual"),
        ({"factor": "much"}, "Enter a number."),
        ({"factor": "nan"}, "Enter a number."),
        ({"factor": ""}, "This field is required."),
        ({"first_day": "soon"}, "Enter a valid date."),
        ({"kind": "fog"}, "Select a valid choice"),
    ],
)
def test_what_cannot_be_is_said_beside_the_form(
    wrong: dict[str, str], why: str, manager: Client, home: Site
) -> None:
    addresses = {reverse("site-dust", args=[home.pk]): {}, reverse("dust"): {"place": "Springfield"}}
    for address, more in addresses.items():
        answer = manager.post(address, WEEKS | wrong | more)
        assert answer.status_code == 422
        assert why in answer.content.decode()
    assert not DustEpisode.objects.exists()


def test_smoke_over_a_town_is_written_down_on_the_desks_page(
    manager: Client, home: Site, home_slot: FilterSlot
) -> None:
    SiteFactory(city="Springfield")
    SiteFactory(city="Shelbyville")
    answer = manager.post(reverse("dust"), WEEKS | {"place": "springfield"}, follow=True).content.decode()
    assert "the dates of 2 homes are reckoned again" in answer
    assert "1 spell of unusual dust counts today" in answer
    assert due.stale(NOW).count() == 1
    assert "springfield" in manager.get(reverse("site", args=[home.pk])).content.decode()


@pytest.mark.parametrize(
    ("where", "why"),
    [
        ({}, "one of them"),
        ({"place": "Springfield", "station": "ours"}, "one of them"),
        ({"place": "Nowhere"}, "No home on record is there"),
        ({"station": "ours"}, "No home on record is there"),
        ({"station": "999999"}, "Select a valid choice"),
    ],
)
def test_a_place_must_be_one_and_have_homes(
    where: dict[str, str], why: str, manager: Client, home: Site
) -> None:
    station = StationFactory()
    asked = {key: str(station.pk) if value == "ours" else value for key, value in where.items()}
    answer = manager.post(reverse("dust"), WEEKS | asked)
    assert answer.status_code == 422
    assert why in answer.content.decode()


def test_what_is_over_stays_with_its_days_and_a_mistake_goes_from_the_pages(
    manager: Client, home: Site
) -> None:
    episode = DustEpisodeFactory(site=home, first_day=TODAY - timedelta(days=4), last_day=date(2026, 6, 9))
    close = reverse("dust-close", args=[episode.pk])
    assert manager.get(reverse("dust")).content.decode().count('value="over"') == 1
    over = manager.post(close, {"what": "over", "back": "site"}, follow=True)
    assert over.redirect_chain == [(reverse("site", args=[home.pk]), 302)]
    assert "from 8 to 11 May" in over.content.decode()
    assert 'value="over"' not in over.content.decode()
    gone = manager.post(close, {"what": "mistake", "back": "dust"}, follow=True).content.decode()
    assert "11 May" not in gone
    assert "Nobody told of smoke" in gone
    assert DustEpisode.objects.get().closed_by is not None


def test_a_called_off_renovation_says_so(manager: Client, home: Site) -> None:
    episode = DustEpisodeFactory(site=home, first_day=date(2026, 6, 1), last_day=date(2026, 6, 9))
    answer = manager.post(reverse("dust-close", args=[episode.pk]), {"what": "over"}, follow=True)
    assert "called off" in answer.content.decode()


def test_a_homeowner_reads_of_the_dust_and_finds_no_button(homeowner: Client, home: Site) -> None:
    page = reverse("site", args=[home.pk])
    assert "Unusual dust" not in homeowner.get(page).content.decode()
    DustEpisodeFactory(site=home)
    DustEpisodeFactory(site=None, place="Elsewhere", factor=7.0)
    answer = tight(homeowner.get(page).text)
    assert "smoke, three times the usual dust" in answer
    assert "7 times" not in answer
    assert "dust/" not in answer
