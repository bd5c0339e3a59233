"""Each role's main task without a mouse: a technician's call, a manager's week."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from equipment.models import FilterChange
from schedules import due, round_runs
from schedules.models import RoundPlan, Visit
from tests.browser.conftest import PageAt, SignIn, World
from tests.browser.keys import press_at, tab_to

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def skip_to_the_page(page: Page) -> None:
    """The first Tab of a page leads past the line on top."""
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")


def test_a_technician_looks_a_filter_up_and_completes_the_visit(
    world: World, visit: Visit, page_at: PageAt, sign_in: SignIn
) -> None:
    assert world.technician.user
    page = page_at(1280, may_log=("status of 422",))
    sign_in(page, world.technician.user)
    page.goto("/")
    tab_to(page, "input[name=q]")
    page.keyboard.type("mill lane")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("1 filter answers")
    press_at(page, ".sheet .place a")
    expect(page.locator(".size.big")).to_have_text("16 × 25 × 1 in")
    page.goto("/")
    skip_to_the_page(page)
    press_at(page, ".stops a.go")
    page.wait_for_url("**" + reverse("visit", args=[visit.pk]))
    tab_to(page, "[name$=drop_before]")
    page.keyboard.type("0.16")
    press_at(page, "form[action$='/complete/'] > p button, form[action$='/complete/'] > button")
    page.wait_for_url("**" + reverse("site", args=[world.mill.pk]))
    assert FilterChange.objects.filter(slot=world.attic, told=FilterChange.Told.TECHNICIAN).count() == 1
    visit.refresh_from_db()
    assert visit.state == Visit.State.COMPLETED


def test_a_manager_goes_from_the_due_list_to_a_planned_week(
    world: World, page_at: PageAt, sign_in: SignIn
) -> None:
    world.attic.fitted_on = world.today - timedelta(days=178)
    world.attic.save()
    due.replan(world.now)
    page = page_at(1280)
    sign_in(page, world.manager_user)
    page.goto(reverse("due-list"))
    expect(page.get_by_role("heading", level=1)).to_contain_text("due before")
    press_at(page, f"header a[href='{reverse('rounds')}']")
    page.wait_for_url("**" + reverse("rounds"))
    skip_to_the_page(page)
    press_at(page, "main form button")
    expect(page).to_have_url(re.compile(r"/rounds/\d+/(#main)?$"))
    plan = RoundPlan.objects.get()
    assert round_runs.run_waiting(world.now) == 1
    take = f"form[action='{reverse('round-take', args=[plan.pk])}'] button"
    # The page looks again by itself once the plan is there.
    expect(page.locator(take)).to_be_visible(timeout=15_000)
    press_at(page, take)
    expect(page.get_by_role("status")).to_be_visible()
    booked = Visit.objects.get(site=world.mill)
    assert (booked.state, booked.technician) == (Visit.State.SCHEDULED, world.technician)
    page.goto(reverse("day", args=[world.technician.pk, booked.day]))
    expect(page.locator(".stops")).to_contain_text("7 Mill Lane")
