"""Plans, orders and emergencies keep what households were promised, or say whose promise breaks."""

import random
from datetime import date, datetime, time, timedelta
from typing import Any

import pytest

from equipment.models import Desk, User
from schedules import visits
from schedules.models import RoundPlan, Technician, Visit
from schedules.planning.routing import Iterations, Problem, Stop, check, solve
from schedules.planning.routing import Technician as Shift
from schedules.proposal import proposal_of
from schedules.round_changes import changed_since
from schedules.round_runs import take_over
from schedules.rounds import ask
from schedules.routes import fit_in, order_day
from schedules.views.rounds import title
from schedules.visit_promises import promise_of, still_true
from tests.factories import (
    NOW,
    TODAY,
    AbsenceFactory,
    HomeHoursFactory,
    NoticeFactory,
    OfferedTimeFactory,
    RoundPlanFactory,
    SiteFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)
from tests.schedules.test_rounds import a_home

pytestmark = pytest.mark.django_db
FIRST, LAST = TODAY + timedelta(days=1), TODAY + timedelta(days=10)


@pytest.fixture
def technician(db: None) -> Technician:
    who: Technician = TechnicianFactory(start_latitude=41.88, start_longitude=-87.75)
    return who


def a_plan(**more: Any) -> RoundPlan:
    """A plan worked out and ready to be taken over."""
    plan: RoundPlan = RoundPlanFactory(**{"first_day": FIRST, "last_day": LAST, "seconds": 10} | more)
    asked = ask(plan, TODAY)
    solution = solve(asked.problem, Iterations(50), seed=1)
    assert check(asked.problem, solution) == []
    plan.proposal, plan.state = proposal_of(plan, asked, solution), RoundPlan.State.READY
    plan.save()
    return plan


def booked(technician: Technician, latitude: float = 41.9, **more: Any) -> Visit:
    site = SiteFactory(latitude=latitude, longitude=-87.8)
    told = {"site": site, "technician": technician, "day": FIRST, "state": "scheduled", "minutes": 60}
    visit: Visit = VisitFactory(**told | more)
    return visit


def tell(visit: Visit) -> None:
    NoticeFactory(visit=visit, kind="visit", state="sent", sent_at=NOW, said=promise_of(visit).as_json())


def left(plan: RoundPlan) -> dict[int | None, dict[str, Any]]:
    return {row["visit"]: row for row in plan.proposal["left"]}


def test_a_confirmed_visit_outranks_two_that_wait(technician: Technician) -> None:
    firm = booked(technician, state="confirmed", minutes=500, pinned=True)
    for n in range(2):
        slot = a_home(TODAY - timedelta(days=20), latitude=41.9 + n / 100)
        VisitJobFactory(visit=VisitFactory(site=slot.system.site, state="due", minutes=200), slot=slot)
    plan = a_plan(last_day=FIRST)
    (stop,) = plan.proposal["days"][0]["stops"]
    assert stop["visit"] == firm.pk
    assert "2 homes that must be served find no place" in title(plan)


@pytest.mark.parametrize("stops", [3, 12])
def test_a_firm_must_is_served_before_others(stops: int) -> None:
    """One of six hours against many of one: exact for few stops, searched for many."""
    ways = tuple(tuple(300 * (a != b) for b in range(stops + 1)) for a in range(stops + 1))
    firm = Stop("firm", 1, 7 * 3600, ((28_800, 30_000),), firm=True)
    rest = tuple(Stop(f"s{n}", n, 3 * 3600) for n in range(2, stops + 1))
    problem = Problem((Shift("a", 0, (28_800, 61_200)),), (firm, *rest), ways, ways)
    solution = solve(problem, Iterations(1500), seed=1)
    assert [visit.id for route in solution.routes for visit in route.visits] == ["firm"]


def test_what_cannot_be_kept_is_in_the_heading(technician: Technician) -> None:
    away, without = a_home(TODAY + timedelta(days=60)), a_home(TODAY + timedelta(days=60))
    kept = VisitFactory(site=away.system.site, technician=technician, day=FIRST, state="confirmed")
    VisitJobFactory(visit=kept, slot=away)
    wanted = VisitFactory(site=without.system.site, state="due", skills=["magic"])
    VisitJobFactory(visit=wanted, slot=without)
    AbsenceFactory(technician=technician, first_day=FIRST, last_day=FIRST)
    plan = a_plan()
    assert {pk: row["must"] for pk, row in left(plan).items()} == {kept.pk: True, wanted.pk: True}
    assert "every home that must be served has its place" not in title(plan)


