"""The season from the record: what counts as work, who there is, what is held free, what would be if."""

from datetime import date, datetime, time, timedelta

import numpy as np
import pytest
from scipy.stats.mstats import mquantiles

from equipment.models import Desk, FilterSlot, Site
from schedules import season as seasons
from schedules.models import Depot, MaintenanceTask, Plan, Policy, Visit
from schedules.planning.season import Weeks
from schedules.season import Facts, Narrow, Season, facts, outlook, season
from schedules.season_jobs import WhatIf, jobs_of
from schedules.season_staff import ASSUMED_HELD_SHARE, ASSUMED_WAY_MINUTES, reserve_of
from schedules.season_words import title
from tests.factories import (
    NOW,
    TODAY,
    AbsenceFactory,
    DepotFactory,
    FilterChangeFactory,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    MediaFactory,
    PlanFactory,
    PolicyFactory,
    SiteFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db
# Tuesday; the present week has six days left.
TRIP = 10 + ASSUMED_WAY_MINUTES


def a_filter(site: Site | None = None, **plan: object) -> FilterSlot:
    system = SystemFactory(site=site or SiteFactory())
    slot: FilterSlot = FilterSlotFactory(system=system, changed_by="technician")
    PlanFactory(slot=slot, **{"life_began_on": TODAY - timedelta(days=100), **plan})
    return slot


def the_season(count: int = 12, what_if: WhatIf | None = None, narrow: Narrow | None = None) -> Season:
    known = facts(NOW)
    return season(known, outlook(known, count, what_if), narrow)


def ahead(days: int) -> date:
    return TODAY + timedelta(days=days)


def test_a_small_season_by_hand() -> None:
    TechnicianFactory(skills=["gas"])
    home = SiteFactory()
    a_filter(home, due_on=ahead(-3))
    a_filter(home, due_on=ahead(20))
    MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(8), minutes=60, skill="gas")
    found = the_season()
    # One trip of two filters in the first week, the task's in the second.
    assert found.expected[:4] == pytest.approx([TRIP + 24, TRIP + 60, 0, 0], abs=0.01)
    # Tuesday to Friday of nine hours each, of which two are over; a tenth held free.
    assert found.gross[:2] == pytest.approx([4 * 540 - 120, 5 * 540])
    assert found.usable == pytest.approx(found.gross * (1 - ASSUMED_HELD_SHARE))
    assert not found.over.any()


def test_what_is_not_the_desks_work_is_no_load() -> None:
    for change in (
        {"changed_by": "occupant"}, {"changed_by": ""}, {"retired_on": TODAY},
    ):  # fmt: skip
        slot = a_filter(due_on=ahead(3))
        FilterSlot.objects.filter(pk=slot.pk).update(**change)
    a_filter(SiteFactory(vacant_since=TODAY), due_on=ahead(3))
    a_filter(SiteFactory(customer__gone_on=TODAY), due_on=ahead(3))
    a_filter(due_on=None, reason=Plan.Reason.UNKNOWN)
    MaintenanceTaskFactory(due_on=ahead(3), ended_on=TODAY)
    assert the_season().expected.sum() == 0
    assert facts(NOW).rows.undated == 1


def test_households_filters_count_by_the_share_that_technicians_changed() -> None:
    slot = a_filter(due_on=ahead(3))
    FilterSlot.objects.filter(pk=slot.pk).update(changed_by="occupant")
    for day in range(40):
        at = datetime(2026, 3, 1) + timedelta(days=day)
        FilterChangeFactory(
            slot=slot, changed_on=at.date(), changed_at=at.astimezone(),
            changed_by="technician" if day < 10 else "occupant",
        )  # fmt: skip
    known = facts(NOW)
    assert known.rows.share == pytest.approx(0.25)
    # Due in three days, and two weeks later somebody has rung: the third week.
    assert the_season().expected[:4] == pytest.approx([0, 0, 0.25 * (TRIP + 12), 0])


def test_a_booked_visit_is_told_beside_and_its_jobs_are_not_expected_too() -> None:
    who = TechnicianFactory()
    slot = a_filter(due_on=ahead(3))
    visit = VisitFactory(
        site=slot.system.site, technician=who, day=ahead(8), state=Visit.State.SCHEDULED, minutes=40
    )
    VisitJobFactory(visit=visit, slot=slot)
    found = the_season()
    assert found.booked[:3] == pytest.approx([0, 40 + ASSUMED_WAY_MINUTES, 0])
    assert found.expected[:3].sum() == pytest.approx(0)
    assert found.people_booked[0, 1] == pytest.approx(40 + ASSUMED_WAY_MINUTES)


