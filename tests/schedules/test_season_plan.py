"""A season gathered and worked out: windows, hours, what is booked, and nobody lost."""

from datetime import date, time, timedelta
from typing import Any

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Site
from schedules import rounds, season_plan, season_routes
from schedules.models import RoundPlan, SeasonPlan, Visit
from schedules.planning.season_weeks import CHURN_MINUTES, deal
from schedules.season_plan import WEEKS_BEYOND, Season, gather
from schedules.season_routes import dealt_weeks
from schedules.season_runs import ask_for, run_waiting
from schedules.season_week import trips_for
from tests.factories import (
    NOW,
    TODAY,
    AbsenceFactory,
    DepotFactory,
    HomeHoursFactory,
    MaintenanceTaskFactory,
    SeasonPlanFactory,
    SeasonTripFactory,
    VisitFactory,
    VisitJobFactory,
)
from tests.schedules.season_homes import MONDAY, a_home, a_plan, a_van, homes, quick

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick")]
__all__ = ["quick"]


def gathered(**more: Any) -> Season:
    plan = a_plan(**more)
    plan.save()
    return gather(plan, NOW, TODAY)


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def worked_out(**more: Any) -> SeasonPlan:
    plan = ask_for(a_plan(**more), NOW)
    run_waiting(NOW)
    plan.refresh_from_db()
    return plan


def test_windows_become_weeks() -> None:
    a_van()
    a_home(MONDAY + timedelta(days=30))  # ninety days: a fortnight early at most, from day 16 on
    season = gathered()
    assert (season.dealt.first.tolist(), season.dealt.last.tolist()) == ([2], [4])
    assert season.hours.shape == (1, 4 + WEEKS_BEYOND)
    assert season.period == 3


def test_hours_are_those_of_whoever_works_less_a_tenth_held_free() -> None:
    north, south = DepotFactory(latitude=42.0, name="A"), DepotFactory(latitude=41.5, name="B")
    a_van(depot=north)
    a_van(depot=south, weekdays=[0])
    # Of no depot: the nearest to where they start.
    a_van(start_latitude=41.55, start_longitude=-87.8, weekdays=[1])
    AbsenceFactory(technician=None, first_day=MONDAY, last_day=MONDAY)
    season = gathered()
    assert season.hours[:, :2] == pytest.approx(0.9 * 540 * np.array([[4, 5], [1, 2]]))


def test_what_is_booked_stays_on_its_day() -> None:
    who = a_van()
    other = a_van()
    for n in range(6):
        a_home(MONDAY + timedelta(days=9 + n), latitude=41.8 + n / 50)
    slot = a_home(MONDAY + timedelta(days=80))  # booked far too early
    day = MONDAY + timedelta(days=10)
    visit = VisitFactory(site=slot.system.site, state="scheduled", technician=other, day=day, minutes=30)
    VisitJobFactory(visit=visit, slot=slot)
    plan = worked_out()
    row = plan.trips.get(visit=visit)
    assert (row.week, row.day, row.technician) == (1, day, other)
    assert who.pk != other.pk
    assert Visit.objects.get().day == day


def test_windows_are_kept_where_hours_allow() -> None:
    a_van()
    homes(40, weeks=6)
    plan = worked_out(weeks=5)
    rows = list(plan.trips.all())
    assert len(rows) > 20
    assert all(row.day and row.first_day <= row.day <= row.last_day for row in rows)
    assert sum(row["late"] for row in plan.told) == 0


def test_a_week_of_holidays_has_nobody_and_its_homes_come_before_or_after() -> None:
    a_van()
    homes(40, weeks=6)
    monday = MONDAY + timedelta(weeks=1)
    AbsenceFactory(technician=None, first_day=monday, last_day=monday + timedelta(days=6))
    plan = worked_out(weeks=5)
    assert plan.told[1]["there_minutes"] == 0
    assert plan.told[1]["homes"] == 0
    assert not plan.trips.filter(day__range=(monday, monday + timedelta(days=6))).exists()
    assert not plan.trips.filter(day=None).exists()


def test_nobody_without_a_place_is_lost() -> None:
    a_van()
    homes(8, weeks=3)
    nowhere = a_home(MONDAY + timedelta(days=9), latitude=None, longitude=None).system.site
    skilled = a_home(MONDAY + timedelta(days=9)).system
    MaintenanceTaskFactory(system=skilled, due_on=MONDAY + timedelta(days=9), skill="gas")
    unsaid = a_home(MONDAY + timedelta(days=9))
    visit = VisitFactory(
        site=unsaid.system.site, state="scheduled", technician=a_van(), day=TODAY - timedelta(days=2)
    )
    VisitJobFactory(visit=visit, slot=unsaid)
    plan = worked_out()
    left = {row["site"]: (at, row["why"]) for at, told in enumerate(plan.told) for row in told["left"]}
    assert set(left) == {nowhere.pk, skilled.site_id, unsaid.system.site_id}
    assert "no position" in left[nowhere.pk][1]
    assert "skill" in left[skilled.site_id][1]
    assert "nobody said how it ended" in left[unsaid.system.site_id][1]
    # Told once, in the week that it was dealt to, although all later ones were tried.
    assert left[skilled.site_id][0] == plan.trips.get(site=skilled.site_id).week < 3
    assert sorted(plan.trips.values_list("site", flat=True)) == sorted(
        Site.objects.values_list("pk", flat=True)
    )
    assert set(plan.trips.filter(day=None).values_list("site", flat=True)) == set(left)


