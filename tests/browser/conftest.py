"""A real Chromium for the pages; a page that logs an error fails its test."""

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.test import Client
from playwright.sync_api import Browser, ConsoleMessage, Page, Playwright, sync_playwright
from pytest_django.fixtures import Settings
from pytest_django.live_server_helper import LiveServer

from equipment.models import FilterSlot, Site, User
from schedules import due, visits
from schedules.models import MaintenanceTask, Technician, Visit
from schedules.visits import Booking
from shared.units import PA_PER_INWC
from tests import servers
from tests.browser.chromium import ARGUMENTS, HEIGHTS
from tests.browser.cut_network import CutNetwork
from tests.browser.phone import Phone, keeps_the_day
from tests.factories import (
    DeskFactory,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    MediaFactory,
    MediaPointFactory,
    ReadingFactory,
    RuntimeDayFactory,
    SiteFactory,
    SystemFactory,
)

PageAt = Callable[..., Page]


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """What drives Chromium, once: a second one cannot run beside it."""
    with sync_playwright() as driver:
        # Playwright keeps an event loop in this thread, in which Django would else refuse the database.
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
        yield driver


@pytest.fixture(scope="session")
def chromium_path() -> str:
    path = os.environ.get("TEST_CHROMIUM") or servers.found_chromium()
    if not path:
        pytest.fail("There is no Chromium here; ./test finds or installs one, or leaves these tests out.")
    return path


@pytest.fixture(scope="session")
def browser(playwright: Playwright, chromium_path: str) -> Iterator[Browser]:
    """Chromium, for as long as the tests run."""
    chromium = playwright.chromium.launch(executable_path=chromium_path, args=ARGUMENTS)
    yield chromium
    chromium.close()


@pytest.fixture
def page_at(browser: Browser, live_server: object) -> Iterator[PageAt]:
    """Opens a page of a width (360 or 1280); whatever it logs as an error fails the test.

    `may_log` names pieces of errors that the test expects, such as the status of a refused page.
    Content-Security-Policy violations are among the errors that Chromium logs.
    """
    errors: list[str] = []
    with ExitStack() as contexts:

        def open_at(width: int, *, may_log: tuple[str, ...] = (), **options: object) -> Page:
            size = {"width": width, "height": HEIGHTS.get(width, 800)}
            # No worker here: it fetches beside the test, in the one connection that both have on SQLite.
            context = browser.new_context(
                viewport=size, base_url=str(live_server), service_workers="block", **options
            )
            contexts.callback(context.close)
            page = context.new_page()

            def on_console(message: ConsoleMessage) -> None:
                if message.type == "error" and not any(piece in message.text for piece in may_log):
                    errors.append(f"{page.url}: {message.text}")

            page.on("console", on_console)
            page.on("pageerror", lambda fault: errors.append(f"{page.url}: {fault}"))
            return page

        yield open_at
    assert not errors, "\n".join(errors)


@dataclass
class World:
    """Two homes as of the real day: Robin's, who changes the filter, and one that the technician serves."""

    today: date
    now: datetime
    home: Site
    hall: FilterSlot
    mill: Site
    attic: FilterSlot
    drain: MaintenanceTask
    technician: Technician
    homeowner_user: User
    manager_user: User


@pytest.fixture
def world(
    live_server: LiveServer,
    settings: Settings,
    home_slot: FilterSlot,
    homeowner_user: User,
    manager_user: User,
    technician_user: User,
) -> World:
    """The browser's clock is the real one, so the days are counted from the real today."""
    settings.SITE_URL = live_server.url
    DeskFactory(name="Elm and Ash Air", phone="555 0100", latitude=41.88, longitude=-87.63)
    now = datetime.now(UTC)
    today = due.today(now)
    pleat = MediaFactory(name="pleat-8", merv=8, on_hand=12)
    MediaPointFactory(media=pleat)
    # A label without points leaves the calendar to decide, so that dates can be counted by hand.
    home_slot.location, home_slot.first_media = "hall ceiling", MediaFactory(name="plain-8", merv=8)
    home_slot.fitted_on, home_slot.changed_by = today - timedelta(days=178), FilterSlot.ChangedBy.OCCUPANT
    home_slot.save()
    mill = SiteFactory(
        name="mill", street="7 Mill Lane", city="Riverton", latitude=41.95, longitude=-87.7, cautions="Dog"
    )
    system = SystemFactory(name="mill-air", site=mill, design_airflow_m3s=0.28)
    attic = FilterSlotFactory(
        name="mill-attic",
        location="attic",
        system=system,
        first_media=pleat,
        fitted_on=today - timedelta(days=170),
        changed_by=FilterSlot.ChangedBy.TECHNICIAN,
    )
    RuntimeDayFactory.create_batch(1, system=system, day=today - timedelta(days=2))
    ReadingFactory(slot=attic, taken_at=now - timedelta(days=20), filter_drop_pa=0.14 * PA_PER_INWC)
    drain = MaintenanceTaskFactory(system=system, name="Clean the drain", due_on=today + timedelta(days=20))
    technician = Technician.objects.get(user=technician_user)
    # The clock is the real one, and tomorrow may be a Saturday.
    technician.weekdays = list(range(7))
    technician.save()
    due.replan(now)
    homeowner_user.email = "robin@home.example"
    homeowner_user.save()
    return World(
        today,
        now,
        home_slot.system.site,
        home_slot,
        mill,
        attic,
        drain,
        technician,
        homeowner_user,
        manager_user,
    )


SignIn = Callable[[Page, User], None]


@pytest.fixture
def sign_in(live_server: LiveServer) -> SignIn:
    """Gives a page the session of a user, as a sign-in would."""

    def give(page: Page, user: User) -> None:
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        cookie = client.cookies["sessionid"].value
        page.context.add_cookies([{"name": "sessionid", "value": cookie, "url": live_server.url}])

    return give


@pytest.fixture
def wire(live_server: LiveServer) -> Iterator[CutNetwork]:
    wire = CutNetwork(int(live_server.url.rsplit(":", 1)[1]))
    yield wire
    wire.close()


@pytest.fixture
def phone(playwright: Playwright, chromium_path: str, tmp_path: Path, wire: CutNetwork) -> Iterator[Phone]:
    phone = Phone(playwright, chromium_path, tmp_path / "phone", wire)
    yield phone
    phone.close()


@pytest.fixture
def visit(world: World) -> Visit:
    """Today's visit to the mill, whose attic has a code."""
    world.attic.access_notes = "Attic hatch code 4711"
    world.attic.save()
    booking = Booking(world.mill, [world.attic], [world.drain], world.technician, world.today, sure=True)
    return visits.book(booking, world.now)


@pytest.fixture
def terry(world: World) -> User:
    assert world.technician.user
    return world.technician.user


@pytest.fixture
def page(phone: Phone, visit: Visit, terry: User) -> Page:
    """The day's sheet, with all of the day on the phone."""
    page = phone.open()
    phone.sign_in(terry)
    page.goto("/")
    keeps_the_day(page, 1)
    return page