def test_somebody_rung_for_who_waits_for_a_day_is_work_of_this_week() -> None:
    VisitFactory(wanted="no heat", minutes=70, state=Visit.State.DUE)
    VisitFactory(state=Visit.State.DUE)
    assert the_season().booked[:2] == pytest.approx([70 + ASSUMED_WAY_MINUTES, 0])


def test_absence_holidays_days_of_rest_and_leaving_are_no_capacity() -> None:
    one = TechnicianFactory(weekdays=[0, 1], day_starts=time(8), day_ends=time(10))
    TechnicianFactory(weekdays=[4], day_starts=time(8), day_ends=time(9), gone_on=ahead(10))
    AbsenceFactory(technician=one, first_day=date(2026, 5, 18), last_day=date(2026, 5, 18))
    AbsenceFactory(technician=None, first_day=date(2026, 5, 25), last_day=date(2026, 5, 31))
    AbsenceFactory(technician=one, first_day=TODAY, last_day=ahead(99), withdrawn_at=NOW)
    # Today, a Tuesday, is over at ten; Friday; Tuesday and the last Friday, the 22nd, on which the other has
    # left.
    assert the_season().gross[:4] == pytest.approx([60, 120, 0, 240])


def test_a_week_of_holidays_with_work_is_too_full_and_says_what_can_come_sooner() -> None:
    TechnicianFactory()
    AbsenceFactory(first_day=date(2026, 5, 25), last_day=date(2026, 5, 31))
    a_filter(due_on=date(2026, 5, 27), reason=Plan.Reason.CALENDAR)
    found = the_season()
    assert np.flatnonzero(found.over).tolist() == [2]
    assert found.moved is not None
    assert (found.moved.week.tolist(), found.moved.to.tolist()) == ([2], [1])
    assert found.moved.left.sum() == pytest.approx(0)


def test_the_price_of_pulling_forward_is_the_life_thrown_away() -> None:
    TechnicianFactory()
    AbsenceFactory(first_day=date(2026, 5, 25), last_day=date(2026, 5, 31))
    medium = MediaFactory(price=18)
    slot = a_filter(due_on=date(2026, 5, 27), life_began_on=date(2026, 5, 27) - timedelta(days=180))
    FilterSlot.objects.filter(pk=slot.pk).update(first_media=medium)
    moved = the_season().moved
    assert moved is not None
    # A week of 180 days, by the calendar's cap of 183 at the most, of a filter for 18.
    assert moved.money.sum() == pytest.approx(18 * 7 / 183, rel=0.02)


def test_nobody_at_all() -> None:
    a_filter(due_on=ahead(3))
    found = the_season()
    assert found.usable.sum() == 0
    assert found.over[0]
    assert found.moved is not None
    assert found.moved.left.sum() == pytest.approx(found.load.sum())


def test_an_empty_record() -> None:
    found = the_season(26)
    assert found.load.sum() == found.usable.sum() == 0
    assert not found.over.any()
    assert found.moved is None


def test_a_skill_that_few_have_is_the_tightest() -> None:
    TechnicianFactory(weekdays=[3], day_starts=time(8), day_ends=time(9), skills=["gas"])
    TechnicianFactory(skills=["wood"])
    MaintenanceTaskFactory(due_on=ahead(1), minutes=120, skill="gas")
    found = the_season()
    assert found.tight[0] == ("gas",)
    assert found.short[0] == pytest.approx(TRIP + 120 - 54)
    narrowed = the_season(narrow=Narrow(skill="gas"))
    assert narrowed.gross[0] == pytest.approx(60)
    assert narrowed.short[0] == pytest.approx(found.short[0])


def test_those_with_a_skill_are_there_for_it_less_what_only_they_can_do_of_the_rest() -> None:
    """By hand: two work 54 minutes of an hour; the one without the skill does 54 of the other work."""
    for skills in (["gas"], []):
        TechnicianFactory(weekdays=[3], day_starts=time(8), day_ends=time(9), skills=skills)
    MaintenanceTaskFactory(due_on=ahead(1), minutes=80, skill="")
    MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(9), minutes=10, skill="gas")
    narrowed = the_season(narrow=Narrow(skill="gas"))
    # Nothing needs gas in that week; of a trip and eighty minutes 54 are done beside.
    assert the_season().elsewhere[0] == 0
    assert narrowed.elsewhere[0] == pytest.approx(min(TRIP + 80 - 54, 54))
    assert narrowed.usable[0] == pytest.approx(54 - narrowed.elsewhere[0])