def test_what_one_week_has_no_hours_for_comes_in_a_later_one() -> None:
    """Twelve tasks of nearly four hours, due in one week: two fit a day, and one the day half held free."""
    a_van()
    for n in range(12):
        system = a_home(MONDAY + timedelta(days=6), latitude=41.87 + n / 1000).system
        MaintenanceTaskFactory(system=system, due_on=MONDAY + timedelta(days=6), minutes=190)
    plan = worked_out()
    weeks = sorted(plan.trips.exclude(day=None).values_list("week", flat=True))
    assert weeks == [0] * 9 + [1] * 3
    assert not any(row["left"] for row in plan.told)
    assert plan.told[1]["late"] == 3


def test_what_was_overdue_already_is_never_within_its_window(manager: Client) -> None:
    a_van()
    a_home(MONDAY - timedelta(days=40))
    a_home(MONDAY + timedelta(days=10))
    plan = worked_out()
    assert sum(row["late"] for row in plan.told) == sum(row["overdue"] for row in plan.told) == 1
    late = plan.trips.get(last_day=MONDAY - timedelta(days=40))
    said = manager.get(reverse("season-plan", args=[plan.pk]), {"week": late.week}).text
    assert "2 stops have their weeks: 1 overdue already, all others" in said
    assert "was to be done by 8 April 2026" in said


def test_what_full_rounds_held_is_the_room_of_their_week_at_the_next_asking() -> None:
    """Its rounds held three quarters of the hours and left some; the others held all they were dealt."""
    a_van()
    homes(12, weeks=3)
    first = gathered()
    told = [{"monday": f"{first.monday(at)}", "proved": {"": 0.75} if at == 1 else {}} for at in range(4)]
    before = SeasonPlanFactory(state="ready", weeks=4, told=told, first_day=MONDAY)
    SeasonTripFactory(plan=before, site=Site.objects.first(), week=0)
    season = gathered()
    assert season.proved[0, :3].tolist() == [1.0, 0.75, 1.0]
    later = gathered(first_day=MONDAY + timedelta(weeks=1))
    assert later.proved[0, :2].tolist() == [0.75, 1.0]


def test_without_technicians_every_home_is_told_to_be_without_a_place() -> None:
    homes(12, weeks=3)
    plan = worked_out()
    assert plan.state == "ready"
    assert sum(len(row["left"]) for row in plan.told) == plan.trips.filter(day=None).count() == 12
    assert all(row["there_minutes"] == row["homes"] == 0 for row in plan.told)


def test_without_homes_the_plan_is_empty_and_ready() -> None:
    a_van()
    plan = worked_out()
    assert plan.state == "ready"
    assert not plan.trips.exists()
    assert [row["there_minutes"] for row in plan.told] == [2700] * 4


def test_what_may_wait_past_the_season_does_not_crowd_its_last_week() -> None:
    a_van()
    for n in range(30):
        a_home(MONDAY + timedelta(days=7 * 4 + 10 + n % 3), latitude=41.8 + n / 200)
    plan = worked_out()
    assert plan.state == "ready"
    assert plan.trips.count() == 0
    assert (gathered().dealt.first == 3).all()


def test_the_plan_before_gives_each_home_its_week_by_the_calendar() -> None:
    a_van()
    slot = a_home(MONDAY + timedelta(days=30))
    before = SeasonPlanFactory(state="ready", first_day=MONDAY - timedelta(weeks=1))
    SeasonTripFactory(plan=before, site=slot.system.site, week=4)
    SeasonTripFactory(plan=before, site=a_home(MONDAY + timedelta(days=5)).system.site, week=0)
    # Neither a plan that failed nor one called off before it began knows anything.
    SeasonPlanFactory(state="failed")
    SeasonPlanFactory(state="stopped")
    season = gathered()
    told = {trip.site.pk: int(week) for trip, week in zip(season.trips, season.dealt.before, strict=True)}
    assert told.pop(slot.system.site_id) == 3
    assert set(told.values()) == {-1}
    assert CHURN_MINUTES > 0


def test_an_area_has_the_same_weeks_of_the_calendar_whichever_monday_begins() -> None:
    for period in (1, 2, 3):
        first = season_plan._phase(a_plan(), period)
        later = season_plan._phase(a_plan(first_day=MONDAY + timedelta(weeks=1)), period)
        for area in range(6):
            weeks = {week for week in range(1, 9) if (week - area - first) % period == 0}
            again = {week + 1 for week in range(8) if (week - area - later) % period == 0}
            assert weeks == again


