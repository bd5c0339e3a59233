"""A day in order."""

from datetime import UTC, date, datetime, time, timedelta

import pytest

from equipment.models import Desk, Site
from schedules import routes, visits
from schedules.day_problem import NoStart, start_of
from schedules.models import Technician, Visit
from tests.factories import SiteFactory, TechnicianFactory, VisitFactory

pytestmark = pytest.mark.django_db
DAY = date(2026, 5, 13)
EVENING_BEFORE = datetime(2026, 5, 12, 23, tzinfo=UTC)


@pytest.fixture
def driver() -> Technician:
    return TechnicianFactory(start_latitude=41.0, start_longitude=-88.0, van_room=10)


def stop(driver: Technician, north: float | None, **more: object) -> Visit:
    """A visit due north of the start by ``north`` degrees."""
    site: Site = SiteFactory(latitude=None if north is None else 41.0 + north, longitude=-88.0)
    return VisitFactory(site=site, technician=driver, day=DAY, state=Visit.State.SCHEDULED, **more)


def test_stops_on_one_road_are_driven_out_and_back(driver: Technician) -> None:
    far, near, middle = (stop(driver, north) for north in (0.3, 0.1, 0.2))
    plan = routes.order_day(driver, DAY, EVENING_BEFORE)
    order = [visit.pk for visit in plan.visits]
    # Out and back along one road costs the same whichever way round, if no stop is passed twice.
    assert sorted(order) == sorted([near.pk, middle.pk, far.pk])
    out_and_back_m = 2 * 0.3 * 111_195 * 1.3
    assert plan.travel_m == pytest.approx(out_and_back_m, rel=0.002)


def test_times_are_stored_in_the_desks_day(driver: Technician) -> None:
    visit = stop(driver, 0.1, minutes=30)
    routes.order_day(driver, DAY, EVENING_BEFORE)
    visit.refresh_from_db()
    assert visit.stop_number == 1
    assert visit.arrive_at is not None
    assert visit.leave_at is not None
    # Eight in the morning in Chicago in summer is 13:00 UTC.
    assert visit.arrive_at >= datetime.fromisoformat("2026-05-13T13:00:00+00:00")
    assert (visit.leave_at - visit.arrive_at).total_seconds() == 1800


def test_an_agreed_hour_is_kept_on_the_day_the_clocks_change(driver: Technician) -> None:
    visit = stop(driver, 0.1, window_from=time(9), window_to=time(10))
    Visit.objects.update(day=date(2026, 3, 8))
    routes.order_day(driver, date(2026, 3, 8), EVENING_BEFORE - timedelta(days=66))
    visit.refresh_from_db()
    begin, end = (datetime.fromisoformat(f"2026-03-08T{hour}:00:00-05:00") for hour in ("09", "10"))
    assert visit.arrive_at is not None
    assert visit.leave_at is not None
    work_begins = visit.leave_at - timedelta(minutes=visit.minutes)
    assert begin <= work_begins <= end


def test_an_address_without_a_position_is_said_and_not_lost(driver: Technician) -> None:
    unplaced, placed = stop(driver, None), stop(driver, 0.1)
    plan = routes.order_day(driver, DAY, EVENING_BEFORE)
    assert plan.visits == [placed]
    assert [(visit, "no position" in why) for visit, why in plan.left_out] == [(unplaced, True)]
    assert Visit.objects.get(pk=unplaced.pk).state == Visit.State.SCHEDULED


def test_a_visit_whose_skill_is_missing_says_so(driver: Technician) -> None:
    visit = stop(driver, 0.1, skills=["refrigerant"])
    ((left, why),) = routes.order_day(driver, DAY, EVENING_BEFORE).left_out
    assert left == visit
    assert "refrigerant" in why


def test_more_work_than_the_day_holds_leaves_something_out(driver: Technician) -> None:
    for north in (0.1, 0.2, 0.3):
        stop(driver, north, minutes=200)
    plan = routes.order_day(driver, DAY, EVENING_BEFORE)
    assert (len(plan.visits), len(plan.left_out)) == (2, 1)
    left = plan.left_out[0][0]
    left.refresh_from_db()
    assert (left.stop_number, left.arrive_at) == (None, None)


def test_the_desk_is_the_start_where_the_technician_has_none(driver: Technician) -> None:
    driver.start_latitude = None
    with pytest.raises(NoStart):
        start_of(driver)
    Desk.objects.update(latitude=40.0, longitude=-87.0)
    assert start_of(driver) == (40.0, -87.0)


def test_an_empty_day_is_no_fault(driver: Technician) -> None:
    plan = routes.order_day(driver, DAY, EVENING_BEFORE)
    assert (plan.visits, plan.left_out, plan.travel_s) == ([], [], 0)


MORNING = datetime(2026, 5, 13, 14, 2, tzinfo=UTC)  # two past nine in Chicago


@pytest.mark.parametrize("times_given", [True, False])
def test_nothing_is_set_before_now_on_the_day_itself(driver: Technician, times_given: bool) -> None:
    visits = [stop(driver, north) for north in (0.1, 0.2)]
    if times_given:
        routes.order_day(driver, DAY, EVENING_BEFORE)
    routes.order_day(driver, DAY, MORNING)
    for visit in visits:
        visit.refresh_from_db()
        assert visit.arrive_at is not None
        assert visit.arrive_at > MORNING