def test_what_nobody_can_do_is_named() -> None:
    TechnicianFactory(skills=["gas"])
    system = SystemFactory()
    MaintenanceTaskFactory(system=system, due_on=ahead(1), minutes=60, skill="gas")
    MaintenanceTaskFactory(system=system, due_on=ahead(9), minutes=60, skill="refrigerant")
    assert the_season().nobody == [(0, ("gas", "refrigerant"), pytest.approx(TRIP + 120))]


def two_branches() -> None:
    before = Depot.objects.count()
    near = DepotFactory(name=f"{before:03} near", latitude=41.0, longitude=-91.0)
    far = DepotFactory(name=f"{before + 1:03} far", latitude=42.0, longitude=-91.0)
    DepotFactory(latitude=41.9, longitude=-91.0, closed_on=TODAY)
    TechnicianFactory(depot=near)
    TechnicianFactory(depot=far)
    TechnicianFactory(depot=None, start_latitude=41.9, start_longitude=-91.0)
    for number in range(12):
        site = SiteFactory(latitude=None if number == 11 else 41.0 + number / 10, longitude=-91.0)
        a_filter(
            site, due_on=ahead(number * 5), reason=Plan.Reason.RISK, p10_on=ahead(number * 5 - 9),
            p50_on=ahead(number * 5 + 9), p90_on=ahead(number * 5 + 40),
        )  # fmt: skip
        MaintenanceTaskFactory(system=SystemFactory(site=site), due_on=ahead(60), skill="gas")


@pytest.mark.parametrize("what_if", [WhatIf(), WhatIf(customers=30, risk=0.4, smoke_weeks=2)])
def test_the_branches_sum_to_all(what_if: WhatIf) -> None:
    two_branches()
    whole = the_season(26, what_if)
    parts = [the_season(26, what_if, Narrow(branch)) for branch in range(2)]
    for name in ("booked", "expected", "gross", "usable", "reserve", "short", "jobs", "trips"):
        assert sum(getattr(part, name) for part in parts) == pytest.approx(getattr(whole, name)), name
    assert parts[0].gross.sum() * 2 == pytest.approx(parts[1].gross.sum())


def test_work_and_jobs_are_as_many_as_on_record() -> None:
    two_branches()
    known, weeks = facts(NOW), Weeks.beginning(TODAY.weekday(), 26)
    assert len(jobs_of(known.rows, WhatIf(), weeks)) == 24
    found = the_season(26)
    # No renewal of tasks within half a year: every task is done once.
    assert found.jobs.sum() >= 12


def test_one_technician_less() -> None:
    who = TechnicianFactory()
    TechnicianFactory()
    assert the_season(12, WhatIf(without=who.pk)).gross == pytest.approx(the_season().gross / 2)


def risky() -> None:
    for number in range(20):
        a_filter(
            due_on=ahead(5 + number), reason=Plan.Reason.RISK, p10_on=ahead(number),
            p50_on=ahead(15 + number), p90_on=ahead(40 + number),
        )  # fmt: skip


def test_smoke_brings_work_forward_and_a_higher_risk_puts_it_off() -> None:
    risky()
    TechnicianFactory()
    now, smoky = the_season(), the_season(12, WhatIf(smoke_weeks=2, smoke_from=1))
    daring = the_season(12, WhatIf(risk=0.4))
    early = slice(0, 3)
    assert smoky.jobs[early].sum() > now.jobs[early].sum() + 1
    assert daring.jobs[early].sum() < now.jobs[early].sum() - 1


def test_the_accepted_risk_that_stands_changes_nothing() -> None:
    risky()
    a_filter(due_on=ahead(9), reason=Plan.Reason.COST, p10_on=ahead(8), p50_on=ahead(30), p90_on=ahead(50))
    stands = Policy.the().accepted_risk
    assert the_season(12, WhatIf(risk=stands)).expected == pytest.approx(the_season().expected)


def test_a_filters_own_risk_stands_where_waiting_is_weighed() -> None:
    risky()
    Plan.objects.update(accepted_risk=0.05)
    own = the_season(12)
    Plan.objects.update(accepted_risk=0.3)
    assert the_season(12).expected == pytest.approx(own.expected)
    early = slice(0, 3)
    assert the_season(12, WhatIf(risk=0.3)).expected == pytest.approx(own.expected)
    assert the_season(12, WhatIf(risk=0.05)).jobs[early].sum() > own.jobs[early].sum() + 1


