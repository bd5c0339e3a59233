"""Dust on record in the dates: what counts as of which day, and what the page says of it."""

from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.dust import Dusty, end_episode, record_episode, withdraw_episode
from equipment.models import AirDay, DustEpisode, FilterSlot, Site, Station
from schedules import due
from schedules.explain import explain
from schedules.gather import Gatherer
from schedules.models import Plan, Policy
from tests.factories import (
    NOW,
    TODAY,
    AirDayFactory,
    DustEpisodeFactory,
    FilterSlotFactory,
    PlanFactory,
    StationFactory,
    SystemFactory,
    WeatherDayFactory,
)
from tests.schedules.planning.conftest import MEDIA, POINTS, SLOT

pytestmark = pytest.mark.django_db
Row = dict[str, str]
DATES = ("due_on", "p10_on", "p50_on", "p90_on")
PLACED = SLOT | {"city": "Springfield", "region": "IL", "weather_station": "ord"}
STATIONS = [{"station": "ord", "latitude": 42, "longitude": -88}]


@pytest.fixture
def dates(importing: Callable[..., Any], tmp_path: Path) -> Callable[..., bytes]:
    """The forecast as of a day, of a slot at home in Springfield, IL, fitted on 1 January."""
    importing(media=MEDIA, media_points=POINTS, stations=STATIONS, installed=[PLACED])

    def as_of(day: str = "2026-05-12") -> bytes:
        out = tmp_path / "dates.out"
        call_command("forecast", "--as-of", day, "--out", str(out))
        return out.read_bytes()

    return as_of


def row(content: bytes) -> dict[str, str]:
    header, line = content.decode().splitlines()
    return dict(zip(header.split(","), line.split(","), strict=True))


def episode(first: date, last: date, *, recorded: date = TODAY, **more: Any) -> DustEpisode:
    fields = {"first_day": first, "last_day": last, "factor": 5.0, "recorded_on": recorded}
    fields |= {} if {"place", "station"} & more.keys() else {"site": Site.objects.get(name="home")}
    return DustEpisodeFactory(**{"site": None, **fields, **more})


def smoke_in_april(**more: Any) -> DustEpisode:
    return episode(date(2026, 4, 1), date(2026, 4, 30), **more)


def no_later(moved: dict[str, str], plain: dict[str, str]) -> bool:
    """Each date no later, and one at least earlier; an empty cell lies beyond all days."""
    pairs = [(moved[name] or "9999", plain[name] or "9999") for name in DATES]
    return all(one <= other for one, other in pairs) and any(one < other for one, other in pairs)


def test_smoke_loads_the_filter_and_moves_its_dates_while_hours_stay_hours(dates: Any) -> None:
    plain = row(dates())
    smoke_in_april()
    moved = row(dates())
    assert no_later(moved, plain)
    assert float(moved["drop_now_inwc"]) > float(plain["drop_now_inwc"])
    assert moved["run_hours"] == plain["run_hours"]


@pytest.mark.parametrize("where", ["springfield", "IL", "Springfield, IL", "station"])
def test_a_place_or_a_station_reaches_its_homes(where: str, dates: Any) -> None:
    plain = dates()
    found: dict[str, Any] = {"station": Station.objects.get()} if where == "station" else {"place": where}
    smoke_in_april(**found)
    assert no_later(row(dates()), row(plain))


def test_a_place_elsewhere_or_a_neighbour_changes_no_byte(dates: Any) -> None:
    plain = dates()
    smoke_in_april(place="Shelbyville")
    smoke_in_april(station=StationFactory())
    smoke_in_april(site=SystemFactory().site)
    assert dates() == plain


@pytest.mark.parametrize(
    ("first", "last"),
    [
        (date(2025, 3, 1), date(2025, 12, 30)),
        (date(2028, 1, 1), date(2028, 3, 1)),
    ],
)
def test_dust_before_the_filter_or_far_after_it_changes_no_byte(first: date, last: date, dates: Any) -> None:
    plain = dates()
    episode(first, last)
    assert dates() == plain


