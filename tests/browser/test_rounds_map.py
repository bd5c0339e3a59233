"""The map of rounds in a real browser: without tiles, and with tiles from a configured address."""

import base64
from datetime import timedelta

import pytest
from django.urls import reverse
from playwright.sync_api import Page, Route, expect
from pytest_django.fixtures import Settings

from equipment.models import FilterSlot
from schedules import due, round_runs
from schedules.models import RoundPlan
from shared.tiles import tile_source
from tests.browser.conftest import PageAt, SignIn, World
from tests.factories import FilterSlotFactory, RoundPlanFactory, SiteFactory, SystemFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
TILES = "https://tiles.example/{z}/{x}/{y}.png"
DOT = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


@pytest.fixture
def plan(world: World) -> RoundPlan:
    """Rounds of a week in which two homes are ripe."""
    far = SiteFactory(name="far", street="1 Far Road <b>", city="Riverton", latitude=42.1, longitude=-87.8)
    slot = FilterSlotFactory(system=SystemFactory(site=far), changed_by=FilterSlot.ChangedBy.TECHNICIAN)
    fitted_on = world.today - timedelta(days=178)
    FilterSlot.objects.filter(pk__in=[slot.pk, world.attic.pk]).update(fitted_on=fitted_on)
    due.replan(world.now)
    first, last = world.today + timedelta(days=1), world.today + timedelta(days=10)
    plan = RoundPlanFactory(first_day=first, last_day=last, seconds=1)
    round_runs.run_waiting(world.now)
    plan.refresh_from_db()
    return plan


def opened(plan: RoundPlan, page: Page) -> int:
    """Opens the plan and returns how many stops it holds."""
    page.goto(reverse("round", args=[plan.pk]))
    return sum(len(day["stops"]) for day in plan.proposal["days"])


def test_every_stop_stands_on_the_map_without_any_tiles(
    world: World, plan: RoundPlan, page_at: PageAt, sign_in: SignIn
) -> None:
    page = page_at(1280)
    sign_in(page, world.manager_user)
    stops = opened(plan, page)
    marks = page.locator("#rounds-map .round-mark.stop")
    assert stops >= 2
    expect(marks).to_have_count(stops)
    expect(page.locator("#rounds-map path.round-line")).to_have_count(len(plan.proposal["days"]))
    expect(page.locator("#rounds-map img.leaflet-tile")).to_have_count(0)
    marks.first.click()
    popup = page.locator("#rounds-map .leaflet-popup-content")
    first = plan.proposal["days"][0]["stops"][0]
    expect(popup).to_contain_text(first["home"])
    # By keyboard: the map may still be moving the popup into sight.
    popup.get_by_role("link").focus()
    page.keyboard.press("Enter")
    expect(page).to_have_url(plan_page_of(first))


def plan_page_of(stop: dict[str, object]) -> str:
    name, pk = ("visit", stop["visit"]) if stop["visit"] else ("site", stop["site"])
    return reverse(name, args=[pk])


def test_one_round_is_chosen_at_its_heading(
    world: World, plan: RoundPlan, page_at: PageAt, sign_in: SignIn
) -> None:
    page = page_at(360)
    sign_in(page, world.manager_user)
    opened(plan, page)
    days = plan.proposal["days"]
    if len(days) > 1:
        page.get_by_role("button", name="on the map").last.click()
        expect(page.locator("#rounds-map .round-mark.stop")).to_have_count(len(days[-1]["stops"]))
    assert page.evaluate("document.documentElement.scrollWidth") == 360


def test_tiles_come_from_the_configured_address_with_their_credit(
    world: World, plan: RoundPlan, page_at: PageAt, sign_in: SignIn, settings: Settings
) -> None:
    settings.TILES_URL, settings.TILES_CREDIT = TILES, "© the <surveyors>"
    directives = dict(settings.CONTENT_SECURITY_POLICY["DIRECTIVES"])
    directives["img-src"] = [*directives["img-src"], tile_source(TILES)]
    settings.CONTENT_SECURITY_POLICY = {"DIRECTIVES": directives}
    asked: list[str] = []

    def answer(route: Route) -> None:
        asked.append(route.request.url)
        route.fulfill(content_type="image/png", body=DOT)

    page = page_at(1280)
    page.route("https://tiles.example/**", answer)
    sign_in(page, world.manager_user)
    opened(plan, page)
    expect(page.locator("#rounds-map img.leaflet-tile-loaded").first).to_be_visible()
    expect(page.locator(".leaflet-control-attribution")).to_have_text("© the <surveyors>")
    assert asked
    assert all(url.startswith("https://tiles.example/") and url.endswith(".png") for url in asked)


def test_a_technicians_day_has_its_map(
    world: World, plan: RoundPlan, page_at: PageAt, sign_in: SignIn
) -> None:
    round_runs.take_over(plan, world.manager_user, world.now)
    first = plan.proposal["days"][0]
    page = page_at(1280)
    sign_in(page, world.manager_user)
    page.goto(reverse("day", args=[first["technician"], first["day"]]))
    expect(page.locator("#rounds-map .round-mark.stop")).to_have_count(len(first["stops"]))