def test_a_visit_of_yesterday_that_nobody_closed_is_named(technician: Technician) -> None:
    slot = a_home(TODAY - timedelta(days=3))
    visit = booked(technician, site=slot.system.site, day=TODAY - timedelta(days=2))
    VisitJobFactory(visit=visit, slot=slot)
    plan = a_plan()
    assert "nobody said how it ended" in left(plan)[visit.pk]["why"]
    assert "Nothing is to be driven" not in title(plan)


def test_a_home_s_hours_outlast_its_booking(technician: Technician, manager_user: User) -> None:
    slot = a_home(TODAY + timedelta(days=5))
    HomeHoursFactory(site=slot.system.site, not_before=time(13), not_after=time(15))
    take_over(a_plan(), manager_user, NOW)
    visit = Visit.objects.get()
    assert visit.day is not None
    again = a_plan()
    assert again.proposal["days"][0]["stops"][0]["arrive"] >= "13:00"
    for give in (lambda: order_day(technician, visit.day, NOW), lambda: fit_in(visit, NOW)):
        Visit.objects.update(arrive_at=None, leave_at=None)
        visit.refresh_from_db()
        give()
        visit.refresh_from_db()
        assert visit.arrive_at is not None
        assert visit.arrive_at.astimezone(Desk.the().zone).hour in (13, 14)


def told_round(technician: Technician, count: int) -> list[Visit]:
    visits = [booked(technician, 41.9 + n / 20) for n in range(count)]
    order_day(technician, FIRST, NOW)
    for visit in visits:
        visit.refresh_from_db()
        tell(visit)
    return visits


def test_a_booking_turns_no_told_round_round(technician: Technician, manager_user: User) -> None:
    visits = told_round(technician, 4)
    promises = {visit.pk: promise_of(visit) for visit in visits}
    late = booked(technician, 42.1, window_from=time(8), window_to=time(9, 15))
    day = order_day(technician, FIRST, NOW)
    for visit in visits:
        visit.refresh_from_db()
        assert still_true(promises[visit.pk], visit)
    assert day.broken == []
    assert day.why_not(late)


def test_hours_told_that_cannot_be_kept_any_more_are_named(technician: Technician) -> None:
    first, *others = told_round(technician, 3)
    promises = {visit.pk: promise_of(visit) for visit in (first, *others)}
    Visit.objects.filter(pk=first.pk).update(minutes=400)
    day = order_day(technician, FIRST, NOW)
    assert day.broken
    # They are served at another hour where there is room, and named; the others keep what they were told.
    for visit in (first, *others):
        visit.refresh_from_db()
        assert (visit in day.broken) == (visit.arrive_at is None or not still_true(promises[visit.pk], visit))


def test_emergencies_one_after_another_break_no_promise_unsaid(technician: Technician) -> None:
    visits = told_round(technician, 3)
    promises = {visit.pk: promise_of(visit) for visit in visits}
    answers = []
    for n in range(4):
        site = SiteFactory(latitude=41.9 + n / 100, longitude=-87.79)
        call = booked(technician, site=site, minutes=12, window_from=time(8), window_to=time(10))
        answers.append(fit_in(call, NOW))
        for visit in visits:
            visit.refresh_from_db()
            assert still_true(promises[visit.pk], visit)
    assert answers[0] == ""


def moved_in_plan(plan: RoundPlan) -> None:
    """As if the plan moved its only stop by some days."""
    day = plan.proposal["days"][0]
    day["day"], day["stops"][0]["change"] = (FIRST + timedelta(days=5)).isoformat(), "moved"
    plan.save()


@pytest.mark.parametrize("since", ["confirmed", "told", "held"])
def test_what_was_promised_since_is_not_moved(technician: Technician, manager_user: User, since: str) -> None:
    visit = booked(technician)
    plan = a_plan(may_move=True)
    moved_in_plan(plan)
    if since == "told":
        tell(visit)
    elif since == "held":
        Visit.objects.update(pinned=True)
    else:
        Visit.objects.update(state="confirmed")
    ((_home, why),) = changed_since(plan)
    assert since in why
    assert [reason for _home, reason in take_over(plan, manager_user, NOW).refused] == [why]
    visit.refresh_from_db()
    assert visit.day == FIRST


