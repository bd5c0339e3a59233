"""Dust episodes: what is refused, which homes they touch, how they end."""

from datetime import date, datetime, timedelta

import pytest
from django.db import IntegrityError, transaction

from equipment.dust import (
    Dusty,
    at_place,
    end_episode,
    record_episode,
    sites_of,
    withdraw_episode,
)
from equipment.models import DustEpisode, FilterSlot, Site
from equipment.record import NotRecordable
from tests.factories import DustEpisodeFactory, FilterSlotFactory, SiteFactory, StationFactory, SystemFactory

pytestmark = pytest.mark.django_db
WEEK = Dusty("smoke", date(2026, 5, 1), date(2026, 5, 9), 3.0)


def slot_at(**site: object) -> FilterSlot:
    return FilterSlotFactory(system=SystemFactory(site=SiteFactory(**site)))


@pytest.mark.parametrize(
    ("what", "why"),
    [
        (Dusty("smoke", date(2026, 5, 9), date(2026, 5, 1), 3.0), "cannot end before it begins"),
        (Dusty("smoke", date(2026, 5, 1), date(2026, 5, 9), 0.0), "between 0.1 and 20 times"),
        (Dusty("smoke", date(2026, 5, 1), date(2026, 5, 9), 1000.0), "between 0.1 and 20 times"),
        (Dusty("smoke", date(2026, 5, 1), date(2026, 5, 9), float("nan")), "between 0.1 and 20 times"),
        (Dusty("renovation", date(2020, 5, 1), date(2026, 5, 9), 2.0), "longer than two years"),
    ],
)
def test_what_cannot_be_is_refused_in_plain_words(what: Dusty, why: str, home: Site, now: datetime) -> None:
    with pytest.raises(NotRecordable, match=why):
        record_episode(what, home, None, now)
    assert not DustEpisode.objects.exists()


@pytest.mark.parametrize("where", ["Nowhere", "", "   ", "Spring"])
def test_a_place_where_no_home_is_is_refused(where: str, home: Site, now: datetime) -> None:
    with pytest.raises(NotRecordable, match="No home on record is there"):
        record_episode(WEEK, where, None, now)


def test_a_station_that_no_home_uses_is_refused(now: datetime) -> None:
    with pytest.raises(NotRecordable, match="No home on record is there"):
        record_episode(WEEK, StationFactory(), None, now)


def test_the_same_episode_twice_is_refused_until_the_first_is_withdrawn(home: Site, now: datetime) -> None:
    first = record_episode(WEEK, home, None, now)
    with pytest.raises(NotRecordable, match="on record already"):
        record_episode(WEEK, home, None, now)
    withdraw_episode(first, None, now)
    record_episode(WEEK, home, None, now)


def test_an_episode_stamps_the_slots_of_its_homes_and_no_others(now: datetime) -> None:
    later, station = now + timedelta(hours=1), StationFactory()
    here = slot_at(city="Springfield", region="IL", station=station)
    there = slot_at(city="Springfield", region="MO")

    def stamped() -> set[FilterSlot]:
        found = set(FilterSlot.objects.filter(facts_changed_at=later))
        FilterSlot.objects.update(facts_changed_at=now)
        return found

    for where, touched in (
        (here.system.site, {here}), (station, {here}), ("springfield", {here, there}), ("mo", {there}),
        ("Springfield,  il", {here}),
    ):  # fmt: skip
        episode = record_episode(WEEK, where, None, later)
        assert stamped() == touched
        end_episode(episode, None, later)
        assert stamped() == touched
        withdraw_episode(episode, None, later)
        assert stamped() == touched


def test_capitals_and_spaces_of_a_place_do_not_matter_beyond_ascii() -> None:
    assert at_place(" QUÉBEC ", "Québec", "")
    assert not at_place("", "", "")
    assert not at_place("Québ", "Québec", "")


def test_ending_keeps_the_days_that_were_and_a_second_ending_changes_nothing(
    home: Site, now: datetime
) -> None:
    """12 May in Chicago: the 11th is the last day that counts."""
    episode = record_episode(Dusty("renovation", date(2026, 5, 1), date(2026, 6, 30), 3.0), home, None, now)
    end_episode(episode, None, now)
    assert episode.last_counted == date(2026, 5, 11)
    end_episode(episode, None, now + timedelta(days=9))
    assert DustEpisode.objects.get().last_counted == date(2026, 5, 11)


def test_who_and_when_are_kept(home: Site, now: datetime, manager_user: object) -> None:
    late = now.replace(day=13, hour=3)
    episode = record_episode(WEEK, home, manager_user, late)  # type: ignore[arg-type]
    assert (episode.recorded_on, episode.recorded_by) == (date(2026, 5, 12), manager_user)
    withdraw_episode(episode, manager_user, late)  # type: ignore[arg-type]
    episode.refresh_from_db()
    assert (episode.withdrawn_at, episode.closed_by) == (late, manager_user)
    assert sites_of(episode) == [home.pk]


@pytest.mark.parametrize(
    "wrong",
    [
        {"factor": 0.0},
        {"factor": 1000.0},
        {"last_day": date(2026, 4, 1)},
        {"site": None},
        {"place": "Springfield"},
    ],
)
def test_the_table_itself_refuses_what_cannot_be(wrong: dict[str, object]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        DustEpisodeFactory(**wrong)
