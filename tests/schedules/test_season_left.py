"""The season where time runs out: what is booked, what is left over, who is away, what the hour leaves."""

from datetime import date, time, timedelta

import pytest
import time_machine
from django.test import Client

from schedules.models import Depot
from schedules.season import Narrow, Season, facts, outlook, season
from schedules.season_staff import ASSUMED_WAY_MINUTES
from schedules.season_words import full, overbooked, reckoned, reserve_taken, title
from tests.factories import (
    NOW,
    TODAY,
    AbsenceFactory,
    DepotFactory,
    MaintenanceTaskFactory,
    SiteFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
TRIP = 10 + ASSUMED_WAY_MINUTES


def ahead(days: int) -> date:
    return TODAY + timedelta(days=days)


def the_season(narrow: Narrow | None = None) -> Season:
    known = facts(NOW)
    return season(known, outlook(known, 8), narrow)


def test_a_week_booked_full_uses_the_reserve_up_and_is_no_overload() -> None:
    """By hand: an hour a day makes 300 minutes, 30 of them held free; 285 are booked, so 15 stay free."""
    who = TechnicianFactory(day_starts=time(8), day_ends=time(9))
    for day in range(6, 11):
        minutes = 57 - int(ASSUMED_WAY_MINUTES)
        VisitFactory(technician=who, day=ahead(day), minutes=minutes, state="scheduled")
    found = the_season()
    assert found.booked[1] == pytest.approx(285)
    assert (found.usable[1], found.reserve[1], found.eaten[1]) == pytest.approx((285, 15, 15))
    assert not found.over.any()
    assert not found.behind.any()
    assert title(found) == "The season: the work of all 8 weeks can be done"
    VisitFactory(technician=who, day=ahead(6), minutes=60, state="scheduled")
    more = the_season()
    # More than there is at all: too full, and yet nothing that stands waits for another week.
    assert more.over[1]
    assert not more.behind.any()
    assert "held free for what is urgent: the weeks of" in reserve_taken(more)


def test_what_is_left_over_of_plain_work_takes_the_skilled_too() -> None:
    """One who can gas, an hour a day: what plain work leaves over in a week is done before the next one's
    gas, in the view of the skill as in the whole."""
    TechnicianFactory(day_starts=time(8), day_ends=time(9), skills=["gas"])
    for _home in range(5):
        MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(8), minutes=90, skill="")
    MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(15), minutes=60, skill="gas")
    week, plain = 5 * 54.0, 5 * (TRIP + 90)
    whole, gas = the_season(), the_season(Narrow(skill="gas"))
    assert whole.left[2] == pytest.approx(plain - week)
    # What plain work leaves is the whole of the third week: its gas is short, and left to the fourth.
    assert gas.elsewhere[2] == pytest.approx(week)
    assert gas.short[2] == pytest.approx(TRIP + 60)
    assert gas.left[3] == pytest.approx(TRIP + 60)


def test_a_branch_on_leave_is_named_and_what_waits_there_is_not_worked_off() -> None:
    north, south = (
        DepotFactory(name="North", latitude=42.5, longitude=-88.0),
        DepotFactory(name="South", latitude=41.0, longitude=-91.0),
    )
    away = TechnicianFactory(depot=north)
    TechnicianFactory(depot=south)
    AbsenceFactory(technician=away, first_day=TODAY, last_day=ahead(40))
    site = SiteFactory(latitude=42.5, longitude=-88.0)
    MaintenanceTaskFactory(system=SystemFactory(site=site), due_on=ahead(1), minutes=90)
    known = facts(NOW)
    found = season(known, outlook(known, 8))
    assert [bool(week) for week in found.over[:3]] == [True, False, False]
    assert found.chance[0] == pytest.approx(1.0)
    assert found.left[1] == found.left[5] == pytest.approx(TRIP + 90)
    ((said, _moves, _last),) = full(known, found)
    assert "at North, where nobody works" in said
    assert any("Branches do not help each other" in line for line in reckoned(known))
    assert Depot.objects.count() == 2


def test_a_technician_without_a_start_is_named() -> None:
    TechnicianFactory(name="Kit Vane", start_latitude=None, start_longitude=None, depot=None)
    assert any("Kit Vane" in line for line in reckoned(facts(NOW)))


def test_by_the_evening_nothing_of_the_day_is_left() -> None:
    TechnicianFactory(day_starts=time(8), day_ends=time(17))
    hours = [facts(NOW.replace(hour=hour)) for hour in (5, 17, 23)]
    # Five, noon and six in the evening at the desk, on a Tuesday.
    gross = [float(outlook(known, 4).gross[:, 0].sum()) / 60 for known in hours]
    assert gross == pytest.approx([4 * 9, 4 * 9 - 4, 3 * 9])


def test_a_week_that_is_full_in_one_skill_has_no_room() -> None:
    """One of six can gas, and her week is nearly taken: fullest, and not less than half full."""
    TechnicianFactory(skills=["gas"])
    TechnicianFactory.create_batch(5)
    for _home in range(3):
        MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(8), minutes=760, skill="gas")
    found = the_season()
    assert found.fullest[1] == pytest.approx(3 * (TRIP + 760) / (5 * 540 * 0.9))
    assert not found.roomy[1]
    assert found.roomy[2]
    assert not found.may_run_over[1]


def test_whoever_is_booked_beyond_their_hours_is_named() -> None:
    one, other = TechnicianFactory(name="Ada Reed"), TechnicianFactory(name="Bo Lark")
    AbsenceFactory(technician=one, first_day=ahead(6), last_day=ahead(12))
    VisitFactory(technician=one, day=ahead(7), minutes=105, state="scheduled")
    VisitFactory(technician=other, day=ahead(7), minutes=105, state="scheduled")
    known = facts(NOW)
    (said,) = overbooked(known, season(known, outlook(known, 8)))
    assert said == "Ada Reed is booked for 2.0 h of 0 min in the week of 18 May 2026."


@pytest.mark.parametrize("weeks", [8, 26])
def test_a_skill_on_leave_is_away_and_not_lacking_however_far_one_looks(weeks: int) -> None:
    away = TechnicianFactory(skills=["gas", "wood"])
    TechnicianFactory()
    AbsenceFactory(technician=away, first_day=TODAY, last_day=ahead(100))
    MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(8), minutes=60, skill="gas")
    MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(120), minutes=60, skill="wood")
    known = facts(NOW)
    found = season(known, outlook(known, weeks))
    assert found.nobody == []
    assert (found.over[1], found.tight[1]) == (True, ("gas",))
    assert found.left[2] == pytest.approx(TRIP + 60)


def test_hours_that_are_all_held_free_are_not_nobody(manager: Client) -> None:
    """Friday at half past three: what is left of the day is less than what is held free."""
    TechnicianFactory()
    site = SiteFactory()
    friday = NOW.replace(day=15, hour=20, minute=30)
    for week in range(2, 14):
        with time_machine.travel(NOW - timedelta(weeks=week), tick=False):
            VisitFactory(site=site, wanted="no heat", day=ahead(-7 * week), minutes=600, state="completed")
    MaintenanceTaskFactory(system=SystemFactory(), due_on=ahead(1), minutes=60)
    with time_machine.travel(friday, tick=False):
        text = manager.get("/season/").text
    assert "all held free" in text
    assert "all that is left is held free" in text
    assert "nobody works" not in text
