"""The season's page: what it says in words, what it draws, and whatever somebody types."""

from collections.abc import Iterator
from datetime import timedelta
from urllib.parse import urlencode

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from equipment.models import FilterSlot
from schedules.models import Depot, Plan, Policy, Technician, Visit
from tests.factories import (
    NOW,
    TODAY,
    AbsenceFactory,
    DepotFactory,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    MediaFactory,
    PlanFactory,
    SiteFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
)

pytestmark = [pytest.mark.django_db, pytest.mark.once]


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[time_machine.Traveller]:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def page(manager: Client, **asked: object) -> str:
    answer = manager.get("/season/?" + urlencode(asked))
    assert answer.status_code == 200
    return answer.content.decode()


def a_filter(days: int, **site: object) -> None:
    due = TODAY + timedelta(days=days)
    slot = FilterSlotFactory(system=SystemFactory(site=SiteFactory(**site)), changed_by="technician")
    PlanFactory(
        slot=slot, due_on=due, reason=Plan.Reason.RISK, life_began_on=TODAY - timedelta(days=100),
        p10_on=due - timedelta(days=5), p50_on=due + timedelta(days=10), p90_on=due + timedelta(days=40),
    )  # fmt: skip


def test_an_empty_desk_is_told_so(manager: Client) -> None:
    said = page(manager)
    assert "nobody works in these weeks" in said
    assert "no capacity at all" in said
    assert "too few to tell" in said


def test_all_can_be_done(manager: Client) -> None:
    TechnicianFactory(name="Ada")
    a_filter(3)
    said = page(manager)
    assert "<h1>The season: the work of all 12 weeks can be done</h1>" in said
    assert "All weeks are less than half full" in said
    assert said.count('class="drawing season"') == 1
    assert "Ada" in said


def test_a_week_of_holidays_and_what_could_come_sooner(manager: Client) -> None:
    TechnicianFactory(day_starts="08:00", day_ends="09:00")
    AbsenceFactory(first_day=TODAY + timedelta(days=13), last_day=TODAY + timedelta(days=19))
    for _ in range(3):
        a_filter(16)
    said = page(manager)
    assert "The season: 1 of 12 weeks holds more work than can be done" in said
    assert "Week of 25 May 2026: " in said
    assert "of 0 minutes, nobody works." in said
    assert "Pull forward (" in said
    assert "to the week of 18 May. No medium has a price on record." in said
    FilterSlot.objects.filter(pk=FilterSlot.objects.first().pk).update(first_media=MediaFactory(price=11))
    Plan.objects.update(reason="calendar", p10_on=None, p50_on=None, p90_on=None)
    said = page(manager)
    # A week of the calendar's 183 days of three filters at 11 each: two have the one price that is known.
    assert "about 3 jobs to the week of 18 May. Filter life thrown away, at media prices: 1.26." in said
    assert "2 filters have no price on record and are taken at the middle one." in said
    assert 'class="past"' in said


def test_weeks_in_a_row_are_told_from_first_to_last(manager: Client) -> None:
    TechnicianFactory()
    AbsenceFactory(first_day=TODAY + timedelta(days=13), last_day=TODAY + timedelta(days=19))
    said = page(manager)
    assert "Less than half full: the weeks of 11 May to 18 May, 1 June to 27 July." in said


def test_a_skill_that_nobody_has_is_named(manager: Client) -> None:
    TechnicianFactory()
    MaintenanceTaskFactory(due_on=TODAY, minutes=60, skill="gas")
    said = page(manager)
    assert "1.4 h of work need gas, and nobody has that." in said
    # 60 minutes, 10 to arrive and leave, 15 for the way.
    assert "The season: all can be done but what nobody has the skills for" in said
    assert "Week of 11 May 2026" not in said


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"smoke_weeks": 2, "smoke_from": 1}, "2 weeks of smoke from that of 18 May, 3 times the usual dust"),
        ({"risk": 40}, "accepted risk 40 % instead of 20 %"),
        ({"cap": 60}, "no filter longer than 60 days"),
        ({"customers": 100}, "100 customers more"),
        ({"customers": 1, "smoke_weeks": 1}, "1 customer more"),
    ],
)
def test_what_if_stands_beside_today(manager: Client, asked: dict[str, object], said: str) -> None:
    TechnicianFactory()
    for days in range(5, 60, 5):
        a_filter(days)
    shown = page(manager, **asked)
    assert f"What if: {said}" in shown or said in shown
    assert shown.count('class="drawing season half"') == 2
    assert "What would differ" in shown
    assert "<li>In all" in shown
    assert "Week of " in shown


def test_without_a_technician(manager: Client) -> None:
    who, _other = TechnicianFactory(name="Ada"), TechnicianFactory()
    shown = page(manager, without=who.pk)
    assert "What if: without Ada" in shown
    assert "less capacity" in shown


def test_without_the_only_one_of_a_branch_nobody_works_there(manager: Client) -> None:
    """What nobody there had the skill for before is still that, and not what is lacking now."""
    for n in range(2):
        DepotFactory(name=f"{n} depot", latitude=41.0 + n, longitude=-87.6)
    TechnicianFactory(name="Ada", depot=Depot.objects.get(name="0 depot"), skills=["gas"])
    only = TechnicianFactory(name="Bo", depot=Depot.objects.get(name="1 depot"), skills=[])
    for n in range(4):
        a_filter(9 + n, latitude=42.0, longitude=-87.6)
    system = SystemFactory(site=SiteFactory(latitude=42.0, longitude=-87.6))
    MaintenanceTaskFactory(system=system, due_on=TODAY + timedelta(days=10), minutes=60, skill="gas")
    a_filter(10, latitude=41.0, longitude=-87.6)
    said = page(manager, without=only.pk)
    assert "at 1 depot, where nobody works" in said
    assert "than those with the skill" not in said
    assert said.count("and nobody at 1 depot has that") == 1