@pytest.mark.parametrize("of_the_home", [True, False])
def test_hours_agreed_since_are_not_overridden(
    technician: Technician, manager_user: User, of_the_home: bool
) -> None:
    visit = booked(technician)
    plan = a_plan()
    if of_the_home:
        HomeHoursFactory(site=visit.site, not_before=time(14), not_after=time(15))
    else:
        Visit.objects.update(window_from=time(14), window_to=time(15))
    ((_home, why),) = changed_since(plan)
    assert "Other hours were agreed" in why
    take_over(plan, manager_user, NOW)
    visit.refresh_from_db()
    # The day is put in order with the hours that hold now.
    assert visit.arrive_at is not None
    assert visit.arrive_at.astimezone(Desk.the().zone).hour == 14


def test_dates_of_the_scenario() -> None:
    assert (FIRST, NOW.date()) == (date(2026, 5, 13), date(2026, 5, 12))
    assert datetime(2026, 5, 13).weekday() == 2


def test_a_visit_booked_otherwise_since_is_left_where_it_is(
    technician: Technician, manager_user: User
) -> None:
    visit = booked(technician)
    booked(technician, 42.0)
    plan = a_plan()
    visits.schedule(visit, technician, FIRST + timedelta(days=7), NOW)
    Visit.objects.filter(pk=visit.pk).update(state="confirmed", pinned=True)
    assert any("booked or moved otherwise" in why for _home, why in changed_since(plan))
    take_over(plan, manager_user, NOW)
    visit.refresh_from_db()
    assert (visit.day, visit.state) == (FIRST + timedelta(days=7), "confirmed")


def test_times_offered_since_leave_the_choice_to_the_household(
    technician: Technician, manager_user: User, time_machine: Any
) -> None:
    time_machine.move_to(NOW)
    slot = a_home(TODAY + timedelta(days=3))
    visit = VisitFactory(site=slot.system.site, state="due")
    VisitJobFactory(visit=visit, slot=slot)
    plan = a_plan()
    OfferedTimeFactory(visit=visit, technician=technician, day=LAST, offered_at=NOW)
    assert ["Times were offered" in why for _home, why in changed_since(plan)] == [True]
    assert take_over(plan, manager_user, NOW).booked == 0


def test_hours_agreed_after_a_letter_win_over_those_told(technician: Technician) -> None:
    (visit,) = told_round(technician, 1)
    Visit.objects.update(window_from=time(14), window_to=time(15))
    order_day(technician, FIRST, NOW)
    visit.refresh_from_db()
    assert visit.arrive_at is not None
    assert visit.arrive_at.astimezone(Desk.the().zone).hour == 14
    assert a_plan().proposal["days"][0]["stops"][0]["arrive"] >= "14:00"


def test_a_refused_stop_and_another_never_stand_at_one_time(
    technician: Technician, manager_user: User
) -> None:
    first, second = booked(technician, 41.9, minutes=90), booked(technician, 41.95, minutes=90)
    plan = a_plan()
    later = max(plan.proposal["days"][0]["stops"], key=lambda stop: stop["arrive"])
    other = first if later["visit"] == second.pk else second
    at = time.fromisoformat(later["arrive"])
    Visit.objects.filter(pk=other.pk).update(window_from=at, window_to=time(at.hour + 1, at.minute))
    order_day(technician, FIRST, NOW)
    take_over(plan, manager_user, NOW)
    stands = sorted(Visit.objects.values_list("arrive_at", "leave_at"))
    assert stands[0][1] <= stands[1][0]  # type: ignore[operator]


def test_a_plan_s_own_moves_are_nobody_else_s_bookings(technician: Technician, manager_user: User) -> None:
    three = [booked(technician, 41.9 + n / 20, minutes=200) for n in range(3)]
    plan = a_plan(may_move=True)
    assert changed_since(plan) == []
    taken = take_over(plan, manager_user, NOW)
    assert taken.refused == []
    for visit in three:
        visit.refresh_from_db()
        assert visit.arrive_at is not None


def test_a_day_that_runs_already_is_not_taken_over(
    technician: Technician, manager_user: User, time_machine: Any
) -> None:
    visit = booked(technician)
    plan = a_plan()
    noon = NOW + timedelta(days=1, hours=3)
    time_machine.move_to(noon)
    ((_home, why),) = take_over(plan, manager_user, noon).refused
    assert "runs already" in why
    visit.refresh_from_db()
    assert visit.arrive_at is None


def test_who_said_at_the_door_where_they_are_is_believed(technician: Technician, time_machine: Any) -> None:
    visits_ = told_round(technician, 3)
    visits_.sort(key=lambda visit: visit.arrive_at or NOW)
    assert visits_[1].arrive_at is not None
    late = visits_[1].arrive_at + timedelta(minutes=10)
    Visit.objects.filter(pk=visits_[0].pk).update(state="under_way", arrived_at=late)
    time_machine.move_to(late + timedelta(minutes=10))
    day = order_day(technician, FIRST, late + timedelta(minutes=10))
    visits_[1].refresh_from_db()
    assert visits_[1].arrive_at is not None
    # The first takes its hour from the arrival said at the door.
    assert visits_[1].arrive_at >= late + timedelta(minutes=60)
    assert visits_[0] not in day.visits


