"""A homeowner's way from the letter to the new date, and to the calendar."""

import re
import urllib.request
from datetime import date, timedelta

import pytest
from django.utils import formats
from icalendar import Calendar
from playwright.sync_api import expect

from equipment.models import FilterChange
from schedules import due, emails, reminders, sending
from schedules.models import Notice, Plan
from tests.browser.conftest import PageAt, World
from tests.browser.keys import tab_to
from tests.factories import FilterSlotFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
THIN_FILTER_DAYS = 183


def words(day: date) -> str:
    return formats.date_format(day, "j F Y")


def link_in_the_letter(world: World) -> str:
    assert reminders.write_due(world.now) == 1
    notice = Notice.objects.get()
    assert sending.send_one(notice.send_at)
    notice.refresh_from_db()
    found = re.search(r"http\S+/answer/\S+", notice.text)
    assert found
    return found[0]


def test_the_letters_link_leads_to_a_new_date_and_back_to_the_old(world: World, page_at: PageAt) -> None:
    old, new = world.today + timedelta(days=5), world.today + timedelta(days=THIN_FILTER_DAYS)
    page = page_at(360)
    page.goto(link_in_the_letter(world))
    dates = page.locator(".sheet .when")
    expect(page.get_by_role("heading", level=1)).to_have_text("Did you change your air filter?")
    expect(dates).to_have_text([words(old)])
    assert FilterChange.objects.count() == 0

    page.get_by_role("checkbox").check()
    page.get_by_role("button", name="Yes, changed").click()
    expect(dates).to_have_text([words(new)])
    assert FilterChange.objects.get().told == FilterChange.Told.OCCUPANT

    page.get_by_role("button", name="Take it back").click()
    expect(dates).to_have_text([words(old)])
    assert Plan.objects.get(slot=world.hall).due_on == old


def test_the_whole_answer_can_be_given_by_keyboard(world: World, page_at: PageAt) -> None:
    den = FilterSlotFactory(
        name="home-den", location="den wall", system=world.hall.system, fitted_on=world.hall.fitted_on
    )
    due.replan(world.now)
    page = page_at(1280)
    page.goto(link_in_the_letter(world))
    tab_to(page, f"[name=slot{den.pk}-done]")
    page.keyboard.press("Space")
    tab_to(page, "main form:first-of-type button")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Thank you")
    assert FilterChange.objects.get().slot == den
    tab_to(page, "form:has([value=undo]) button")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status")).to_contain_text("Taken back")
    assert FilterChange.objects.get().undone_at is not None


def test_a_day_to_come_is_refused_and_what_was_filled_in_stays(world: World, page_at: PageAt) -> None:
    den = FilterSlotFactory(
        name="home-den", location="den wall", system=world.hall.system, fitted_on=world.hall.fitted_on
    )
    due.replan(world.now)
    page = page_at(360, may_log=("status of 422",))
    page.goto(link_in_the_letter(world))
    to_come = str(world.today + timedelta(days=3))
    page.locator(f"[name=slot{den.pk}-done]").check()
    page.locator(f"[name=slot{den.pk}-on]").fill(to_come)
    page.get_by_role("button", name="Yes, changed").click()
    expect(page.get_by_role("alert")).to_contain_text("still to come")
    expect(page.locator(f"[name=slot{den.pk}-on]")).to_have_value(to_come)
    expect(page.locator(f"[name=slot{den.pk}-done]")).to_be_checked()
    expect(page.locator(f"[name=slot{world.hall.pk}-done]")).not_to_be_checked()
    assert not FilterChange.objects.exists()


def test_a_link_signs_the_homeowner_in_and_the_calendar_says_what_the_page_says(
    world: World, page_at: PageAt
) -> None:
    page = page_at(360)
    page.goto(emails.sign_in_url(world.homeowner_user))
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("main")).to_contain_text("12 Linden Street")
    shown = page.locator(".filter-card .when strong").inner_text()
    expect(page.get_by_role("heading", level=1)).to_contain_text(shown)
    page.get_by_role("button", name="Make the address").click()
    feed = page.locator("p.address").inner_text()
    with urllib.request.urlopen(feed, timeout=10) as answer:
        calendar = Calendar.from_ical(answer.read())
    events = calendar.walk("VEVENT")
    assert [words(event["DTSTART"].dt) for event in events] == [shown]
    assert shown == words(world.today + timedelta(days=5))


def test_from_the_letter_to_the_change_to_the_calendar_and_the_own_page(
    world: World, page_at: PageAt
) -> None:
    """One story, without an account and without a script, until the mailed link leads to the own page."""
    page = page_at(360, java_script_enabled=False)
    page.goto(link_in_the_letter(world))
    page.get_by_role("checkbox").check()
    page.get_by_role("button", name="Yes, changed").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Thank you. Your new dates are below.")
    shown = page.locator(".sheet .when").inner_text()
    page.get_by_role("button", name="Keep these dates in your calendar").click()
    with urllib.request.urlopen(page.locator("p.address").inner_text(), timeout=10) as answer:
        events = Calendar.from_ical(answer.read()).walk("VEVENT")
    assert [words(event["DTSTART"].dt) for event in events] == [shown]
    page.get_by_role("button", name="Send me the link to it").click()
    expect(page.get_by_role("status")).to_contain_text("on its way")
    letter = Notice.objects.get(kind=Notice.Kind.SIGN_IN)
    assert sending.send_one(letter.send_at)
    letter.refresh_from_db()
    link = re.search(r"http\S+sesame=\S+", letter.text)
    assert link
    page.goto(link[0])
    page.get_by_role("button", name="Sign in").click()
    expect(page.locator(".filter-card .when strong")).to_contain_text(shown)


def test_back_and_reload_do_nothing_again(world: World, page_at: PageAt) -> None:
    page = page_at(360)
    address = link_in_the_letter(world)
    page.goto(address)
    page.get_by_role("checkbox").check()
    page.get_by_role("button", name="Yes, changed").click()
    page.get_by_role("button", name="Take it back").click()
    expect(page.get_by_role("status")).to_contain_text("Taken back")
    page.reload()
    for _ in range(2):
        page.go_back()
        page.reload()
    assert FilterChange.objects.filter(undone_at=None).count() == 0
    assert FilterChange.objects.count() == 1