def test_places_in_a_line_or_all_in_one_span_no_area() -> None:
    line = np.array([41.0, 41.1, 41.2])
    assert season_plan._area_m2(line, np.full(3, -87.0)) == 0.0
    assert season_plan._area_m2(np.full(5, 41.0), np.full(5, -87.0)) == 0.0
    box = season_plan._area_m2(np.array([0.0, 0.0, 0.1, 0.1]), np.array([0.0, 0.1, 0.0, 0.1]))
    assert box == pytest.approx(11_119.5**2, rel=1e-3)
    assert date(2026, 5, 18).weekday() == 0


def test_the_rounds_of_a_seasons_week_are_of_the_homes_dealt_to_it() -> None:
    """One dealt to the week, one to another, one that would be late after it whatever was dealt, and one that
    is late anyway and keeps its other week."""
    here, elsewhere, late = (a_home(MONDAY + timedelta(days=days)) for days in (20, 20, 5))
    long_late = a_home(TODAY - timedelta(days=30))
    season = SeasonPlanFactory(state="ready", first_day=MONDAY, weeks=4)
    for slot, week in ((here, 0), (elsewhere, 1), (late, 1), (long_late, 1)):
        SeasonTripFactory(plan=season, site=slot.system.site, week=week)
    sunday = MONDAY + timedelta(days=6)
    rounds_of = RoundPlan(first_day=MONDAY, last_day=sunday, season=season)
    told = {trip.site.pk: trip.window for trip in trips_for(rounds_of, TODAY)}
    assert set(told) == {here.system.site_id, late.system.site_id}
    assert told[here.system.site_id].last == sunday
    every = trips_for(RoundPlan(first_day=MONDAY, last_day=sunday), TODAY)
    slots = (here, elsewhere, late, long_late)
    assert {trip.site.pk for trip in every} == {slot.system.site_id for slot in slots}


def test_what_one_technician_alone_can_do_is_dealt_within_their_hours() -> None:
    a_van(skills=["gas"], weekdays=[0])
    a_van()
    for n in range(12):
        slot = a_home(MONDAY + timedelta(days=250), latitude=41.8 + n / 100)
        MaintenanceTaskFactory(
            system=slot.system, due_on=MONDAY + timedelta(days=13), skill="gas", minutes=60
        )
    season = gathered()
    hours = season.skilled.minutes[0] if season.skilled else []
    week = dealt_weeks(season)
    taken = [season.dealt.minutes[week == at].sum() for at in range(len(hours))]
    assert all(some <= most for some, most in zip(taken, hours, strict=True))
    alone = deal(season.dealt, season.hours, season.period, season.saving).week
    assert any(season.dealt.minutes[alone == at].sum() > most for at, most in enumerate(hours))


def test_what_is_held_free_is_left_by_the_rounds_too() -> None:
    """A week of five days of nine hours, a tenth held free: no round ends in its last 54 minutes."""
    a_van()
    for n in range(130):
        a_home(MONDAY + timedelta(days=6), latitude=41.87 + n / 500)
    plan = worked_out()
    full = plan.told[0]
    assert full["home_minutes"] + full["road_minutes"] <= 0.9 * 5 * 540
    assert full["there_minutes"] == 5 * 540
    assert full["homes"] < 130
    assert plan.trips.filter(week=1).count() == 130 - full["homes"]


def test_the_reserve_shuts_out_neither_late_homes_nor_long_work() -> None:
    a_van()
    late = a_home(MONDAY + timedelta(days=6)).system
    HomeHoursFactory(site=late.site, not_before=time(16))
    long = a_home(MONDAY + timedelta(days=6), latitude=41.88).system
    MaintenanceTaskFactory(system=long, due_on=MONDAY + timedelta(days=6), minutes=440)
    plan = worked_out()
    assert plan.trips.exclude(day=None).count() == 2
    assert not plan.told[0]["left"]


def test_what_is_overdue_may_go_on_any_day_of_the_first_weeks() -> None:
    """Twenty-five homes overdue by weeks, an hour each: one day would not hold them, the week does."""
    a_van()
    for n in range(25):
        system = a_home(TODAY - timedelta(days=30), latitude=41.87 + n / 1000).system
        MaintenanceTaskFactory(system=system, due_on=TODAY - timedelta(days=30), minutes=50)
    plan = worked_out()
    assert plan.trips.filter(week=0).exclude(day=None).count() == 25
    assert plan.trips.values("day").distinct().count() >= 4


def test_the_reserve_is_kept_whatever_the_shifts() -> None:
    """A tenth of a nine hours' week and of one hour on Wednesdays: of 46 hours 41.4 stay open."""
    a_van(weekdays=[0, 1, 2, 3, 4])
    a_van(weekdays=[2], day_starts=time(8), day_ends=time(9))
    asked = rounds.ask(RoundPlan(first_day=MONDAY, last_day=MONDAY + timedelta(days=6)), TODAY, [])
    for week in range(4):
        cut = season_routes._less_held(asked, 0.9, week)
        lengths = [shift.shift[1] - shift.shift[0] for shift in cut.problem.technicians]
        assert sum(lengths) == pytest.approx(0.9 * 46 * 3600, abs=10)
        assert all(
            2 * one >= shift.shift[1] - shift.shift[0]
            for one, shift in zip(lengths, asked.problem.technicians, strict=True)
        )