def test_an_emergency_is_not_blamed_for_what_is_broken_already(technician: Technician) -> None:
    told_round(technician, 2)
    now = NOW + timedelta(days=1, hours=4)  # all told hours are past
    call = booked(technician, 41.95, minutes=30)
    assert fit_in(call, now) == ""
    call.refresh_from_db()
    assert call.arrive_at is not None


def test_one_under_way_since_yesterday_is_asked_about(technician: Technician) -> None:
    visit = booked(technician, day=TODAY - timedelta(days=1), state="under_way")
    assert "nobody said how it ended" in left(a_plan())[visit.pk]["why"]


def test_who_was_booked_for_a_day_of_rest_works_then(technician: Technician) -> None:
    saturday = date(2026, 5, 16)
    visit = booked(technician, day=saturday, state="confirmed", pinned=True)
    plan = a_plan()
    assert plan.proposal["left"] == []
    assert [day["day"] for day in plan.proposal["days"]] == [saturday.isoformat()]
    assert plan.proposal["days"][0]["stops"][0]["visit"] == visit.pk


@pytest.mark.parametrize("seed", [71, 3, 11, 29])
def test_a_searched_day_leaves_out_no_firm_stop_that_an_exact_one_keeps(seed: int) -> None:
    """Ten stops for one van and far too much work: exact for up to ten, searched beyond."""
    rng = random.Random(seed)
    ways = tuple(tuple(0 if a == b else rng.randrange(200, 2400) for b in range(13)) for a in range(13))
    stops = tuple(
        Stop(f"s{n}", n, rng.choice((1800, 3600, 5400)), firm=rng.random() < 0.4) for n in range(1, 13)
    )
    shift = Shift("a", 0, (28_800, 61_200))
    ten = solve(Problem((shift,), stops[:10], ways, ways), Iterations(400), seed=1)
    twelve = solve(Problem((shift,), stops, ways, ways), Iterations(400), seed=1)
    firm = {stop.id for stop in stops[:10] if stop.firm}

    def kept(solution: Any) -> int:
        return sum(visit.id in firm for route in solution.routes for visit in route.visits)

    assert kept(ten) == max(kept(ten), kept(twelve))


def test_a_plan_taken_over_says_whose_hours_break(technician: Technician, manager_user: User) -> None:
    visits_ = told_round(technician, 3)
    plan = a_plan()
    Technician.objects.update(day_starts=time(12))
    booked(technician, 42.0, minutes=30)
    refused = take_over(plan, manager_user, NOW).refused
    said = " ".join(why for _home, why in refused)
    kept = [still_true(promise_of(visit), Visit.objects.get(pk=visit.pk)) for visit in visits_]
    assert all(kept) or "told other hours" in said or "other stops fill" in said


def test_an_emergency_leaves_room_for_whose_time_has_passed_at_another_door(technician: Technician) -> None:
    visits_ = sorted(told_round(technician, 2), key=lambda visit: visit.arrive_at or NOW)
    assert visits_[1].arrive_at is not None
    now = visits_[1].arrive_at + timedelta(minutes=5)
    Visit.objects.filter(pk=visits_[0].pk).update(state="under_way", arrived_at=now - timedelta(minutes=50))
    promise = promise_of(visits_[1])
    call = booked(technician, 41.95, minutes=120)
    fit_in(call, now)
    visits_[1].refresh_from_db()
    assert still_true(promise, visits_[1])
    assert visits_[1].arrive_at > now


@pytest.mark.parametrize("more", [{"skills": ["magic"]}, {"minutes": 600}])
def test_who_has_no_place_anyway_blocks_no_emergency(technician: Technician, more: dict[str, Any]) -> None:
    told_round(technician, 2)
    booked(technician, state="confirmed", **more)
    order_day(technician, FIRST, NOW)
    assert fit_in(booked(technician, 41.95, minutes=30), NOW) == ""


def test_other_hours_agreed_leave_the_day_promised(technician: Technician) -> None:
    (visit,) = told_round(technician, 1)
    Visit.objects.update(window_from=time(14), window_to=time(15))
    booked(technician, state="confirmed", minutes=300)
    plan = a_plan(may_move=True)
    (stop,) = [stop for day in plan.proposal["days"] for stop in day["stops"] if stop["visit"] == visit.pk]
    assert stop["change"] != "moved"


