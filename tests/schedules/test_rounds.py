"""Several days' rounds: windows from due days, who works when, what is held, and taking the plan over."""

from datetime import date, datetime, time, timedelta
from typing import Any

import pytest

from equipment.models import FilterSlot, Site, User, WeatherDay
from schedules import background_runs
from schedules.background_runs import NotPlannable, Watched, ask_to_stop
from schedules.models import MaintenanceTask, Policy, RoundPlan, Technician, Visit
from schedules.outdoors import Outdoors
from schedules.planning.routing import Iterations, Problem, Stop, check, solve
from schedules.planning.routing import Technician as Shift
from schedules.planning.windows import DueWindow, due_window, joined, worth_of_serving
from schedules.proposal import proposal_of
from schedules.round_changes import changed_since
from schedules.round_files import geojson, gpx
from schedules.round_runs import ask_for, run_waiting, take_over
from schedules.rounds import Asked, ask
from schedules.why_here import Detours
from shared import clock
from tests.factories import (
    NOW,
    TODAY,
    AbsenceFactory,
    DepotFactory,
    FilterSlotFactory,
    HomeHoursFactory,
    MaintenanceTaskFactory,
    PlanFactory,
    RoundPlanFactory,
    SiteFactory,
    StationFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db
FIRST, LAST = TODAY + timedelta(days=1), TODAY + timedelta(days=10)


def a_home(due: date, **place: Any) -> FilterSlot:
    """A home with one filter that a technician changes, put in ninety days before it is due."""
    site = SiteFactory(**{"latitude": 41.9, "longitude": -87.8} | place)
    slot: FilterSlot = FilterSlotFactory(system=SystemFactory(site=site), changed_by="technician")
    PlanFactory(slot=slot, due_on=due, life_began_on=due - timedelta(days=90))
    return slot


@pytest.fixture
def technician(db: None) -> Technician:
    who: Technician = TechnicianFactory(start_latitude=41.88, start_longitude=-87.75)
    return who


def planned(**more: Any) -> tuple[Asked, dict[str, Any]]:
    plan = RoundPlanFactory(**{"first_day": FIRST, "last_day": LAST} | more)
    asked = ask(plan, TODAY)
    solution = solve(asked.problem, Iterations(50), seed=1)
    assert check(asked.problem, solution) == []
    return asked, proposal_of(plan, asked, solution)


def stops(proposal: dict[str, Any]) -> dict[int, tuple[str, str]]:
    """Day and arrival by site."""
    return {stop["site"]: (day["day"], stop["arrive"]) for day in proposal["days"] for stop in day["stops"]}


def test_a_window_gives_away_no_more_than_a_seventh_of_a_filters_time() -> None:
    due = TODAY + timedelta(days=40)
    assert due_window(TODAY, due - timedelta(days=100), due) == DueWindow(due - timedelta(days=15), due)
    assert due_window(TODAY, None, due).first == due - timedelta(days=7)
    assert due_window(TODAY, None, TODAY - timedelta(days=30)) == DueWindow(TODAY, TODAY + timedelta(days=7))
    soon = TODAY + timedelta(days=2)
    assert due_window(TODAY, TODAY - timedelta(days=90), soon) == DueWindow(TODAY, soon)


def test_jobs_that_share_a_trip_are_done_when_all_are_ripe_or_before_the_first_is_late() -> None:
    day = [TODAY + timedelta(days=n) for n in range(30)]
    assert joined([DueWindow(day[1], day[9]), DueWindow(day[4], day[20])]) == DueWindow(day[4], day[9])
    assert joined([DueWindow(day[1], day[3]), DueWindow(day[8], day[20])]) == DueWindow(day[1], day[3])
    with pytest.raises(ValueError, match="no window"):
        joined([])


def test_what_may_wait_is_worth_the_more_the_less_of_its_window_is_left() -> None:
    window = DueWindow(TODAY, TODAY + timedelta(days=9))
    assert worth_of_serving(window, TODAY + timedelta(days=4), 2400) == 1200
    assert worth_of_serving(window, TODAY - timedelta(days=1), 2400) == 0
    assert worth_of_serving(window, TODAY + timedelta(days=30), 2400) == 2400


def test_every_home_is_visited_within_its_window(technician: Technician) -> None:
    dues = [TODAY + timedelta(days=n) for n in (-5, 2, 4, 6, 9, 12)]
    slots = [a_home(due, latitude=41.9 + n / 200) for n, due in enumerate(dues)]
    asked, proposal = planned()
    days = stops(proposal)
    assert not [row for row in proposal["left"] if row["must"]]
    for slot in slots[:5]:
        window = asked.trips[f"home-{slot.system.site_id}"].window
        assert window.first.isoformat() <= days[slot.system.site_id][0] <= window.last.isoformat()


def test_a_later_job_of_the_home_does_not_shrink_the_urgent_one_s_window_to_a_sunday(
    technician: Technician,
) -> None:
    slot = a_home(date(2026, 5, 24))  # a Sunday, two days after the plan's last
    later = FilterSlotFactory(system=slot.system, changed_by="technician")
    PlanFactory(slot=later, due_on=date(2026, 6, 20), life_began_on=date(2026, 4, 20))
    _asked, proposal = planned()
    assert slot.system.site_id in stops(proposal)


def test_nobody_drives_on_days_off_leave_and_weekends(technician: Technician) -> None:
    AbsenceFactory(technician=technician, first_day=FIRST, last_day=FIRST)
    AbsenceFactory(first_day=date(2026, 5, 15), last_day=date(2026, 5, 18))
    AbsenceFactory(first_day=date(2026, 5, 20), last_day=date(2026, 5, 20), withdrawn_at=NOW)
    asked, _proposal = planned()
    assert sorted(van.day for van in asked.vans.values()) == [
        date(2026, 5, day) for day in (14, 19, 20, 21, 22)
    ]


def test_a_van_starts_at_home_else_at_its_depot_else_it_is_left_out_and_named(technician: Technician) -> None:
    depot = DepotFactory(latitude=42.0, longitude=-88.0)
    branch = TechnicianFactory(start_latitude=None, start_longitude=None, depot=depot)
    nowhere = TechnicianFactory(start_latitude=None, start_longitude=None)
    asked, proposal = planned()
    assert proposal["no_start"] == [nowhere.name]
    nodes = {who.id: asked.places[who.node] for who in asked.problem.technicians}
    assert {place for key, place in nodes.items() if key.startswith(f"{branch.pk}:")} == {(42.0, -88.0)}


def test_a_home_s_own_days_hours_and_people_are_kept(technician: Technician) -> None:
    other = TechnicianFactory(start_latitude=41.88, start_longitude=-87.75)
    slot = a_home(TODAY + timedelta(days=9))
    hours = HomeHoursFactory(site=slot.system.site, weekdays=[3], not_before=time(13), not_after=time(15))
    hours.not_by.add(technician)
    _asked, proposal = planned()
    (day,) = proposal["days"]
    assert day["technician"] == other.pk
    assert date.fromisoformat(day["day"]).weekday() == 3
    assert "13:00:00" <= day["stops"][0]["arrive"] <= "15:00:00"


def test_a_home_whose_days_suit_nobody_is_left_with_the_reason(technician: Technician) -> None:
    slot = a_home(TODAY + timedelta(days=5))
    HomeHoursFactory(site=slot.system.site, weekdays=[6])
    a_home(TODAY + timedelta(days=5), latitude=None, longitude=None)
    _asked, proposal = planned()
    assert {row["why"] for row in proposal["left"]} == {
        "No day of its window suits both the home and those who could come.",
        "The address has no position yet.",
    }


def booked(technician: Technician, day: date, **more: Any) -> Visit:
    slot = a_home(TODAY + timedelta(days=9), latitude=41.95)
    visit: Visit = VisitFactory(
        site=slot.system.site, technician=technician, day=day, state=Visit.State.SCHEDULED, **more
    )
    VisitJobFactory(visit=visit, slot=slot)
    return visit


def test_a_booked_visit_stays_on_its_day_unless_it_may_move(technician: Technician) -> None:
    visit = booked(technician, date(2026, 5, 14))
    near = [a_home(date(2026, 5, 21), latitude=41.95 + n / 1000) for n in range(3)]
    for slot in near:
        HomeHoursFactory(site=slot.system.site, weekdays=[3], not_before=time(8))  # Thursdays: 14 and 21 May
    _asked, proposal = planned()
    assert stops(proposal)[visit.site_id][0] == "2026-05-14"
    VisitFactory(site=SiteFactory(), state=Visit.State.CANCELLED)
    visit.pinned = True
    visit.save()
    _asked, again = planned(may_move=True)
    assert stops(again)[visit.site_id][0] == "2026-05-14"


def test_a_visit_that_may_move_says_where_it_was(technician: Technician) -> None:
    visit = booked(technician, date(2026, 5, 14))
    HomeHoursFactory(site=visit.site, weekdays=[4])  # Fridays only: the booked Thursday does not suit
    _asked, proposal = planned(may_move=True)
    (stop,) = [stop for day in proposal["days"] for stop in day["stops"]]
    assert stop["change"] == "moved"
    assert stop["was"] == f"was 14 May 2026, {technician.name}"


def test_a_booking_on_a_day_of_leave_is_named(technician: Technician) -> None:
    booked(technician, date(2026, 5, 14))
    AbsenceFactory(technician=technician, first_day=date(2026, 5, 14), last_day=date(2026, 5, 14))
    _asked, proposal = planned()
    (row,) = proposal["left"]
    assert f"{technician.name} does not work then" in row["why"]


def test_hours_agreed_with_a_home_are_kept(technician: Technician) -> None:
    visit = booked(technician, date(2026, 5, 14), window_from=time(15), window_to=time(16))
    _asked, proposal = planned()
    assert "15:00:00" <= stops(proposal)[visit.site_id][1] <= "16:00:00"


@pytest.mark.parametrize(
    ("first", "last", "why"),
    [
        (TODAY, LAST, "tomorrow"),
        (LAST, FIRST, "three weeks"),
        (FIRST, TODAY + timedelta(days=40), "three weeks"),
    ],
)
def test_days_that_cannot_be_planned_are_refused(first: date, last: date, why: str) -> None:
    with pytest.raises(NotPlannable, match=why):
        ask_for(RoundPlan(first_day=first, last_day=last), NOW)


def test_one_plan_at_a_time_and_a_waiting_one_is_called_off_at_once() -> None:
    plan = ask_for(RoundPlan(first_day=FIRST, last_day=LAST), NOW)
    with pytest.raises(NotPlannable, match="Another plan"):
        ask_for(RoundPlan(first_day=FIRST, last_day=LAST), NOW)
    ask_to_stop(plan, NOW)
    plan.refresh_from_db()
    assert plan.state == RoundPlan.State.STOPPED
    assert run_waiting(NOW) == 0


def test_the_search_tells_how_far_it_is_and_ends_when_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(background_runs, "_TELL_EVERY_S", 0.0)
    told: list[float] = []

    def tell(share: float) -> bool:
        told.append(share)
        return len(told) == 3

    rule = Watched(3600.0, tell)
    test = rule.criterion()
    while not test(1.0):
        pass
    assert rule.stopped
    assert len(told) == 3
    assert all(0 <= share < 0.1 for share in told)


def test_a_plan_is_worked_out_looked_at_and_taken_over(
    technician: Technician, manager_user: User, time_machine: Any
) -> None:
    time_machine.move_to(NOW)
    slots = [a_home(TODAY + timedelta(days=n), latitude=41.9 + n / 300) for n in (2, 3, 5, 8)]
    waits = VisitFactory(site=a_home(TODAY + timedelta(days=6)).system.site, state=Visit.State.DUE)
    VisitJobFactory(visit=waits, slot=FilterSlot.objects.get(system__site=waits.site))
    plan = ask_for(RoundPlan(first_day=FIRST, last_day=LAST, seconds=10), NOW)
    assert run_waiting(NOW) == 1
    plan.refresh_from_db()
    assert plan.state == RoundPlan.State.READY
    assert plan.progress == 1.0
    taken = take_over(plan, manager_user, NOW)
    assert (taken.booked, taken.moved, taken.refused) == (5, 0, [])
    rows = Visit.objects.filter(state=Visit.State.SCHEDULED)
    assert {row.site_id for row in rows} == {slot.system.site_id for slot in slots} | {waits.site_id}
    assert all(row.arrive_at and row.leave_at and row.stop_number for row in rows)
    with pytest.raises(NotPlannable, match="already"):
        take_over(plan, manager_user, NOW)


def test_what_has_changed_since_is_left_and_named(
    technician: Technician, manager_user: User, time_machine: Any
) -> None:
    time_machine.move_to(NOW)
    slot = a_home(TODAY + timedelta(days=3))
    plan = ask_for(RoundPlan(first_day=FIRST, last_day=LAST, seconds=10), NOW)
    run_waiting(NOW)
    plan.refresh_from_db()
    VisitJobFactory(visit=VisitFactory(site=slot.system.site, state=Visit.State.DUE), slot=slot)
    taken = take_over(plan, manager_user, NOW)
    assert taken.booked == 0
    assert "It was booked since" in taken.refused[0][1]


def test_a_run_whose_worker_was_lost_is_given_up() -> None:
    plan = RoundPlanFactory(state="running", heard_at=NOW - timedelta(minutes=10))
    run_waiting(NOW)
    plan.refresh_from_db()
    assert plan.state == RoundPlan.State.FAILED
    assert "worker was lost" in plan.why


def test_times_are_the_wall_clock_s_over_the_day_the_clocks_change(
    technician: Technician, manager_user: User, time_machine: Any
) -> None:
    now = datetime.fromisoformat("2026-10-30T15:00:00+00:00")
    time_machine.move_to(now)
    Technician.objects.update(weekdays=[6])  # Sunday 1 November: the clocks go back in Chicago
    slot = a_home(date(2026, 11, 1))
    HomeHoursFactory(site=slot.system.site, not_before=time(10), not_after=time(10, 1))
    first = date(2026, 10, 31)
    plan = ask_for(RoundPlan(first_day=first, last_day=first + timedelta(days=2), seconds=10), now)
    run_waiting(now)
    plan.refresh_from_db()
    take_over(plan, manager_user, now)
    visit = Visit.objects.get()
    assert visit.day == date(2026, 11, 1)
    assert visit.arrive_at == datetime.fromisoformat("2026-11-01T16:00:00+00:00")  # 10:00, six hours behind


def test_the_rounds_leave_as_open_files(technician: Technician, home: Site) -> None:
    slot = a_home(TODAY + timedelta(days=3), street="4 Ash & Oak <Lane>")
    _asked, proposal = planned()
    assert '"LineString"' in geojson(proposal)
    assert f"[{slot.system.site.longitude}, {slot.system.site.latitude}]" in geojson(proposal)
    text = gpx(proposal, clock.zone("America/Chicago")).decode()
    first = proposal["days"][0]
    local = datetime.combine(date.fromisoformat(first["day"]), time.fromisoformat(first["depart"]))
    assert f"<time>{(local + timedelta(hours=5)).isoformat()}Z</time>" in text  # summer time in Chicago
    assert "<rtept" in text
    assert "4 Ash &amp; Oak &lt;Lane&gt;" in text


def test_what_nobody_booked_before_the_plan_begins_is_in_it_and_said_to_be_late(
    technician: Technician,
) -> None:
    slot = a_home(TODAY + timedelta(days=3))
    first = TODAY + timedelta(days=20)
    _asked, proposal = planned(first_day=first, last_day=first + timedelta(days=4))
    assert stops(proposal)[slot.system.site_id][0] <= (first + timedelta(days=7)).isoformat()
    (why,) = [stop["why"] for day in proposal["days"] for stop in day["stops"]]
    assert "It was to be done by" in why


def test_a_window_without_a_day_that_suits_opens_the_nearest(technician: Technician) -> None:
    slot = a_home(date(2026, 5, 14))
    HomeHoursFactory(site=slot.system.site, weekdays=[4])  # due on a Thursday, home on Fridays
    _asked, proposal = planned(last_day=date(2026, 5, 14))
    assert [row["why"] for row in proposal["left"]]  # the plan holds no Friday
    _asked, proposal = planned()
    assert stops(proposal)[slot.system.site_id][0] == "2026-05-15"
    assert "the first after it" in proposal["days"][0]["stops"][0]["why"]


def test_a_home_that_asked_for_somebody_is_visited_though_its_filter_is_not_ripe(
    technician: Technician,
) -> None:
    slot = a_home(TODAY + timedelta(days=60))
    visit = VisitFactory(site=slot.system.site, state="due")
    VisitJobFactory(visit=visit, slot=slot)
    _asked, proposal = planned()
    assert stops(proposal)[slot.system.site_id][0] == LAST.isoformat()  # as late as the plan allows


@pytest.mark.parametrize(("latitude", "days"), [(41.885, 2), (42.3, 1)])
def test_a_booked_visit_moves_only_where_that_saves_a_quarter_of_an_hour(
    technician: Technician, latitude: float, days: int
) -> None:
    for day in (FIRST, FIRST + timedelta(days=1)):
        slot = a_home(LAST, latitude=latitude, longitude=-87.751)
        visit = VisitFactory(site=slot.system.site, state="scheduled", technician=technician, day=day)
        VisitJobFactory(visit=visit, slot=slot)
    _asked, proposal = planned(may_move=True)
    assert len(proposal["days"]) == days


def test_each_stop_says_what_it_adds_here_and_elsewhere(technician: Technician) -> None:
    for n in range(3):
        a_home(TODAY + timedelta(days=9), latitude=41.9 + n / 50)
    _asked, proposal = planned()
    reasons = [stop["why"] for day in proposal["days"] for stop in day["stops"]]
    assert all("min of driving here" in why or "last day" in why for why in reasons)


def a_cooling_check(least_c: float | None, due: date) -> Site:
    """A home at 42 degrees north whose cooling check is due, with a station that knows last year."""
    slot = a_home(due + timedelta(days=200))
    site = slot.system.site
    station = StationFactory(latitude=42.0)
    # Last May warms from 8 to 17 degrees C.
    WeatherDay.objects.bulk_create(
        WeatherDay(station=station, day=date(2025, 5, 1) + timedelta(days=at), mean_temp_c=8 + 0.3 * at)
        for at in range(31)
    )
    Site.objects.filter(pk=site.pk).update(station=station)
    MaintenanceTaskFactory(
        system=slot.system, name="check of the cooling", due_on=due, least_outdoors_c=least_c,
        last_done_on=due - timedelta(days=365),
    )  # fmt: skip
    return site


@pytest.mark.parametrize(("least_c", "served"), [(None, True), (5.0, True), (30.0, False)])
def test_a_cooling_check_waits_for_warm_days(
    technician: Technician, least_c: float | None, served: bool
) -> None:
    a_cooling_check(least_c, FIRST + timedelta(days=5))
    plan = RoundPlanFactory(first_day=FIRST, last_day=LAST)
    asked = ask(plan, TODAY)
    solution = solve(asked.problem, Iterations(100), seed=1)
    told = proposal_of(plan, asked, solution)
    assert bool(told["days"]) is served
    whys = [row["why"] for row in told["left"]]
    assert (
        any("too cold outdoors on these days for: check of the cooling" in why for why in whys) is not served
    )


def test_the_first_days_of_a_window_are_closed_while_they_are_cold() -> None:
    site = a_cooling_check(13.0, FIRST)
    tasks = list(MaintenanceTask.objects.all())
    days = [date(2026, 5, 1) + timedelta(days=at) for at in range(60)]
    cold = Outdoors(date(2026, 5, 1)).too_cold(Site.objects.get(pk=site.pk), tasks, days)
    assert days[0] in cold
    assert days[-1] not in cold
    # Closed from the beginning on, without holes.
    assert sorted(cold) == days[: len(cold)]


def test_a_home_without_a_station_has_the_climate_of_its_latitude() -> None:
    north, south = (SiteFactory(latitude=at, longitude=-90.0) for at in (60.0, 26.0))
    task, days = MaintenanceTaskFactory(least_outdoors_c=13.0), [date(2026, 3, 15)]
    outdoors = Outdoors(TODAY)
    assert outdoors.too_cold(north, [task], days) == {days[0]}
    assert outdoors.too_cold(south, [task], days) == frozenset()


def test_a_home_too_far_for_any_day_is_asked_about_by_its_position(technician: Technician) -> None:
    near, far = a_home(TODAY), a_home(TODAY, latitude=64.8, longitude=-147.7)
    _asked, proposal = planned()
    assert list(stops(proposal)) == [near.system.site_id]
    (left,) = proposal["left"]
    assert left["site"] == far.system.site_id
    # Chicago to Fairbanks is some 4,500 km by the great circle.
    assert "km from the nearest start: is its position right?" in left["why"]


def test_a_booking_that_may_move_is_not_moved_before_its_household_can_be_told(
    technician: Technician,
) -> None:
    """Two homes side by side: the one booked later does not join the one of tomorrow, as nobody knows yet."""
    Policy.objects.filter(pk=Policy.the().pk).update(visit_notice_days=4)
    for day in (FIRST, LAST):
        slot = a_home(LAST, latitude=42.3, longitude=-87.751)
        visit = VisitFactory(site=slot.system.site, state="scheduled", technician=technician, day=day)
        VisitJobFactory(visit=visit, slot=slot)
    _asked, proposal = planned(may_move=True)
    days = {day["day"] for day in proposal["days"]}
    assert FIRST.isoformat() not in days or len(days) == 2
    assert all(day in (FIRST.isoformat(),) or day >= "2026-05-16" for day in days)


def test_who_was_booked_meanwhile_shares_the_day_in_order(
    technician: Technician, manager_user: User, time_machine: Any
) -> None:
    time_machine.move_to(NOW)
    a_home(TODAY)
    plan = ask_for(RoundPlan(first_day=FIRST, last_day=LAST, seconds=10), NOW)
    run_waiting(NOW)
    plan.refresh_from_db()
    day = date.fromisoformat(plan.proposal["days"][0]["day"])
    other = a_home(LAST, latitude=42.1)
    VisitFactory(site=other.system.site, technician=technician, day=day, state="scheduled", minutes=30)
    (named,) = changed_since(plan)
    assert "the day is put in order anew with it" in named[1]
    take_over(plan, manager_user, NOW)
    visits = list(Visit.objects.filter(day=day).order_by("stop_number"))
    assert [visit.stop_number for visit in visits] == [1, 2]
    assert all(visit.arrive_at and visit.leave_at for visit in visits)
    assert visits[0].leave_at < visits[1].arrive_at  # type: ignore[operator]


def test_a_way_that_is_missing_is_no_figure() -> None:
    """From the depot past a, b and c; no way leads from a to c but by b."""
    ways = (
        (0, 600, 600, 600), (600, 0, 300, None), (600, 300, 0, 300), (600, None, 300, 0),
    )  # fmt: skip
    who = Shift("1:2026-05-13", 0, (28_800, 61_200))
    problem = Problem(
        (who,), tuple(Stop(name, at, 600) for at, name in enumerate("abc", start=1)), ways, ways
    )
    solution = solve(problem, Iterations(50), seed=1)
    (route,) = solution.routes
    at = [visit.id for visit in route.visits].index("b")
    assert at == 1
    assert Detours(problem, solution).here(who.id, "b").driving_s == 600