def test_a_factor_of_one_changes_no_byte(dates: Any) -> None:
    plain = dates()
    smoke_in_april(factor=1.0)
    assert dates() == plain


def test_the_past_counts_whenever_it_was_recorded_but_no_day_before_it_was(dates: Any) -> None:
    march, may, later = (dates(day) for day in ("2026-03-31", "2026-05-12", "2026-06-20"))
    smoke_in_april(recorded=date(2026, 6, 20))
    assert dates("2026-03-31") == march
    assert no_later(row(dates("2026-05-12")), row(may))
    assert dates("2026-06-20") != later


def test_an_announced_episode_counts_from_the_day_it_was_recorded(dates: Any) -> None:
    before, since = dates("2026-05-11"), dates("2026-05-12")
    episode(date(2026, 5, 20), date(2026, 7, 20), recorded=date(2026, 5, 12))
    assert dates("2026-05-11") == before
    moved = row(dates("2026-05-12"))
    assert no_later(moved, row(since))
    assert moved["drop_now_inwc"] == row(since)["drop_now_inwc"]


def test_of_an_episode_recorded_afterwards_only_the_days_so_far_count(dates: Any) -> None:
    """As of 15 April a month of smoke recorded in May is a fortnight of smoke."""
    fortnight = episode(date(2026, 4, 1), date(2026, 4, 15))
    expected = dates("2026-04-15")
    fortnight.delete()
    smoke_in_april()
    assert dates("2026-04-15") == expected


def test_what_is_over_early_counts_until_then_and_what_was_a_mistake_not_at_all(dates: Any) -> None:
    plain = dates()
    running = episode(date(2026, 5, 1), date(2026, 8, 1))
    whole = dates()
    end_episode(running, None, NOW)
    ended = dates()
    assert no_later(row(whole), row(ended))
    assert no_later(row(ended), row(plain))
    withdraw_episode(running, None, NOW)
    assert dates() == plain


def air(days: int, *, dirty: range, **more: Any) -> None:
    station = Station.objects.get()
    for ago in range(days):
        pm = 90.0 if ago in dirty else 9.0
        AirDayFactory(station=station, day=TODAY - timedelta(days=ago), pm25_ugm3=pm, **more)


def test_days_of_thick_fine_dust_move_the_date_and_clean_air_changes_no_byte(dates: Any) -> None:
    plain = dates()
    air(120, dirty=range(0))
    assert dates() == plain
    AirDay.objects.all().delete()
    air(120, dirty=range(10, 40))
    moved = row(dates())
    assert no_later(moved, row(plain))
    assert moved["run_hours"] == row(plain)["run_hours"]


def test_a_day_of_few_hours_and_a_later_day_say_nothing(dates: Any) -> None:
    plain = dates("2026-05-12")
    air(120, dirty=range(10, 40), hours=17)
    assert dates("2026-05-12") == plain
    AirDay.objects.update(hours=24)
    known = dates("2026-03-20")
    AirDay.objects.filter(day__gt="2026-03-20").delete()
    assert dates("2026-03-20") == known


def test_an_episode_makes_its_slots_stale_and_air_its_station(dates: Any, importing: Any) -> None:
    due.replan(NOW)
    assert not due.stale(NOW).exists()
    later = NOW + timedelta(minutes=1)
    record_episode(Dusty("smoke", TODAY, TODAY, 3.0), "Springfield", None, later)
    assert due.stale(NOW).exists()
    due.replan(NOW)
    importing(at=later, air=[{"station": "ord", "time": "2026-05-01", "pm25_ugm3": 5}])
    assert due.stale(NOW).exists()


def said(slot: FilterSlot) -> str:
    plan = Plan.objects.get(slot=slot)
    words = explain(slot, plan, TODAY, Policy.the())
    return " ".join([words.why, *words.assumed])