def test_a_shorter_cap_brings_in_what_is_older() -> None:
    PolicyFactory()
    a_filter(due_on=ahead(82), life_began_on=ahead(-101))
    assert the_season(12).jobs.sum() == pytest.approx(1, abs=0.01)
    capped = the_season(12, WhatIf(cap_days=115))
    assert np.argmax(capped.jobs) == 2
    # Changed in the third week, it is due again a hundred and fifteen days later: beyond these weeks.
    assert capped.jobs[3:].sum() < 0.1
    overdue = the_season(12, WhatIf(cap_days=60))
    assert overdue.jobs[0] == pytest.approx(1)


def test_new_customers_bring_work_like_that_on_record() -> None:
    for number in range(10):
        a_filter(due_on=ahead(10 + 7 * number))
    a_filter(due_on=ahead(-30), life_began_on=ahead(-300))
    now, more = the_season(), the_season(12, WhatIf(customers=22))
    # Twice as many again as the eleven on record, without what is overdue there.
    assert (more.expected - now.expected)[1:9] == pytest.approx(2 * now.expected[1:9], rel=0.002)
    assert (more.expected - now.expected)[0] == pytest.approx(0, abs=0.01)


def test_the_reserve_is_a_quantile_of_whole_weeks() -> None:
    weekly = [0.0, 60, 120, 30, 0, 90, 240, 60, 0, 60]
    found = reserve_of(weekly, 12)
    assert found.mean == pytest.approx(66)
    assert found.held == pytest.approx(mquantiles(weekly, 0.9, alphap=1, betap=1)[0])
    assert reserve_of(weekly[:7], 12).held is None
    assert reserve_of(weekly, 9).held is None


def test_the_reserve_comes_from_who_rang_and_was_visited_at_once() -> None:
    TechnicianFactory(weekdays=[0, 1, 2, 3, 4])
    for week in range(1, 13):
        day = TODAY - timedelta(weeks=week)
        # One of an hour every week; a second one in every fourth, and what was booked long before.
        for number in range(1 + (week % 4 == 0)):
            urgent_visit(day, day - timedelta(days=number))
        urgent_visit(day, day - timedelta(days=9))
    found = facts(NOW).urgent
    # The first of them was rung for thirteen weeks ago: a week without any counts too.
    assert (found.weeks, found.visits) == (13, 15)
    each = 60 + ASSUMED_WAY_MINUTES
    assert found.mean == pytest.approx(each * 15 / 13)
    assert found.held == pytest.approx(np.quantile([0.0] + [each] * 9 + [2 * each] * 3, 0.9))
    held = the_season().reserve
    # Four of five working days are left of this week.
    assert held[:2] == pytest.approx([found.held * 0.8, found.held])


def urgent_visit(day: date, created: date) -> None:
    visit = VisitFactory(wanted="no heat", minutes=60, day=day, state=Visit.State.COMPLETED)
    at = datetime.combine(created, time(15), NOW.tzinfo)
    Visit.objects.filter(pk=visit.pk).update(created_at=at)


def test_the_way_is_the_median_of_those_on_record() -> None:
    who = TechnicianFactory()
    for number in range(30):
        begins = datetime.combine(TODAY - timedelta(days=2 + number), time(14), NOW.tzinfo)
        for stop, minutes in enumerate((0, 50)):
            arrived = begins + timedelta(minutes=minutes + number % 3 if stop else 0)
            VisitFactory(
                technician=who, day=begins.date(), state=Visit.State.COMPLETED, arrived_at=arrived,
                completed_at=arrived + timedelta(minutes=30),
            )  # fmt: skip
    way = facts(NOW).way
    assert (way.minutes, way.seen) == (pytest.approx(21), 30)


def test_the_queries_are_as_many_for_a_large_fleet(django_assert_num_queries: object) -> None:
    two_branches()
    VisitFactory()
    Policy.the()
    Desk.the()
    with django_assert_num_queries(QUERIES):  # type: ignore[operator]
        facts(NOW)
    for _ in range(3):
        two_branches()
        who = TechnicianFactory()
        VisitFactory(technician=who, day=ahead(3), state=Visit.State.SCHEDULED)
    with django_assert_num_queries(QUERIES):  # type: ignore[operator]
        known: Facts = facts(NOW)
    with django_assert_num_queries(0):  # type: ignore[operator]
        seasons.season(known, outlook(known, 26, WhatIf(customers=9)))


QUERIES = 17


def test_what_a_week_has_no_time_for_is_left_to_the_next() -> None:
    """By hand: ten overdue tasks of an hour and a trip each, 54 minutes a day on five days a week."""
    TechnicianFactory(day_starts=time(8), day_ends=time(9))
    for _home in range(10):
        MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(-1), minutes=60, skill="")
    found = the_season(6)
    work, week = 10 * (TRIP + 60), 5 * 54.0
    first = float(found.usable[0])
    assert found.left[:2] == pytest.approx([0.0, work - first])
    assert found.left[2:5] == pytest.approx([max(0.0, work - first - at * week) for at in (1, 2, 3)])
    assert found.behind[1]
    assert not found.roomy[found.behind].any()
    assert "what is left over takes until the week of" in title(found)


