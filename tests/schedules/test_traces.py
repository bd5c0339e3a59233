"""Roles, hours of homes, dust, jobs of visits and weather: what stood before stays, and who wrote it over."""

from datetime import date, time, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from equipment.dust import end_episode, withdraw_episode
from equipment.life import Happening, record_event
from equipment.models import AirDay, DustEpisode, Person, Site, SiteRole, User, WeatherBefore, WeatherDay
from schedules import visits
from schedules.erasure import erase
from schedules.home_changes import move_in
from schedules.models import HomeHours, Visit, VisitJob
from tests.conftest import Importing
from tests.factories import (
    NOW,
    TODAY,
    DustEpisodeFactory,
    FilterSlotFactory,
    PersonFactory,
    SiteRoleFactory,
    StationFactory,
    TechnicianFactory,
)

pytestmark = pytest.mark.django_db
CHANGER = SiteRole.Role.FILTER_CHANGER


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def roles_told(site: Site) -> list[tuple[str, str, date | None]]:
    rows = SiteRole.history.filter(site=site).order_by("history_id")
    return [(row.history_type, row.person.name, row.until) for row in rows]


def test_who_changed_filters_before_stays(home: Site) -> None:
    old = SiteRoleFactory(site=home, person=PersonFactory(name="Ada"), role=CHANGER)
    move_in(home, Person(name="Bo"), [CHANGER], NOW)
    told = [("+", "Ada", None), ("~", "Ada", TODAY), ("+", "Bo", None)]
    assert roles_told(home)[-3:] == told
    old.refresh_from_db()
    assert old.until == TODAY


def test_moving_out_and_being_erased_leave_when_a_part_ended(home: Site) -> None:
    role = SiteRoleFactory(site=home, person=PersonFactory(name="Ada"), role="owner")
    record_event(home, Happening("moved_out", TODAY, person=role.person), None, NOW)
    assert roles_told(home)[-1] == ("~", "Ada", TODAY)
    other = SiteRoleFactory(site=home, person=PersonFactory(name="Bo"), role="owner")
    erase(other.person, NOW)
    last = SiteRole.history.filter(id=other.pk).latest()
    assert (last.history_type, last.until) == ("~", TODAY)


def test_a_sheet_that_names_somebody_leaves_it_in_the_history(importing: Importing) -> None:
    row = {"site": "12 Elm", "customer": "Ines Vale", "system": "12 Elm air", "filter_slot": "12 Elm hall",
           "nominal_size": "16x25x1"}  # fmt: skip
    assert importing(installed=[row]).stored
    assert SiteRole.history.filter(history_type="+").count() == SiteRole.objects.count() == 2


def test_hours_that_suited_a_home_stay_with_who_wrote_them_over(
    home: Site, manager: Client, manager_user: User
) -> None:
    ada, address = TechnicianFactory(name="Ada"), reverse("home-hours", args=[home.pk])
    manager.post(address, {"weekdays": ["1"], "not_before": "09:00", "not_by": [ada.pk]})
    manager.post(address, {"weekdays": ["2"], "not_before": "10:00"})
    rows = list(HomeHours.history.filter(site=home).order_by("history_id"))
    told = [(row.weekdays, row.not_before, [one.technician.name for one in row.not_by.all()]) for row in rows]
    assert ([1], time(9), ["Ada"]) in told
    assert told[-1] == ([2], time(10), [])
    assert {row.history_user for row in rows} == {manager_user}


def test_a_spell_of_dust_that_was_ended_says_when_and_what_it_was(manager_user: User) -> None:
    row = DustEpisodeFactory(first_day=TODAY - timedelta(days=3), last_day=TODAY + timedelta(days=9))
    end_episode(row, manager_user, NOW)
    begun, ended = DustEpisode.history.filter(id=row.pk).order_by("history_id")
    assert (begun.history_type, begun.ended_on) == ("+", None)
    assert (ended.history_type, ended.ended_on, ended.history_date) == ("~", TODAY - timedelta(days=1), NOW)


