"""A day in order."""

from datetime import date, datetime, time, timedelta

import pytest

from equipment.models import Desk, Site
from schedules import routes
from schedules.models import Technician, Visit
from tests.factories import SiteFactory, TechnicianFactory, VisitFactory

pytestmark = pytest.mark.django_db
DAY = date(2026, 5, 13)


@pytest.fixture
def driver() -> Technician:
    return TechnicianFactory(start_latitude=41.0, start_longitude=-88.0, van_room=10)


def stop(driver: Technician, north: float | None, **more: object) -> Visit:
    """A visit due north of the start by ``north`` degrees."""
    site: Site = SiteFactory(latitude=None if north is None else 41.0 + north, longitude=-88.0)
    return VisitFactory(site=site, technician=driver, day=DAY, state=Visit.State.SCHEDULED, **more)


def test_stops_on_one_road_are_driven_out_and_back(driver: Technician) -> None:
    far, near, middle = (stop(driver, north) for north in (0.3, 0.1, 0.2))
    plan = routes.order_day(driver, DAY)
    order = [visit.pk for visit in plan.visits]
    # Out and back along one road costs the same whichever way round, if no stop is passed twice.
    assert sorted(order) == sorted([near.pk, middle.pk, far.pk])
    out_and_back_m = 2 * 0.3 * 111_195 * 1.3
    assert plan.travel_m == pytest.approx(out_and_back_m, rel=0.002)


def test_times_are_stored_in_the_desks_day(driver: Technician) -> None:
    visit = stop(driver, 0.1, minutes=30)
    routes.order_day(driver, DAY)
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
    routes.order_day(driver, date(2026, 3, 8))
    visit.refresh_from_db()
    begin, end = (datetime.fromisoformat(f"2026-03-08T{hour}:00:00-05:00") for hour in ("09", "10"))
    assert visit.arrive_at is not None
    assert visit.leave_at is not None
    work_begins = visit.leave_at - timedelta(minutes=visit.minutes)
    assert begin <= work_begins <= end


def test_an_address_without_a_position_is_said_and_not_lost(driver: Technician) -> None:
    unplaced, placed = stop(driver, None), stop(driver, 0.1)
    plan = routes.order_day(driver, DAY)
    assert plan.visits == [placed]
    assert [(visit, "no position" in why) for visit, why in plan.left_out] == [(unplaced, True)]
    assert Visit.objects.get(pk=unplaced.pk).state == Visit.State.SCHEDULED


def test_a_visit_whose_skill_is_missing_says_so(driver: Technician) -> None:
    visit = stop(driver, 0.1, skills=["refrigerant"])
    ((left, why),) = routes.order_day(driver, DAY).left_out
    assert left == visit
    assert "refrigerant" in why


def test_more_work_than_the_day_holds_leaves_something_out(driver: Technician) -> None:
    for north in (0.1, 0.2, 0.3):
        stop(driver, north, minutes=200)
    plan = routes.order_day(driver, DAY)
    assert (len(plan.visits), len(plan.left_out)) == (2, 1)
    left = plan.left_out[0][0]
    left.refresh_from_db()
    assert (left.stop_number, left.arrive_at) == (None, None)


def test_the_desk_is_the_start_where_the_technician_has_none(driver: Technician) -> None:
    driver.start_latitude = None
    with pytest.raises(routes.NoStart):
        routes.start_of(driver)
    Desk.objects.update(latitude=40.0, longitude=-87.0)
    assert routes.start_of(driver) == (40.0, -87.0)


def test_an_empty_day_is_no_fault(driver: Technician) -> None:
    plan = routes.order_day(driver, DAY)
    assert (plan.visits, plan.left_out, plan.travel_s) == ([], [], 0)
