"""What was done at a home: nothing left out, nothing hidden, and nobody else's."""

from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.device_posts import ReadingPosted, take
from equipment.models import FilterSlot, Person, Reading, Site, User
from schedules.proof import done_at
from tests.factories import (
    NOW,
    TODAY,
    AirRecordFactory,
    DefectFactory,
    DeviceFactory,
    FilterChangeFactory,
    FilterSlotFactory,
    MeanwhileFactory,
    MediaFactory,
    ReadingFactory,
    SiteFactory,
    TaskDoneFactory,
    TechnicianFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def lived_in(home: Site, home_slot: FilterSlot, technician_user: User) -> Site:
    """A change taken back, the one that held, a reading put right, a visit, a shut door, a task."""
    home_slot.location = "hall ceiling"
    home_slot.save()
    pleat = MediaFactory(name="Pleat 11", merv=11)
    day = TODAY - timedelta(days=40)
    for undone, days in ((NOW, 0), (None, 1)):
        on = day + timedelta(days=days)
        FilterChangeFactory(
            slot=home_slot, changed_on=on, changed_at=NOW - timedelta(days=40 - days), media=pleat,
            told="occupant", undone_at=undone,
        )  # fmt: skip
    reading = ReadingFactory(
        slot=home_slot, taken_at=NOW - timedelta(days=9), filter_drop_pa=250, taken_by=technician_user
    )
    reading.filter_drop_pa = 25
    reading.save()
    who = TechnicianFactory(name="Ada Reed")
    told = {"site": home, "technician": who}
    VisitFactory(state="completed", completed_at=NOW - timedelta(days=8), findings="rusty frame", **told)
    VisitFactory(state="no_access", completed_at=NOW - timedelta(days=7), **told)
    VisitFactory(state="scheduled", day=TODAY + timedelta(days=9), **told)
    TaskDoneFactory(task__system=home_slot.system, task__name="Clean the drain", done_on=TODAY)
    return home


def test_everything_done_is_told_newest_first_with_what_was_taken_back(lived_in: Site) -> None:
    rows = done_at(lived_in, "ip")
    assert [row.what for row in rows] == [
        "Clean the drain",
        "Visit: nobody opened",
        "Visit completed: rusty frame",
        "Pressure drop read: 0.10 in. w.c. (put right; before: 1.00 in. w.c.)",
        "Filter changed: 16x25x1, Pleat 11, MERV 11",
        "Filter changed: 16x25x1, Pleat 11, MERV 11",
    ]
    assert [row.undone is not None for row in rows] == [False] * 5 + [True]
    assert rows[-1].known == "told by the occupant"
    assert done_at(lived_in, "si")[3].what == "Pressure drop read: 25 Pa (put right; before: 250 Pa)"


def test_filters_in_one_place_are_told_apart(home: Site, home_slot: FilterSlot) -> None:
    other = FilterSlotFactory(name="home-second", system=home_slot.system)
    FilterSlot.objects.update(location="attic rack")
    for slot in (home_slot, other):
        ReadingFactory(slot=slot, taken_at=NOW)
    assert {row.where for row in done_at(home, "ip")} == {
        "attic rack (home-hall)",
        "attic rack (home-second)",
    }


def test_days_narrow_it_and_odd_ones_are_said(manager: Client, lived_in: Site) -> None:
    address = reverse("what-was-done", args=[lived_in.pk])
    week = {"first": str(TODAY - timedelta(days=8)), "last": str(TODAY - timedelta(days=7))}
    text = manager.get(address, week).text
    assert "rusty frame" in text
    assert "Clean the drain" not in text
    assert "Nothing is on record for these days." in manager.get(address, {"last": "1999-01-01"}).text
    assert 'class="error"' in manager.get(address, {"first": "soon"}).text
    assert "promises nothing about any warranty" in text


def test_what_was_put_right_is_told_whoever_did_it(home: Site, home_slot: FilterSlot) -> None:
    change = FilterChangeFactory(
        slot=home_slot, changed_on=TODAY, changed_at=NOW, told="sheet", media=MediaFactory(name="P", merv=8)
    )
    change.changed_on, change.told = TODAY - timedelta(days=3), "technician"
    change.save()
    (row,) = done_at(home, "ip")
    assert row.what == (
        "Filter changed: 16x25x1, P, MERV 8"
        " (put right; before: 12 May 2026, 16x25x1, P, MERV 8, from a sheet)"
    )
    device = DeviceFactory(system=home_slot.system)
    take(device, [], [ReadingPosted(NOW - timedelta(hours=2), 60.0)], NOW)
    reading = Reading.objects.get()
    reading.filter_drop_pa = 10.0
    reading.save()
    found = next(row for row in done_at(home, "si") if "Pressure" in row.what)
    assert found.what == "Pressure drop read: 10 Pa (put right; before: 60 Pa)"
    assert found.known == "from a sheet or a device"


def test_a_visit_is_written_down_when_the_record_heard_of_it(home: Site) -> None:
    with time_machine.travel(NOW, tick=False):
        VisitFactory(site=home, state="completed", completed_at=NOW - timedelta(days=5))
    (row,) = done_at(home, "ip")
    assert (row.day, row.written) == (TODAY - timedelta(days=5), "12 May 2026")


def test_a_span_turned_round_is_said(manager: Client, lived_in: Site) -> None:
    address = reverse("what-was-done", args=[lived_in.pk])
    assert (
        "It ends before it begins."
        in manager.get(address, {"first": "2026-05-01", "last": "2026-04-01"}).text
    )


def test_a_household_reads_its_own_home_alone(homeowner: Client, lived_in: Site) -> None:
    text = homeowner.get(reverse("what-was-done", args=[lived_in.pk])).text
    assert "taken back on 12 May 2026" in text
    assert homeowner.get(reverse("what-was-done", args=[SiteFactory().pk])).status_code == 404


def test_as_many_queries_for_a_long_record_as_for_a_short_one(lived_in: Site) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            done_at(lived_in, "ip")
        return len(caught)

    asked()  # the desk's own row is made at first sight
    few = asked()
    slot = FilterSlotFactory(system__site=lived_in)
    for days in range(5):
        FilterChangeFactory(slot=slot, changed_at=NOW - timedelta(days=days), changed_on=TODAY)
        ReadingFactory(slot=slot, taken_at=NOW - timedelta(days=days))
    assert asked() == few


def test_air_measured_is_told_with_what_was_put_right_and_what_was_taken_back(
    home: Site, home_slot: FilterSlot, technician_user: User
) -> None:
    told = {
        "system": home_slot.system, "airflow_m3s": 0.5, "return_static_pa": 40.0, "supply_static_pa": None,
        "filter_drop_pa": None, "airflow_method": "flow plate", "measured_by": technician_user,
    }  # fmt: skip
    kept = AirRecordFactory(measured_at=NOW - timedelta(days=3), **told)
    kept.airflow_m3s = 0.4
    kept.save()
    with time_machine.travel(NOW, tick=False):
        AirRecordFactory(measured_at=NOW - timedelta(days=2), **told).delete()
    gone, stands = done_at(home, "si")
    assert (gone.day, gone.undone, stands.undone) == (TODAY - timedelta(days=2), TODAY, None)
    assert gone.what == "Air measured: airflow 500 L/s, return static without the filter 40 Pa"
    assert stands.what == (
        "Air measured: airflow 400 L/s, return static without the filter 40 Pa"
        " (put right; before: Air measured: airflow 500 L/s, return static without the filter 40 Pa)"
    )
    assert (stands.where, stands.known) == (home_slot.system.name, "flow plate")
    assert stands.written.endswith(", technician")


def test_a_filter_in_for_a_while_and_defects_are_told_with_their_days_and_people(
    home: Site, home_slot: FilterSlot, technician_user: User, manager_user: User
) -> None:
    fine = MediaFactory(name="Fine 13", merv=13)
    day = TODAY - timedelta(days=20)
    row = MeanwhileFactory(
        slot=home_slot, media=fine, begins_on=day, look_on=day + timedelta(days=5),
        ends_on=day + timedelta(days=10), why="smoke", recorded_by=technician_user,
    )  # fmt: skip
    row.ended_on = day + timedelta(days=8)
    row.save()
    visit = VisitFactory(site=home, technician=TechnicianFactory(name="Ada Reed"))
    DefectFactory(
        visit=visit, site=home, kind="frame", seen_at=NOW - timedelta(days=5), seen_by=technician_user,
        settled_at=NOW - timedelta(days=1), settled_by=manager_user, settled_how="new rack",
    )  # fmt: skip
    DefectFactory(visit=visit, site=home, kind="water", seen_at=NOW - timedelta(days=4))
    settled, water, seen, fitted = done_at(home, "si")
    assert settled.what == "Settled: Rack or frame bent or loose: new rack"
    assert settled.written == "11 May 2026, manager"
    assert water.what == "Seen: Water or rust at the unit"
    assert (seen.what, seen.known) == ("Seen: Rack or frame bent or loose", "Ada Reed")
    assert seen.written == "7 May 2026, technician"
    assert fitted.day == day
    assert fitted.what == (
        "Filter in for a while: Fine 13, MERV 13, to come out by 2 May 2026 (smoke); ended on 30 April 2026"
        " (put right; before: Filter in for a while: Fine 13, MERV 13, to come out by 2 May 2026 (smoke))"
    )


def test_what_was_done_besides_takes_no_more_queries_and_is_nobody_elses(
    home: Site, home_slot: FilterSlot
) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as caught:
            done_at(home, "ip")
        return len(caught)

    def add(slot: FilterSlot, days: int) -> None:
        AirRecordFactory(system=slot.system, measured_at=NOW - timedelta(days=days))
        DefectFactory(visit=VisitFactory(site=slot.system.site), site=slot.system.site)
        MeanwhileFactory(slot=slot, ended_on=TODAY)

    add(home_slot, 0)
    asked()
    few = asked()
    for days in range(1, 5):
        add(home_slot, days)
        add(FilterSlotFactory(), days)
    assert asked() == few
    assert len(done_at(home, "ip")) == 15


def test_a_household_reads_it_in_its_language(homeowner: Client, home_slot: FilterSlot) -> None:
    Person.objects.update(language="es")
    site = home_slot.system.site
    AirRecordFactory(system=home_slot.system, airflow_m3s=0.5)
    MeanwhileFactory(slot=home_slot)
    DefectFactory(visit=VisitFactory(site=site), site=site, kind="frame", settled_at=NOW)
    text = homeowner.get(reverse("what-was-done", args=[site.pk])).text
    for words in ("Aire medido: caudal de aire", "Filtro puesto por un tiempo:", "Se observó:", "Corregido:"):
        assert words in text