def test_jobs_of_a_visit_stay_as_they_were_booked_done_and_taken_out(home: Site) -> None:
    slots = [FilterSlotFactory(system__site=home) for _n in range(2)]
    booking = visits.Booking(site=home, slots=slots, tasks=[], technician=None, day=None)
    visit = visits.book(booking, NOW)
    assert VisitJob.history.filter(visit=visit, history_type="+").count() == 2
    visits.mark_jobs(visit.jobs.filter(slot=slots[0]), done=True)
    visits.mark_jobs(visit.jobs.filter(slot=slots[0]), done=True)
    assert [row.done for row in VisitJob.history.filter(visit=visit, history_type="~")] == [True]
    Visit.objects.filter(pk=visit.pk).update(state=Visit.State.DUE)
    visits.drop_done([slots[1].pk])
    assert [row.slot for row in VisitJob.history.filter(visit=visit, history_type="-")] == [slots[1]]


def before() -> list[tuple[object, ...]]:
    rows = WeatherBefore.objects.order_by("pk")
    return list(rows.values_list("station__name", "day", "figure", "value", "at", "source"))


def test_weather_and_air_that_sheets_write_over_stay(importing: Importing) -> None:
    station = StationFactory(name="field")
    WeatherDay.objects.create(station=station, day=TODAY, mean_temp_c=10.0)
    AirDay.objects.create(station=station, day=TODAY, pm25_ugm3=9.0)
    weather = [{"station": "field", "date": TODAY - timedelta(days=n), "mean_temp_f": 68} for n in range(2)]
    air = [{"station": "field", "time": TODAY, "pm25_ugm3": 30}]
    assert importing(weather=weather, air=air).stored
    told = {
        ("field", TODAY, "temperature", 10.0, NOW, "weather.csv"),
        ("field", TODAY, "fine_dust", 9.0, NOW, "air.csv"),
    }
    assert set(before()) == told
    assert importing(weather=weather, air=air).stored
    assert len(before()) == 2


@pytest.mark.parametrize(
    ("model", "page", "typed"),
    [
        (WeatherDay, "weatherday", {"mean_temp_c": "11"}),
        (AirDay, "airday", {"pm25_ugm3": "11", "hours": "24"}),
    ],
)
def test_the_record_pages_name_who_wrote_weather_over(
    model: Any, page: str, typed: dict[str, int], manager: Client
) -> None:
    station = StationFactory(name="field")
    figure = next(iter(typed))
    row = model.objects.create(station=station, day=TODAY, **{figure: 10.0})
    form = {"station": station.pk, "day": TODAY, **typed}
    for _twice in range(2):
        manager.post(reverse(f"admin:equipment_{page}_change", args=[row.pk]), form)
    (trace,) = before()
    assert (trace[3], trace[5]) == (10.0, "manager")
    assert manager.get(reverse("admin:equipment_weatherbefore_changelist")).status_code == 200
    assert manager.get(reverse("admin:equipment_weatherbefore_add")).status_code == 403


def test_what_was_done_tells_managers_of_people_hours_and_dust_and_no_household(
    home: Site, manager: Client, homeowner: Client
) -> None:
    address = reverse("what-was-done", args=[home.pk])
    move_in(home, Person(name="Ines Vale"), [CHANGER], NOW)
    told = {"weekdays": ["1"], "not_before": "09:00", "not_by": [TechnicianFactory(name="Ada Reed").pk]}
    manager.post(reverse("home-hours", args=[home.pk]), told)
    for factor in (2.0, 3.0):
        DustEpisodeFactory(site=home, kind="smoke", factor=factor)
    mistaken = DustEpisode.objects.get(factor=3.0)
    withdraw_episode(mistaken, None, NOW)
    seen = manager.get(address).text
    for words in (
        "Ines Vale is on record as filter changer",
        "is filter changer no more from",
        "What suits the home: Tuesday; not before 09:00; not by Ada Reed",
        "Dust: smoke, 2 times the usual",
        "; a mistake",
    ):
        assert words in seen, words
    theirs = homeowner.get(address).text
    assert [words for words in ("Ines Vale is", "What suits", "Dust:") if words in theirs] == []
