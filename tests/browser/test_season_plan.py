"""A season's plan on a desk and on a phone: nothing that axe finds, nothing wider, watched to its end."""

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from playwright.sync_api import expect

from schedules.models import SeasonPlan
from schedules.season_runs import next_monday
from tests.browser.conftest import PageAt, SignIn, World
from tests.browser.test_pages_for_everybody import all_faults
from tests.factories import SeasonPlanFactory, SeasonTripFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def a_season(world: World, **more: Any) -> SeasonPlan:
    """Twelve weeks of rising work; the second has two homes on record and one without a place."""
    monday = next_monday(world.today)
    left = [{"site": world.mill.pk, "home": "7 Mill Lane", "why": "The address has no position yet."}]
    told = [
        {
            "monday": (monday + timedelta(weeks=at)).isoformat(), "done": at < 11, "homes": 380 + 4 * at,
            "home_minutes": 9500 + 100 * at, "road_minutes": 2950 + 20 * at, "there_minutes": 16200,
            "dealt_minutes": 14580, "late": 0, "left": left if at == 1 else [], "stayed": 370, "moved": at,
            "reckoned": "",
        }
        for at in range(12)
    ]  # fmt: skip
    plan = SeasonPlanFactory(**{"state": "ready", "first_day": monday, "told": told} | more)
    for at, site in enumerate((world.home, world.mill)):
        SeasonTripFactory(
            plan=plan, site=site, week=1, day=monday + timedelta(days=7 + at), technician=world.technician,
            before=monday, first_day=monday, last_day=monday + timedelta(days=20),
        )  # fmt: skip
    return plan


def test_the_plans_of_a_season_are_open_to_everybody_and_fit_a_phone(
    world: World, page_at: PageAt, sign_in: SignIn
) -> None:
    page = page_at(1280)
    sign_in(page, world.manager_user)
    ready = a_season(world)
    waits = a_season(world, state="waiting", told=[])
    address = reverse("season-plan", args=[ready.pk])
    pages = [
        reverse("season-plans"), address, f"{address}?week=1", reverse("season-plan", args=[waits.pk]),
    ]  # fmt: skip
    assert all_faults(page, pages) == []


@pytest.mark.long
def test_the_page_follows_the_run(world: World, page_at: PageAt, sign_in: SignIn) -> None:
    page = page_at(360)
    sign_in(page, world.manager_user)
    plan = a_season(world, state="running", heard_at=timezone.now(), progress=0.2)
    page.goto(reverse("season-plan", args=[plan.pk]))
    expect(page.locator("h1")).to_have_text("The season is being worked out: 11 of 12 weeks")
    told = [{**row, "done": True} for row in plan.told]
    SeasonPlan.objects.filter(pk=plan.pk).update(state="ready", told=told)
    expect(page.locator("h1")).to_contain_text("stops have their weeks; 1 finds no place")