def test_a_broken_promise_costs_no_other_that_can_be_kept(technician: Technician) -> None:
    visits_ = [booked(technician, 41.9 + n / 20, minutes=200) for n in range(2)]
    order_day(technician, FIRST, NOW)
    for visit in visits_:
        visit.refresh_from_db()
        tell(visit)
    first, second = sorted(visits_, key=lambda visit: visit.arrive_at or NOW)
    promise = promise_of(second)
    assert second.arrive_at is not None
    now = second.arrive_at - timedelta(minutes=10)
    Visit.objects.filter(pk=first.pk).update(arrive_at=None, leave_at=None)
    day = order_day(technician, FIRST, now)
    second.refresh_from_db()
    assert still_true(promise, second)
    assert second.arrive_at is not None
    assert day.broken == [first]


def test_only_whom_it_was_promised_to_is_visited_on_a_day_of_rest(technician: Technician) -> None:
    saturday = date(2026, 5, 16)
    tell(booked(technician, day=saturday))
    for n in range(3):
        a_home(saturday, latitude=41.9 + n / 100)
    days = {day["day"]: len(day["stops"]) for day in a_plan().proposal["days"]}
    assert days[saturday.isoformat()] == 1


def test_one_booked_by_hand_meanwhile_gets_a_time(technician: Technician, manager_user: User) -> None:
    slot = a_home(TODAY)
    plan = a_plan()
    day = date.fromisoformat(plan.proposal["days"][0]["day"])
    by_hand = booked(technician, site=slot.system.site, day=day, state="confirmed")
    VisitJobFactory(visit=by_hand, slot=slot)
    take_over(plan, manager_user, NOW)
    by_hand.refresh_from_db()
    assert by_hand.arrive_at is not None
    assert Visit.objects.count() == 1


def test_a_promise_broken_before_stands_in_no_emergency_s_way(technician: Technician) -> None:
    visits_ = sorted(told_round(technician, 3), key=lambda visit: visit.arrive_at or NOW)
    promises = {visit.pk: promise_of(visit) for visit in visits_[1:]}
    Visit.objects.filter(pk=visits_[0].pk).update(minutes=240)
    assert visits_[0] in order_day(technician, FIRST, NOW).broken
    call = booked(technician, 41.95, minutes=20)
    assert fit_in(call, NOW) == ""
    for visit in visits_[1:]:
        visit.refresh_from_db()
        assert still_true(promises[visit.pk], visit)


def test_a_confirmed_visit_outranks_booked_ones_that_nobody_was_told_of(technician: Technician) -> None:
    for n in range(4):
        booked(technician, 41.9 + n / 100, minutes=120)
    firm = booked(technician, minutes=120, state="confirmed", window_from=time(9), window_to=time(10))
    plan = a_plan(last_day=FIRST)
    assert firm.pk in {stop["visit"] for stop in plan.proposal["days"][0]["stops"]}
    assert firm.pk not in left(plan)


def test_whoever_is_about_to_be_reached_keeps_their_time(technician: Technician) -> None:
    visits_ = [booked(technician, 41.9 + n / 20, state="confirmed") for n in range(3)]
    order_day(technician, FIRST, NOW)
    for visit in visits_:
        visit.refresh_from_db()
    visits_.sort(key=lambda visit: visit.arrive_at or NOW)
    first, second, _third = visits_
    assert second.arrive_at is not None
    now = second.arrive_at - timedelta(minutes=3)
    Visit.objects.filter(pk=first.pk).update(state="completed", completed_at=now)
    assert fit_in(booked(technician, 41.97, minutes=40), now) == ""
    had = second.arrive_at
    second.refresh_from_db()
    assert second.arrive_at == had


def test_what_the_plan_left_keeps_no_old_time_beside_a_new_one(
    technician: Technician, manager_user: User
) -> None:
    stale = booked(technician)
    order_day(technician, FIRST, NOW)
    Visit.objects.filter(pk=stale.pk).update(skills=["magic"])
    slot = a_home(TODAY, latitude=41.9, longitude=-87.8)
    VisitJobFactory(visit=VisitFactory(site=slot.system.site, state="due"), slot=slot)
    take_over(a_plan(last_day=FIRST), manager_user, NOW)
    times = list(Visit.objects.exclude(arrive_at=None).values_list("arrive_at", flat=True))
    assert len(times) == len(set(times)) == 1