def test_what_nobody_can_do_hides_not_how_full_the_others_are() -> None:
    """Gas is there and full, refrigerant is nowhere: it is not said that gas is lacking."""
    TechnicianFactory(weekdays=[3], day_starts=time(8), day_ends=time(9), skills=["gas"])
    MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(1), minutes=40, skill="gas")
    both = SystemFactory()
    for skill in ("gas", "refrigerant"):
        MaintenanceTaskFactory(system=both, due_on=ahead(1), minutes=30, skill=skill)
    found = the_season()
    assert found.tight[0] == ("gas",)
    assert np.isfinite(found.fullest[0])
    MaintenanceTask.objects.filter(system=both).update(due_on=ahead(8))
    later = the_season()
    assert (later.fullest[1], later.over[1], later.left[2]) == (0.0, False, 0.0)
    assert later.undoable[1] == pytest.approx(TRIP + 60)
    assert [skills for _branch, skills, _minutes in later.nobody] == [("gas", "refrigerant")]


def hour_a_day(*skills: list[str]) -> None:
    """Somebody of each set of skills, for an hour a day."""
    for some in skills:
        TechnicianFactory(day_starts=time(8), day_ends=time(9), skills=some)


def test_the_view_of_a_skill_judges_by_what_other_work_leaves_of_its_people() -> None:
    """By hand: one who can both has what plain work leaves; gas beyond it is short, and left to the next."""
    hour_a_day(["gas"])
    for skill in ("", "gas"):
        MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(8), minutes=150, skill=skill)
    known = facts(NOW)
    gas = season(known, outlook(known, 6), Narrow(skill="gas"))
    free = 5 * 54.0
    assert gas.elsewhere[1] == pytest.approx(TRIP + 150)
    assert gas.usable[1] == pytest.approx(free - (TRIP + 150))
    assert gas.short[1] == pytest.approx(2 * (TRIP + 150) - free)
    assert gas.over[1]
    assert gas.left[2] == pytest.approx(gas.short[1])


def test_what_these_people_cannot_do_takes_nothing_of_them() -> None:
    """Wood is for another alone, however much of it there is, and refrigerant for nobody."""
    hour_a_day(["gas"], ["wood"])
    for skill, minutes in (("gas", 40), ("wood", 900), ("refrigerant", 400)):
        MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(8), minutes=minutes, skill=skill)
    gas = the_season(narrow=Narrow(skill="gas"))
    assert gas.elsewhere[1] == pytest.approx(0.0)
    assert not gas.over.any()
    assert not gas.behind.any()


def test_what_is_left_over_is_carried_skill_by_skill() -> None:
    """By hand: gas is more than its one can do in a week, though the other has time; all views say so."""
    hour_a_day(["gas"], [])
    MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(8), minutes=400, skill="gas")
    found = the_season(6)
    week = 5 * 54.0
    assert found.left[2:4] == pytest.approx([TRIP + 400 - week, 0.0])
    MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(8), minutes=900, skill="refrigerant")
    assert the_season(6).left == pytest.approx(found.left)


def test_where_there_is_nothing_to_do_nothing_runs_over() -> None:
    assert the_season().chance.tolist() == [0.0] * 12


def test_what_nobody_can_do_presses_on_nobody() -> None:
    """By hand: little plain work, and a week of what nobody can do: nothing runs over, nothing is moved."""
    hour_a_day([])
    for skill, minutes in (("", 40), ("refrigerant", 900)):
        MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(8), minutes=minutes, skill=skill)
    found = the_season()
    assert found.chance[1] == pytest.approx(0.0, abs=1e-6)
    assert found.upper_with_left[1] == pytest.approx((TRIP + 40) / found.usable[1])
    assert found.moved is None


def test_a_branch_without_a_skill_reads_alike_in_every_view() -> None:
    two_branches()
    TechnicianFactory(depot=Depot.objects.order_by("name")[0])
    TechnicianFactory(depot=Depot.objects.order_by("name")[1], skills=["gas"])
    site = SiteFactory(latitude=41.0, longitude=-91.0)
    MaintenanceTaskFactory(system=SystemFactory(site=site), due_on=ahead(8), minutes=60, skill="gas")
    for narrow in (None, Narrow(0), Narrow(skill="gas"), Narrow(0, "gas")):
        found = the_season(narrow=narrow)
        assert not found.over.any()
        assert not found.behind.any()