def test_the_round_goes_on_from_the_last_home_visited_and_keeps_what_is_done(driver: Technician) -> None:
    done, left = stop(driver, 0.5, stop_number=1), stop(driver, 0.52)
    Visit.objects.filter(pk=done.pk).update(
        state=Visit.State.COMPLETED, arrive_at=EVENING_BEFORE, completed_at=MORNING - timedelta(minutes=5)
    )
    plan = routes.order_day(driver, DAY, MORNING)
    left.refresh_from_db()
    assert [visit.pk for visit in plan.visits] == [left.pk]
    assert left.stop_number == 2
    assert left.arrive_at is not None
    # Two hundredths of a degree on, and not half a degree from the start again.
    assert left.arrive_at - MORNING < timedelta(minutes=15)
    assert Visit.objects.get(pk=done.pk).arrive_at == EVENING_BEFORE


def test_a_visit_fitted_in_leaves_every_given_time(driver: Technician) -> None:
    visits = [stop(driver, north, minutes=60) for north in (0.1, 0.3)]
    routes.order_day(driver, DAY, EVENING_BEFORE)
    given = dict(Visit.objects.values_list("pk", "arrive_at"))
    fresh = stop(driver, 0.2)
    assert routes.fit_in(fresh, MORNING) == ""
    after = dict(Visit.objects.values_list("pk", "arrive_at"))
    still_to_come = [visit.pk for visit in visits if given[visit.pk] > MORNING]
    assert still_to_come
    assert {pk: after[pk] for pk in still_to_come} == {pk: given[pk] for pk in still_to_come}
    assert after[fresh.pk] is not None
    assert after[fresh.pk] > MORNING


def test_times_move_within_the_hours_told_where_no_gap_is_left(driver: Technician) -> None:
    told = stop(driver, 0.1, minutes=60, window_from=time(10), window_to=time(15))
    routes.order_day(driver, DAY, EVENING_BEFORE)
    # Given half past ten in Chicago; the newcomer takes ninety minutes from eleven at the latest.
    given = datetime(2026, 5, 13, 15, 30, tzinfo=UTC)
    Visit.objects.filter(pk=told.pk).update(arrive_at=given, leave_at=given + timedelta(minutes=60))
    fresh = stop(driver, 0.1, minutes=90, window_to=time(11))
    assert routes.fit_in(fresh, MORNING) == ""
    moved, placed = Visit.objects.get(pk=told.pk), Visit.objects.get(pk=fresh.pk)
    assert moved.leave_at is not None
    assert placed.leave_at is not None
    begins = {
        visit.pk: visit.leave_at - timedelta(minutes=visit.minutes)
        for visit in (moved, placed)
        if visit.leave_at
    }
    assert datetime(2026, 5, 13, 15, tzinfo=UTC) <= begins[moved.pk] <= datetime(2026, 5, 13, 20, tzinfo=UTC)
    assert begins[placed.pk] <= datetime(2026, 5, 13, 16, tzinfo=UTC)
    assert begins[moved.pk] >= placed.leave_at or begins[placed.pk] >= moved.leave_at


def test_a_visit_that_would_break_a_promise_names_the_home_and_moves_nobody(driver: Technician) -> None:
    long = stop(driver, 0.1, minutes=400, window_from=time(9, 20), window_to=time(9, 50))
    routes.order_day(driver, DAY, EVENING_BEFORE)
    given = Visit.objects.get(pk=long.pk).arrive_at
    fresh = stop(driver, 0.2, minutes=90)
    why = routes.fit_in(fresh, MORNING)
    assert why == f"It would break what was promised to {long.site.name}."
    assert Visit.objects.get(pk=long.pk).arrive_at == given
    assert Visit.objects.get(pk=fresh.pk).arrive_at is None


def test_an_unplaced_visit_of_today_moves_nobody(driver: Technician) -> None:
    near = stop(driver, 0.1)
    routes.order_day(driver, DAY, EVENING_BEFORE)
    given = Visit.objects.get(pk=near.pk).arrive_at
    assert "no position" in routes.fit_in(stop(driver, None), MORNING)
    assert Visit.objects.get(pk=near.pk).arrive_at == given


def test_after_the_technicians_hours_nothing_is_set_and_nothing_is_lost(driver: Technician) -> None:
    near = stop(driver, 0.1)
    routes.order_day(driver, DAY, EVENING_BEFORE)
    given = Visit.objects.get(pk=near.pk).arrive_at
    night = datetime(2026, 5, 14, 2, tzinfo=UTC)
    late = stop(driver, 0.2)
    assert [visit for visit, _why in routes.order_day(driver, DAY, night).left_out] == [late]
    assert "over" in routes.fit_in(late, night)
    assert Visit.objects.get(pk=near.pk).arrive_at == given


def test_a_visit_under_way_is_never_planned_again(driver: Technician) -> None:
    early = stop(driver, 0.1, minutes=30)
    routes.order_day(driver, DAY, EVENING_BEFORE)
    early.refresh_from_db()
    assert early.arrive_at is not None
    planned = early.arrive_at, early.leave_at
    # At the door a quarter of an hour before the time given.
    at_door = early.arrive_at - timedelta(minutes=15)
    visits.arrive(early, at_door)
    urgent = stop(driver, 0.1, minutes=20)
    assert routes.fit_in(urgent, at_door + timedelta(minutes=1)) == ""
    for visit in (early, urgent):
        visit.refresh_from_db()
    assert (early.arrive_at, early.leave_at) == planned
    assert urgent.arrive_at is not None
    # Next door: free at the arrival and the minutes of the stay, not at the time once given.
    assert at_door + timedelta(minutes=30) <= urgent.arrive_at <= at_door + timedelta(minutes=36)