def test_the_page_says_which_dust_counted(dates: Any) -> None:
    FilterSlot.objects.update(fitted_on=date(2026, 3, 1))
    episode(date(2026, 4, 3), date(2026, 4, 12), factor=3.0)
    episode(date(2026, 1, 3), date(2026, 2, 12), factor=3.0)
    air(100, dirty=range(1))
    due.replan(NOW)
    slot = FilterSlot.objects.get()
    assert "Smoke from 3 to 12 April counts for three times the usual dust." in said(slot)
    assert "January" not in said(slot)
    assert "On 1 day since this filter went in" in said(slot)


def test_dust_announced_for_after_the_filter_is_full_is_not_said(dates: Any) -> None:
    FilterSlot.objects.update(limit_drop_pa=30.0)
    episode(TODAY + timedelta(days=350), TODAY + timedelta(days=360))
    due.replan(NOW)
    assert Plan.objects.get().p90_on < TODAY + timedelta(days=300)
    assert "counts for" not in said(FilterSlot.objects.get())


@pytest.mark.parametrize(
    ("note", "sentence"),
    [
        ("smoke:2026-07-28:2026-08-12:2", "Smoke from 28 July to 12 August counts for twice the usual dust."),
        ("pollen:2026-05-01:2026-05-01:0.5", "Pollen on 1 May counts for half the usual dust."),
        (
            "renovation:2025-12-30:2026-01-04:2.718",
            "Renovation from 30 December 2025 to 4 January 2026 counts for 2.7 times the usual dust.",
        ),
        (
            "other:2025-06-01:2025-06-09:20",
            "Other dust from 1 to 9 June 2025 counts for twenty times the usual",
        ),
    ],
)
def test_each_episode_is_one_plain_sentence(note: str, sentence: str) -> None:
    plan = PlanFactory(notes=[f"dust_episode:{note}"])
    assert sentence in " ".join(explain(plan.slot, plan, TODAY, Policy.the()).assumed)


def test_a_quiet_station_is_said_among_what_is_assumed(home: Site) -> None:
    fed, stale, unfed = (StationFactory(name=name) for name in ("fed", "stale", "unfed"))
    WeatherDayFactory(station=fed, day=TODAY - timedelta(days=10))
    WeatherDayFactory(station=stale, day=TODAY - timedelta(days=11))
    notes = {}
    for station in (fed, stale, unfed):
        slot = FilterSlotFactory()
        Site.objects.filter(pk=slot.system.site_id).update(station=station)
        (facts,) = Gatherer(TODAY).gather([slot.system_id]).slots
        notes[station.name] = {"stale_station", "station_unfed"} & set(facts.notes)
    assert notes == {"fed": set(), "stale": {"stale_station"}, "unfed": {"station_unfed"}}


def test_weather_of_later_days_does_not_make_a_station_fresh_as_of_an_earlier_day(home: Site) -> None:
    station = StationFactory()
    slot = FilterSlotFactory()
    Site.objects.filter(pk=slot.system.site_id).update(station=station)
    WeatherDayFactory(station=station, day=date(2026, 4, 1))
    WeatherDayFactory(station=station, day=TODAY + timedelta(days=1))
    (facts,) = Gatherer(TODAY).gather([slot.system_id]).slots
    assert "stale_station" in facts.notes


def test_many_homes_in_smoke_take_no_more_queries_than_one(dates: Any) -> None:
    def queries() -> int:
        systems = list(FilterSlot.objects.values_list("system", flat=True))
        with CaptureQueriesContext(connection) as seen:
            Gatherer(TODAY).gather(systems)
        return len(seen)

    smoke_in_april()
    queries()  # makes the desk's own rows
    few = queries()
    for _ in range(30):
        DustEpisodeFactory(site=FilterSlotFactory().system.site)
    assert queries() == few
