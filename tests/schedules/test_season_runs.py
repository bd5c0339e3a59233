"""Plans of a season: asked for, worked out week by week, stopped, given up, asked again."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.models import FilterSlot, Site
from schedules import season_routes, season_runs, tasks
from schedules.background_runs import NotPlannable, ask_to_stop, claim
from schedules.models import SeasonPlan, SeasonTrip
from schedules.season_runs import ask_for, next_monday, run_waiting
from tests.factories import (
    NOW,
    TODAY,
    AbsenceFactory,
    FilterSlotFactory,
    PlanFactory,
    SeasonPlanFactory,
    VisitFactory,
    VisitJobFactory,
)
from tests.schedules.season_homes import MONDAY, a_home, a_plan, a_van, homes, quick

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick")]
__all__ = ["quick"]


def worked_out(now: Any = NOW, **more: Any) -> SeasonPlan:
    plan = ask_for(a_plan(**more), now)
    assert run_waiting(now) == 1
    plan.refresh_from_db()
    return plan


def moved(plan: SeasonPlan) -> int:
    return sum(row["moved"] for row in plan.told)


def stayed(plan: SeasonPlan) -> int:
    return sum(row["stayed"] for row in plan.told)


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> Any:
    time_machine.move_to(NOW, tick=False)
    return time_machine


@pytest.mark.parametrize(
    ("more", "word"),
    [
        ({"first_day": MONDAY + timedelta(days=1)}, "Monday"),
        ({"first_day": MONDAY - timedelta(days=7)}, "Monday to come"),
        ({"first_day": MONDAY + timedelta(weeks=40)}, "half a year"),
        ({"weeks": 3}, "from 4 to 26 weeks"),
        ({"weeks": 27}, "from 4 to 26 weeks"),
        ({"seconds": 7}, "no time to search"),
    ],
)
def test_what_cannot_be_planned_is_refused_in_words(more: dict[str, Any], word: str) -> None:
    with pytest.raises(NotPlannable, match=word):
        ask_for(a_plan(**more), NOW)
    assert not SeasonPlan.objects.exists()


def test_one_season_at_a_time() -> None:
    plan = ask_for(a_plan(), NOW)
    with pytest.raises(NotPlannable, match="Another season"):
        ask_for(a_plan(), NOW)
    ask_to_stop(plan, NOW)
    plan.refresh_from_db()
    assert plan.state == "stopped"
    assert run_waiting(NOW) == 0
    ask_for(a_plan(), NOW)


def test_the_next_monday_is_never_today() -> None:
    assert [next_monday(MONDAY + timedelta(days=n)) for n in (-1, 0, 6)] == [
        MONDAY, MONDAY + timedelta(days=7), MONDAY + timedelta(days=7)
    ]  # fmt: skip


def test_a_season_is_worked_out_week_by_week() -> None:
    a_van()
    homes(24, weeks=6)
    plan = worked_out()
    assert (plan.state, plan.progress) == ("ready", 1.0)
    assert [row["done"] for row in plan.told] == [True] * 4
    assert [row["monday"] for row in plan.told] == [
        (MONDAY + timedelta(weeks=n)).isoformat() for n in range(4)
    ]
    rows = list(plan.trips.all())
    assert rows
    assert sum(row["homes"] for row in plan.told) == len(rows)
    for row in rows:
        monday = MONDAY + timedelta(weeks=row.week)
        assert row.day is not None
        assert monday <= row.day < monday + timedelta(days=7)
        assert row.first_day <= row.day <= row.last_day
    for week, told in enumerate(plan.told):
        mine = [row.minutes for row in rows if row.week == week]
        assert told["home_minutes"] == sum(mine)
        assert told["home_minutes"] + told["road_minutes"] <= told["there_minutes"] == 5 * 9 * 60


def test_asked_again_a_week_later_with_nothing_changed_hardly_anybody_moves(at_noon: Any) -> None:
    a_van()
    homes(60, weeks=9)
    first = worked_out(weeks=6)
    later = NOW + timedelta(weeks=1)
    at_noon.move_to(later, tick=False)
    # What the first week would have done is done.
    done = first.trips.filter(week=0).values_list("site")
    FilterSlot.objects.filter(system__site__in=done).delete()
    again = worked_out(later, first_day=MONDAY + timedelta(weeks=1), weeks=6)
    assert stayed(again) > 15
    assert moved(again) == 0
    befores = {row.site_id: row.week for row in first.trips.all()}
    for row in again.trips.exclude(before=None):
        assert row.week + 1 == befores[row.site_id]


def test_a_booked_visit_and_the_homes_next_trip_are_two() -> None:
    """Asked twice with nothing changed: each keeps its own week, and nobody is counted as moved."""
    who = a_van()
    homes(30, weeks=6)
    for site in list(Site.objects.all()[:10]):
        slot = FilterSlotFactory(system__site=site, changed_by="technician")
        PlanFactory(slot=slot, due_on=MONDAY + timedelta(days=6))
        visit = VisitFactory(site=site, technician=who, day=MONDAY + timedelta(days=1), state="scheduled")
        VisitJobFactory(visit=visit, slot=slot)
    first = worked_out(weeks=6)
    assert first.trips.filter(visit__isnull=False).count() == 10
    again = worked_out(weeks=6)
    assert (stayed(again), moved(again)) == (first.trips.count(), 0)
    for row in again.trips.filter(visit__isnull=False):
        assert (row.before, row.moved_from) == (MONDAY, None)


def test_one_new_customer_moves_few() -> None:
    a_van()
    homes(60, weeks=9)
    worked_out(weeks=6)
    a_home(MONDAY + timedelta(days=20), latitude=41.83, longitude=-87.7)
    again = worked_out(weeks=6)
    assert stayed(again) > 25
    assert moved(again) <= 2


def test_a_season_emptied_of_its_hours_moves_those_it_must() -> None:
    """The counter of moves can count: nobody works in the week that had most."""
    a_van()
    homes(60, weeks=9)
    first = worked_out(weeks=6)
    fullest = max(range(1, 5), key=lambda at: first.told[at]["homes"])
    monday = MONDAY + timedelta(weeks=fullest)
    AbsenceFactory(technician=None, first_day=monday, last_day=monday + timedelta(days=6))
    again = worked_out(weeks=6)
    assert again.told[fullest]["there_minutes"] == 0
    assert again.told[fullest]["moved"] == first.told[fullest]["homes"] > 0


def test_a_run_stopped_in_the_middle_keeps_the_weeks_done(monkeypatch: pytest.MonkeyPatch) -> None:
    a_van()
    homes(24, weeks=6)
    real = season_routes._one_week

    def stopping(season: Any, at: int, *rest: Any) -> Any:
        if at == 1:
            ask_to_stop(season.plan, NOW)
        return real(season, at, *rest)

    monkeypatch.setattr(season_routes, "_one_week", stopping)
    plan = worked_out()
    assert plan.state == "stopped"
    assert [row["done"] for row in plan.told] == [True, True, False, False]
    assert plan.trips.filter(week__lt=2, day=None).count() == 0
    assert plan.trips.filter(week__lt=2).exists()
    rest = plan.trips.filter(week__gte=2)
    assert rest.exists()
    assert not rest.exclude(day=None).exists()
    # The next plan still knows whom it dealt where.
    assert moved(worked_out()) == 0


def test_a_run_that_failed_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    a_van()
    homes(24, weeks=6)
    real = season_routes._one_week

    def breaking(season: Any, at: int, *rest: Any) -> Any:
        if at == 2:
            raise RuntimeError("the table is gone")
        return real(season, at, *rest)

    monkeypatch.setattr(season_routes, "_one_week", breaking)
    plan = ask_for(a_plan(), NOW)
    with pytest.raises(RuntimeError, match="gone"):
        run_waiting(NOW)
    plan.refresh_from_db()
    assert plan.state == "failed"
    assert plan.why == "RuntimeError: the table is gone"
    assert [row["done"] for row in plan.told] == [True, True, False, False]
    assert set(plan.trips.values_list("week", flat=True)) == {0, 1}


def test_two_workers_take_one_run_once(monkeypatch: pytest.MonkeyPatch) -> None:
    plan = ask_for(a_plan(), NOW)
    inner: list[int] = []
    real = season_runs.gather

    def gather(*rest: Any) -> Any:
        inner.append(run_waiting(NOW))
        return real(*rest)

    monkeypatch.setattr(season_runs, "gather", gather)
    assert tasks.work_out_seasons() == 1
    assert inner == [0]
    assert claim(SeasonPlan, NOW) is None
    plan.refresh_from_db()
    assert plan.state == "ready"


def test_a_run_whose_worker_was_lost_is_given_up_and_no_longer_written_to() -> None:
    young = SeasonPlanFactory(state="running", heard_at=NOW - timedelta(minutes=2))
    old = SeasonPlanFactory(state="running", heard_at=NOW - timedelta(minutes=4))
    assert run_waiting(NOW) == 0
    young.refresh_from_db()
    old.refresh_from_db()
    assert (young.state, old.state) == ("running", "failed")
    assert "worker was lost" in old.why


def test_a_run_given_up_meanwhile_writes_nothing_more(monkeypatch: pytest.MonkeyPatch) -> None:
    a_van()
    homes(24, weeks=6)
    real = season_routes._one_week

    def given_up(season: Any, at: int, *rest: Any) -> Any:
        if at == 1:
            SeasonPlan.objects.update(state="failed", why="lost")
        return real(season, at, *rest)

    monkeypatch.setattr(season_routes, "_one_week", given_up)
    plan = worked_out()
    assert (plan.state, plan.why) == ("failed", "lost")
    assert set(plan.trips.values_list("week", flat=True)) == {0}


def test_progress_is_told_and_never_falls(monkeypatch: pytest.MonkeyPatch) -> None:
    a_van()
    homes(12, weeks=5)
    told: list[float] = []
    real = season_routes.work_out

    def listening(season: Any, dealt: Any, seconds: float, tell: Any, today: Any) -> Any:
        def heard(share: float) -> bool:
            told.append(share)
            return bool(tell(share))

        return real(season, dealt, seconds, heard, today)

    monkeypatch.setattr(season_runs, "work_out", listening)
    worked_out()
    assert told == sorted(told)
    assert told[0] == 0.0
    assert told[-1] == 1.0


def test_queries_grow_with_the_weeks_and_not_with_the_homes() -> None:
    a_van()
    homes(8, weeks=5)
    counts = []
    for _again in range(2):
        SeasonPlan.objects.all().delete()
        with CaptureQueriesContext(connection) as caught:
            worked_out()
        counts.append(len(caught))
        homes(40, weeks=5)
    assert counts[1] <= counts[0] + 4
    assert SeasonTrip.objects.count() > 20
    assert TODAY < MONDAY


def test_the_season_is_asked_for_anew_once_a_week(now: datetime) -> None:
    assert season_runs.ask_again(now) is None
    first = SeasonPlanFactory(asked_at=now, weeks=8, seconds=5, state="ready")
    assert season_runs.ask_again(now + timedelta(days=6)) is None
    again = season_runs.ask_again(now + timedelta(days=7))
    assert again is not None
    assert (again.weeks, again.seconds, again.first_day.weekday()) == (first.weeks, first.seconds, 0)
    assert season_runs.ask_again(now + timedelta(days=30)) is None  # one is waiting