def test_a_skill_is_judged_by_what_other_work_leaves_and_says_so(manager: Client) -> None:
    TechnicianFactory(day_starts="08:00", day_ends="09:00", skills=["gas"])
    for _ in range(16):
        a_filter(9)
    MaintenanceTaskFactory(system=SystemFactory(), due_on=TODAY + timedelta(days=9), minutes=60, skill="gas")
    said = page(manager, skill="gas")
    assert "other work leaves too little time for gas" in said
    assert "Other work that takes these people is reckoned to come first." in said
    FilterSlot.objects.all().delete()
    assert "other work leaves time for all that needs gas" in page(manager, skill="gas")
    Technician.objects.update(skills=[])
    assert "<h1>The season: nobody has gas</h1>" in page(manager, skill="gas")
    assert "nobody has it" in page(manager)


def test_new_customers_of_a_desk_without_any_bring_no_work_and_that_is_said(manager: Client) -> None:
    TechnicianFactory()
    assert "No customer is on record whose like could be added" in page(manager, customers=100)
    a_filter(9)
    assert "No customer is on record" not in page(manager, customers=100)


def test_nothing_is_stored_by_what_is_supposed(manager: Client) -> None:
    TechnicianFactory()
    a_filter(8)
    Policy.the()
    before = list(Plan.objects.values()), list(Policy.objects.values())
    page(manager, customers=1000, risk=90, smoke_weeks=9, cap=30)
    assert (list(Plan.objects.values()), list(Policy.objects.values())) == before


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"weeks": "abc"}, "Select a valid choice"),
        ({"weeks": "13"}, "Select a valid choice"),
        ({"skill": "nothing\x00"}, "Select a valid choice"),
        ({"without": "zzz"}, "Select a valid choice"),
        ({"without": "99999999999999999999999"}, "Select a valid choice"),
        ({"smoke_from": "-1", "smoke_weeks": "1"}, "Select a valid choice"),
        ({"smoke_weeks": "27"}, "less than or equal to 26"),
        ({"smoke_factor": "inf"}, "Enter a number"),
        ({"risk": "nan"}, "Enter a number"),
        ({"risk": "0"}, "greater than or equal to 1"),
        ({"cap": "9" * 40}, "less than or equal to 3650"),
        ({"cap": "9" * 5000}, "Enter a whole number"),
        ({"customers": "-4"}, "greater than or equal to 0"),
        ({"customers": "1e9"}, "Enter a whole number"),
    ],
)
def test_odd_values_are_said_and_break_nothing(manager: Client, asked: dict[str, str], said: str) -> None:
    TechnicianFactory()
    a_filter(8)
    MaintenanceTaskFactory(due_on=TODAY, skill="gas")
    shown = page(manager, **asked)
    assert said in shown
    assert "The season: " in shown


def test_branches_stand_side_by_side_and_one_can_be_chosen(manager: Client) -> None:
    for name, latitude in (("Ferry", 41.0), ("Quay", 42.0)):
        TechnicianFactory(depot=DepotFactory(name=name, latitude=latitude, longitude=-91.0))
        a_filter(4, latitude=latitude, longitude=-91.0)
    shown = page(manager)
    assert "By branch, in hours of all these weeks" in shown
    chosen = page(manager, branch=1)
    assert "By branch, in hours of all these weeks" not in chosen
    assert "Select a valid choice" in page(manager, branch=7)


def test_the_page_asks_the_database_as_often_for_many_as_for_few(manager: Client) -> None:
    TechnicianFactory()
    VisitFactory()
    a_filter(4)
    page(manager)
    few = queries(manager)
    for days in range(30):
        a_filter(days)
        MaintenanceTaskFactory(due_on=TODAY + timedelta(days=days), skill=f"skill {days}")
        VisitFactory(technician=TechnicianFactory(), day=TODAY, state=Visit.State.SCHEDULED)
    assert queries(manager) == few


def queries(manager: Client) -> int:
    with CaptureQueriesContext(connection) as caught:
        page(manager, customers=10)
    return len(caught)


def test_smoke_that_begins_after_the_weeks_that_are_shown_is_none(manager: Client) -> None:
    assert manager.get("/season/", {"smoke_weeks": "2", "smoke_from": "13"}).status_code == 200


def test_what_is_supposed_stands_beside_what_stands_in_every_table(manager: Client) -> None:
    DepotFactory(name="North yard")
    DepotFactory(name="South yard", latitude=41.0)
    who = TechnicianFactory(name="Ada")
    for days in (4, 11):
        a_filter(days)
    said = page(manager, without=who.pk)
    assert "The weeks in hours, as it stands" in said
    assert said.count("Weeks too full, if") == 1
    assert "The season: nobody works in these weeks." in said
    assert "Weeks too full, if" not in page(manager)


def test_smoke_with_a_part_at_fault_is_none(manager: Client) -> None:
    TechnicianFactory()
    a_filter(30)
    said = page(manager, smoke_weeks=2, smoke_factor="0.5")
    assert "What if:" not in said
    assert 'class="error"' in said
