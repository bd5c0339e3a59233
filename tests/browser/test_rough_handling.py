"""What people do to pages: press twice, go back, keep two tabs, have long names and many filters."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from equipment.models import FilterChange, FilterSlot, Person, Site
from schedules import due, emails
from tests.browser.conftest import PageAt, SignIn, World
from tests.browser.test_pages_for_everybody import faults_of
from tests.factories import FilterSlotFactory, UserFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
# Right to left, and longer than any line: both run through every page that names somebody.
NAME = "אברהם בן־יוסף אל־ח'ורי " + "Wolfeschlegelsteinhausenbergerdorff " * 3


@pytest.fixture
def at_home(world: World, page_at: PageAt, sign_in: SignIn) -> Page:
    page = page_at(360)
    sign_in(page, world.homeowner_user)
    page.goto(reverse("site", args=[world.home.pk]))
    return page


def write_down(page: Page) -> None:
    page.get_by_role("button", name="Write the change down").first.click()


def test_a_button_pressed_twice_writes_one_change(world: World, at_home: Page) -> None:
    at_home.get_by_role("button", name="Write the change down").first.dblclick()
    expect(at_home.get_by_role("status")).to_be_visible()
    assert FilterChange.objects.filter(slot=world.hall).count() == 1


def test_back_after_a_press_asks_nothing_again(world: World, at_home: Page) -> None:
    write_down(at_home)
    expect(at_home.get_by_role("status")).to_contain_text("Thank you")
    at_home.go_back()
    expect(at_home.get_by_role("heading", level=1)).to_be_visible()
    at_home.reload()
    assert FilterChange.objects.filter(slot=world.hall).count() == 1


def test_a_second_tab_that_is_behind_is_told_so(world: World, at_home: Page) -> None:
    """The same again is the same answer; another day is refused where it was typed."""
    other, third = at_home.context.new_page(), at_home.context.new_page()
    other.goto(at_home.url)
    third.goto(at_home.url)
    write_down(at_home)
    expect(at_home.get_by_role("status")).to_contain_text("Thank you")
    write_down(other)
    expect(other.get_by_role("status")).to_contain_text("Thank you")
    yesterday = str(world.today - timedelta(days=1))
    third.get_by_label("Changed on").first.fill(yesterday)
    write_down(third)
    expect(third.locator(".error").first).to_contain_text("already on record")
    expect(third.get_by_label("Changed on").first).to_have_value(yesterday)
    assert FilterChange.objects.filter(slot=world.hall).count() == 1


def test_long_names_and_right_to_left_break_no_page(world: World, page_at: PageAt, sign_in: SignIn) -> None:
    Person.objects.update(name=NAME[:120])
    Site.objects.update(street=NAME[:120])
    FilterSlot.objects.update(location=NAME[:120])
    site = world.home
    site.customer.name = NAME[:120]
    site.customer.save()
    page = page_at(1280)
    sign_in(page, world.homeowner_user)
    found = faults_of(page, reverse("site", args=[site.pk]))
    sign_in(page, world.manager_user)
    for address in (reverse("due-list"), reverse("site", args=[site.pk])):
        found += faults_of(page, address)
    assert found == []


def test_forty_filters_are_read_at_a_glance(world: World, at_home: Page) -> None:
    for n in range(39):
        fitted = world.today - timedelta(days=100 - n)
        FilterSlotFactory(system=world.hall.system, location=f"suite {n}", fitted_on=fitted)
    due.replan(world.now)
    at_home.reload()
    # Only what waits to be changed stands open; the others are a line each.
    expect(at_home.locator(".filter-card:visible")).to_have_count(1)
    folded = at_home.locator(".filter-fold > summary")
    expect(folded).to_have_count(39)
    expect(folded.first).to_contain_text(re.compile(r"16 × 25 × 1 in suite \d+, \d+ \w+ \d{4}"))
    folded.first.click()
    expect(at_home.locator(".filter-card:visible")).to_have_count(2)
    assert at_home.evaluate("document.documentElement.scrollWidth") == 360


@pytest.mark.parametrize("kind", ["foreign", "mistyped"])
def test_a_link_that_opens_nothing_says_what_to_do(
    world: World, page_at: PageAt, sign_in: SignIn, kind: str
) -> None:
    page = page_at(360, may_log=("status of 4",))
    if kind == "foreign":
        sign_in(page, UserFactory(role="homeowner"))
        page.goto(reverse("site", args=[world.home.pk]))
    else:
        page.goto(emails.sign_in_url(world.homeowner_user)[:-3])
    heading = page.get_by_role("heading", level=1)
    expect(heading).to_contain_text({"foreign": "There is nothing at this address"}.get(kind, "link"))
    main = page.get_by_role("main")
    expect(main.get_by_role("link").or_(main.get_by_role("button")).first).to_be_visible()


def test_whoever_was_signed_out_meanwhile_is_told_and_led_back(world: World, at_home: Page) -> None:
    at_home.context.clear_cookies(name="sessionid")
    write_down(at_home)
    expect(at_home).to_have_url(re.compile(r"/sign-in/\?next=/sites/\d+/"))
    expect(at_home.get_by_role("status")).to_contain_text("nothing of it was stored")
    assert not FilterChange.objects.exists()


def test_an_address_that_is_only_a_button_says_so(world: World, page_at: PageAt, sign_in: SignIn) -> None:
    page = page_at(360, may_log=("status of 405",))
    sign_in(page, world.manager_user)
    page.goto(reverse("round-stop", args=[1]))
    expect(page.get_by_role("heading", level=1)).to_have_text("This address is only a button")


@pytest.mark.parametrize("width", [1280, 360])
def test_the_fold_of_places_opens_and_shuts(
    world: World, page_at: PageAt, sign_in: SignIn, width: int
) -> None:
    page = page_at(width)
    sign_in(page, world.manager_user)
    page.goto(reverse("due-list"))
    fold, summary = page.locator("details.more .fold"), page.locator("details.more > summary")
    summary.click()
    expect(fold).to_be_visible()
    summary.click()
    expect(fold).not_to_be_visible()
    summary.click()
    page.keyboard.press("Escape")
    expect(fold).not_to_be_visible()
    summary.click()
    page.mouse.click(width - 20, 600)
    expect(fold).not_to_be_visible()
