"""Every main page, full and empty: no fault that axe finds, and nothing wider than a small phone."""

from datetime import timedelta

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import Page

from equipment.models import Person, User
from schedules import emails, reminders, sending, visits
from schedules.models import Notice, Visit
from schedules.visits import Booking
from tests.browser.chromium import HEIGHTS
from tests.browser.conftest import PageAt, SignIn, World
from tests.factories import UserFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
REFUSED = ("the server responded with a status of 4",)
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


def faults_of(page: Page, address: str) -> list[str]:
    """What axe finds and what runs over the edge, at both widths."""
    found = []
    page.goto(address)
    # The folded places lie over the page, so they are opened last.
    for summary in [*page.locator("main summary").all(), *page.locator("header summary").all()]:
        summary.click()
    for width in (1280, 360):
        page.set_viewport_size({"width": width, "height": HEIGHTS[width]})
        result = Axe().run(page)
        found += [
            f"{address} at {width}: {fault['id']}: {node['html'][:160]}"
            for fault in result.response["violations"]
            for node in fault["nodes"]
        ]
        if (over := page.evaluate(WIDER)) > 0:
            found.append(f"{address} at {width}: {over} px too wide")
    return found


def all_faults(page: Page, addresses: list[str]) -> list[str]:
    return [fault for address in addresses for fault in faults_of(page, address)]


def address(name: str, *args: object) -> str:
    return reverse(name, args=args)


@pytest.fixture
def letter(world: World) -> Notice:
    """The reminder that went to Robin."""
    assert reminders.write_due(world.now) == 1
    notice = Notice.objects.get()
    assert sending.send_one(notice.send_at)
    notice.refresh_from_db()
    return notice


@pytest.fixture
def booked(world: World) -> Visit:
    """The mill's visit, tomorrow."""
    day = world.today + timedelta(days=1)
    booking = Booking(world.mill, [world.attic], [world.drain], world.technician, day, sure=True)
    return visits.book(booking, world.now)


@pytest.mark.long
def test_the_managers_pages_are_open_to_everybody_and_fit_a_phone(
    world: World, letter: Notice, page_at: PageAt, sign_in: SignIn
) -> None:
    page = page_at(1280)
    sign_in(page, world.manager_user)
    Person.objects.update(phone="555 0199")
    addresses = [
        address("due-list"),
        address("filter", world.attic.pk),
        address("site", world.mill.pk),
        address("card", world.home.pk),
        address("look-up") + "?q=Mill",
        address("visits"),
        address("tasks"),
        address("hand-over"),
        address("call-list"),
        address("outbox"),
        address("message", letter.pk),
        address("sheets"),
        address("season"),
        address("season") + "?weeks=26&smoke_weeks=2&customers=5000",
    ]
    assert all_faults(page, addresses) == []


def test_the_dark_scheme_is_as_easy_to_read(
    world: World, letter: Notice, page_at: PageAt, sign_in: SignIn
) -> None:
    page = page_at(1280, color_scheme="dark")
    sign_in(page, world.manager_user)
    assert all_faults(page, [address("due-list"), address("filter", world.attic.pk)]) == []


@pytest.mark.long
def test_the_empty_pages_of_a_new_desk_are_open_to_everybody_and_fit_a_phone(
    manager_user: User, page_at: PageAt, sign_in: SignIn
) -> None:
    page = page_at(1280)
    sign_in(page, manager_user)
    addresses = [
        address("due-list"),
        address("look-up"),
        address("look-up") + "?q=nowhere",
        address("visits"),
        address("tasks"),
        address("call-list"),
        address("outbox"),
        address("season"),
    ]
    assert all_faults(page, addresses) == []


def test_the_technicians_pages_are_open_to_everybody_and_fit_a_phone(
    world: World, booked: Visit, page_at: PageAt, sign_in: SignIn
) -> None:
    assert world.technician.user
    page = page_at(1280)
    sign_in(page, world.technician.user)
    addresses = [
        address("visit", booked.pk),
        address("day", world.technician.pk, booked.day),
        address("day", world.technician.pk, world.today),
    ]
    assert all_faults(page, addresses) == []


def test_the_households_pages_are_open_to_everybody_and_fit_a_phone(
    world: World, letter: Notice, page_at: PageAt, sign_in: SignIn, settings: object
) -> None:
    page = page_at(1280, may_log=REFUSED)
    user = world.homeowner_user
    of_strangers = [
        address("sign-in"),
        emails.sign_in_url(user),
        address("sign-in-by-link") + "?sesame=spent",
        emails.answer_url(letter),
        address("answer", "not-one-of-ours"),
        emails.stop_url(user.person, "filters"),
        "/no-such-page/",
    ]
    found = all_faults(page, of_strangers)
    sign_in(page, user)
    found += all_faults(
        page, [address("site", world.home.pk), address("filter", world.hall.pk), address("due-list")]
    )
    sign_in(page, UserFactory(role=User.Role.HOMEOWNER))
    assert found + all_faults(page, [address("home")]) == []


def test_metric_sizes_stay_within_a_phone(world: World, page_at: PageAt, sign_in: SignIn) -> None:
    """Metric sizes are the longest: sides, unit, and the label's own inches."""
    assert world.technician.user
    page = page_at(360)
    sign_in(page, world.technician.user)
    User.objects.update(units="si")
    for name, pk in (("what-fits", world.attic.pk), ("filter", world.attic.pk), ("site", world.mill.pk)):
        page.goto(address(name, pk))
        assert page.evaluate(WIDER) <= 0, name
