"""A manager's way from the due list to a booked day, and an install handed over on a phone."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import formats
from playwright.sync_api import Page, expect

from equipment.models import FilterSlot, Site
from schedules import due
from tests.browser.conftest import PageAt, SignIn, World
from tests.factories import FilterSlotFactory, SiteFactory, SystemFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
DRAWING = "svg[role=img]:visible"
TITLE = f"{DRAWING} > title"


@pytest.fixture
def page(world: World, page_at: PageAt, sign_in: SignIn) -> Page:
    """The manager's screen."""
    page = page_at(1280)
    sign_in(page, world.manager_user)
    return page


def narrow_to(page: Page, town: str) -> None:
    page.get_by_text("Find, filter, sort").click()
    page.get_by_label("Town").fill(town)
    page.get_by_label("Town").blur()


def test_the_list_narrows_in_place_and_the_back_button_widens_it(page: Page) -> None:
    page.goto(reverse("due-list"))
    rows = page.locator("#rows .sheet > li")
    expect(rows).to_have_count(2)
    page.evaluate("window.notReloaded = true")
    narrow_to(page, "Riverton")
    expect(rows).to_have_count(1)
    expect(rows).to_contain_text("7 Mill Lane")
    expect(page).to_have_url(re.compile(r"city=Riverton"))
    assert page.evaluate("window.notReloaded")
    page.go_back()
    expect(rows).to_have_count(2)
    expect(page).to_have_url(re.compile(r"/due/$"))


def test_coming_back_from_a_filter_shows_the_whole_narrowed_page(page: Page) -> None:
    page.goto(reverse("due-list"))
    narrow_to(page, "Riverton")
    expect(page.locator("#rows .sheet > li")).to_have_count(1)
    page.locator("#rows .place a").click()
    expect(page.locator(".size.big")).to_be_visible()
    page.go_back()
    expect(page.get_by_role("searchbox")).to_be_visible()
    expect(page.locator("#rows .sheet > li")).to_have_count(1)


def test_a_phone_gets_one_life_curve_with_writing_it_can_read(
    world: World, page_at: PageAt, sign_in: SignIn
) -> None:
    page = page_at(360)
    sign_in(page, world.manager_user)
    page.goto(reverse("filter", args=[world.attic.pk]))
    curve = page.locator(".life-curve:visible")
    expect(curve).to_have_count(1)
    script = "svg => [...svg.querySelectorAll('text')].map(t => parseFloat(getComputedStyle(t).fontSize)"
    sizes = curve.evaluate(f"{script} * svg.getScreenCTM().a)")
    assert len(sizes) >= 5
    assert min(sizes) >= 11


def test_a_filters_page_draws_where_the_drop_stands_and_goes(world: World, page: Page) -> None:
    page.goto(reverse("filter", args=[world.attic.pk]))
    titles = page.locator(TITLE).all_text_contents()
    assert titles == ["Where the drop stands", "How the drop has grown and where it goes"]
    labels = [drawing.get_attribute("aria-label") or "" for drawing in page.locator(DRAWING).all()]
    assert all("limit" in label for label in labels)
    page.get_by_text("The drawing's numbers").click()
    expect(page.locator("details table tbody tr, details table > tr").first).to_be_visible()


def test_offers_become_a_day_in_order_with_a_drawing(world: World, page: Page) -> None:
    far = SiteFactory(name="far", street="1 Far Road", city="Riverton", latitude=42.1, longitude=-87.8)
    FilterSlotFactory(
        system=SystemFactory(site=far),
        fitted_on=world.attic.fitted_on,
        changed_by=FilterSlot.ChangedBy.TECHNICIAN,
    )
    due.replan(world.now)
    for _ in range(2):
        page.goto(reverse("visits"))
        offer = page.locator("li:has(summary)").first
        offer.get_by_text("Book", exact=True).click()
        offer.get_by_label("Technician").select_option("Terry Tool")
        offer.get_by_role("button", name="Book it").click()
        expect(page.get_by_role("status")).to_contain_text("Booked")
    tomorrow = world.today + timedelta(days=1)
    page.get_by_role("link", name="Terry Tool").first.click()
    expect(page).to_have_url(re.compile(f"/days/{world.technician.pk}/{tomorrow}/"))
    times = page.locator(".sheet .when strong").all_inner_texts()
    assert [time[:3] for time in times] == ["1. ", "2. "]
    arrivals = [re.findall(r"\d\d:\d\d", time) for time in times]
    assert arrivals[0][0] < arrivals[0][1] < arrivals[1][0] < arrivals[1][1]
    expect(page.locator("#rounds-map .round-mark.stop")).to_have_count(2)
    page.emulate_media(media="print")
    assert page.locator(TITLE).all_text_contents() == ["The round of the day"]
    expect(page.locator("svg .stop")).to_have_count(2)


def test_an_install_is_handed_over_on_a_phone(world: World, page_at: PageAt, sign_in: SignIn) -> None:
    page = page_at(360)
    sign_in(page, world.manager_user)
    page.goto(reverse("hand-over"))
    page.get_by_label("Customer").fill("Ines Vale")
    page.get_by_label("Street").fill("3 Quarry Road")
    page.get_by_label("Postcode").fill("60601")
    page.get_by_label("Nominal size").first.fill("16x25x1")
    page.get_by_label("Where it is").first.fill("hall")
    page.get_by_label("Filter fitted").first.select_option(label="plain-8")
    page.get_by_label("Drop with the clean filter").first.fill("0.10")
    page.get_by_label("Airflow measured at the unit").fill("600")
    page.get_by_role("button", name="Hand it over", exact=True).click()
    site = Site.objects.get(street="3 Quarry Road")
    page.wait_for_url("**" + reverse("site", args=[site.pk]))
    due_by = formats.date_format(world.today + timedelta(days=183), "j F Y")
    expect(page.locator(".sheet .when strong")).to_have_text(due_by)
    page.get_by_role("link", name="Card to print").click()
    card = page.locator("article.tag")
    expect(card).to_contain_text("16 × 25 × 1 in")
    expect(card).to_contain_text(due_by)
    expect(card.locator("svg")).to_be_visible()
