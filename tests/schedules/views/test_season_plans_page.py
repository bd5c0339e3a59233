"""The pages of a season's plans: asked for, watched, stopped, looked at week by week."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from schedules import season_runs
from schedules.models import RoundPlan, SeasonPlan
from tests.factories import NOW, SeasonPlanFactory, SeasonTripFactory, SiteFactory, VisitFactory
from tests.schedules.season_homes import MONDAY, a_home, a_van, homes, quick

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick")]
__all__ = ["quick"]


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> Any:
    time_machine.move_to(NOW, tick=False)
    return time_machine


def asked(manager: Client, **more: Any) -> Any:
    told = {"first_day": MONDAY.isoformat(), "weeks": "4", "seconds": "5"}
    return manager.post(reverse("season-plans"), told | more)


def a_week(at: int, **more: Any) -> dict[str, Any]:
    return {
        "monday": (MONDAY + timedelta(weeks=at)).isoformat(), "done": True, "homes": 2, "home_minutes": 600,
        "road_minutes": 61, "there_minutes": 1620, "dealt_minutes": 1458, "late": 0, "left": [], "stayed": 0,
        "moved": 0, "reckoned": "",
    } | more  # fmt: skip


def shown(manager: Client, plan: SeasonPlan, query: str = "") -> str:
    return str(manager.get(reverse("season-plan", args=[plan.pk]) + query).text)


def test_a_season_goes_from_the_form_to_its_weeks(manager: Client) -> None:
    a_van(name="Van one")
    slots = homes(24, weeks=6)
    form = manager.get(reverse("season-plans")).text
    assert f'value="{MONDAY.isoformat()}"' in form
    answer = asked(manager)
    plan = SeasonPlan.objects.get()
    assert answer["Location"] == reverse("season-plan", args=[plan.pk])
    assert plan.asked_by is not None
    waiting = manager.get(answer["Location"]).text
    assert "The season waits to be worked out" in waiting
    assert 'hx-trigger="every 2s"' in waiting
    season_runs.run_waiting(NOW)
    part = manager.get(answer["Location"] + "?was=waiting&done=0", headers={"HX-Request": "true"})
    assert part["HX-Refresh"] == "true"
    ready = manager.get(answer["Location"]).text
    count = plan.trips.count()
    assert f"{count} stops have their weeks, all within their windows" in ready
    week = plan.trips.earliest("week").week
    ready = shown(manager, plan, f"?week={week}")
    assert "Van one: " in ready
    for trip in plan.trips.filter(week=week):
        assert reverse("site", args=[trip.site_id]) in ready
    assert count <= len(slots)
    assert "24 weeks" not in manager.get(reverse("season-plans")).text
    assert "4 weeks from 18 May 2026" in manager.get(reverse("season-plans")).text


def test_what_cannot_be_asked_is_said_beside_the_form(manager: Client) -> None:
    for more in ({"first_day": "2026-05-19"}, {"weeks": "60"}, {"weeks": ""}, {"seconds": "11"}):
        answer = asked(manager, **more)
        assert answer.status_code == 422
        assert 'class="error"' in answer.text
    assert not SeasonPlan.objects.exists()
    assert asked(manager).status_code == 302
    second = asked(manager)
    assert second.status_code == 422
    assert "Another season is being worked out" in second.text


def test_a_running_season_is_watched_and_stopped(manager: Client) -> None:
    told = [a_week(0), *(a_week(at, done=False) for at in range(1, 4))]
    plan = SeasonPlanFactory(state="running", weeks=4, progress=0.31, told=told, heard_at=NOW)
    text = shown(manager, plan)
    assert "The season is being worked out: 1 of 4 weeks" in text
    assert 'value="31"' in text
    assert text.count("not worked out") == 3
    address = reverse("season-plan", args=[plan.pk])
    watched = {"headers": {"HX-Request": "true"}}
    assert not manager.get(address + "?was=running&done=1", **watched).has_header("HX-Refresh")
    assert manager.get(address + "?was=running&done=0", **watched)["HX-Refresh"] == "true"
    manager.post(reverse("season-plan-stop", args=[plan.pk]))
    plan.refresh_from_db()
    assert plan.stop_asked
    assert "ends after the week" in shown(manager, plan)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"state": "failed", "why": "RuntimeError: no table"}, "The season could not be worked out"),
        ({"state": "stopped"}, "called off before it was worked out"),
        ({"state": "stopped", "told": [a_week(0), a_week(1, done=False)]}, "stopped after 1 of 2 weeks"),
        ({"state": "ready", "told": [a_week(at, there_minutes=0) for at in (0, 1)]}, "Nobody works"),
        ({"state": "ready", "told": [a_week(at, homes=0) for at in (0, 1)]}, "Nothing is to be visited"),
        (
            {"state": "ready", "told": [a_week(0, late=3), a_week(1, homes=2000)]},
            "2,002 stops have their weeks, 3",
        ),
        (
            {"state": "ready", "told": [a_week(0, late=3, overdue=3), a_week(1)]},
            "3 overdue already, all others within their windows",
        ),
        (
            {"state": "ready", "told": [a_week(0, late=5, overdue=3), a_week(1)]},
            "3 overdue already, 2 more late",
        ),
    ],
)  # fmt: skip
def test_the_title_says_where_it_stands(manager: Client, more: dict[str, Any], said: str) -> None:
    text = shown(manager, SeasonPlanFactory(weeks=2, **more))
    assert said in text.split("</h1>")[0].split("<h1>")[1]
    assert more.get("why", "") in text


def test_a_week_shows_hours_moves_and_whom_it_has_no_place_for(manager: Client) -> None:
    site, visited = SiteFactory(), VisitFactory()
    left = [{"site": site.pk, "home": "9 Oak <b>", "why": "Nobody has the skill gas."}]
    told = [a_week(0, stayed=41, moved=3), a_week(1, left=left)]
    plan = SeasonPlanFactory(state="ready", weeks=2, told=told)
    who = a_van(name="Ada")
    day = MONDAY + timedelta(days=8)
    SeasonTripFactory(plan=plan, week=1, day=day, technician=who, before=MONDAY)
    SeasonTripFactory(plan=plan, week=1, day=day, technician=who, before=MONDAY + timedelta(weeks=1))
    SeasonTripFactory(plan=plan, week=1, day=day, technician=who, site=visited.site, visit=visited)
    text = shown(manager, plan, "?week=1")
    assert "4 stops have their weeks; 1 finds no place" in text
    assert (
        "20 hours at homes and 2.0 on the road, 30.5 minutes a stop, of 54 hours that there are, 5.4 of"
        in text
    )
    assert "41 stay in their week and 3 move" in text
    assert "9 Oak &lt;b&gt;" in text
    assert "Nobody has the skill gas." in text
    assert text.count("planned before for the week of 18 May 2026") == 1
    assert "Ada: 3 homes, 1.5 h there" in text
    assert reverse("visit", args=[visited.pk]) in text
    assert "Ada" not in shown(manager, plan)
    for odd in ("?week=x", "?week=-1", "?week=99999", "?week=²", "?week=7"):
        assert "Week by week, in hours" in shown(manager, plan, odd)


def test_the_rounds_of_a_near_week_are_asked_for_from_here(manager: Client, at_noon: Any) -> None:
    a_van()
    a_home(MONDAY + timedelta(days=9))
    plan = SeasonPlanFactory(state="ready", weeks=5, told=[a_week(at) for at in range(5)])
    button = "Plan the rounds of this week"
    assert [button in shown(manager, plan, f"?week={at}") for at in range(5)] == [True] * 3 + [False] * 2
    answer = manager.post(
        reverse("rounds"),
        {"first_day": "2026-05-25", "last_day": "2026-05-31", "seconds": "30", "season": str(plan.pk)},
    )
    asked_for = RoundPlan.objects.get()
    assert asked_for.season == plan
    assert answer["Location"] == reverse("round", args=[asked_for.pk])
    assert (asked_for.first_day, asked_for.last_day) == (date(2026, 5, 25), date(2026, 5, 31))
    text = shown(manager, plan, "?week=1")
    season = ("season", str(plan.pk))
    for name, value in (("first_day", "2026-05-25"), ("last_day", "2026-05-31"), ("seconds", "30"), season):
        assert f'<input type="hidden" name="{name}" value="{value}">' in text
    at_noon.move_to(NOW + timedelta(weeks=1), tick=False)
    assert button not in shown(manager, plan, "?week=0")


def test_a_page_of_many_homes_takes_no_more_queries(manager: Client) -> None:
    plan = SeasonPlanFactory(state="ready", weeks=4, told=[a_week(at) for at in range(4)])
    who, counts = a_van(), []
    shown(manager, plan)
    for count in (2, 30):
        for _n in range(count):
            SeasonTripFactory(plan=plan, day=MONDAY, technician=who)
        with CaptureQueriesContext(connection) as caught:
            shown(manager, plan)
        counts.append(len(caught))
    assert counts[0] == counts[1]


def test_the_season_s_page_leads_here(manager: Client) -> None:
    assert f'href="{reverse("season-plans")}"' in manager.get(reverse("season")).text
