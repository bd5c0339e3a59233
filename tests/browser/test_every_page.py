"""Every address that shows a page, for every role that may see it: axe at two widths, zoom, large letters."""

import pytest
from django.test import Client
from playwright.sync_api import Page

from equipment.models import FilterSlot, Site, User
from servicedesk.access import TABLE, Who
from tests.addresses import addresses_of
from tests.browser.conftest import PageAt, SignIn
from tests.browser.test_pages_for_everybody import WIDER, faults_of
from tests.factories import TODAY, DeskFactory

pytestmark = [pytest.mark.browser, pytest.mark.long, pytest.mark.django_db(transaction=True)]
ROLES = {"homeowner": Who.HOMEOWNER, "technician": Who.TECHNICIAN, "manager": Who.MANAGER}
# Django's own pages of the record, and addresses that answer with files or send on.
NO_PAGE = {"admin", "message-look"}


@pytest.fixture
def addresses(
    live_server: object, home: Site, home_slot: FilterSlot, homeowner_user: User, technician_user: User
) -> dict[str, str]:
    DeskFactory(latitude=41.88, longitude=-87.63)
    home_slot.fitted_on = TODAY
    home_slot.save()
    return addresses_of(home, home_slot, homeowner_user, technician_user)


def pages_of(role: str, user: User, addresses: dict[str, str]) -> list[str]:
    """The addresses that answer this role with a page."""
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    found = []
    for name, may in TABLE.items():
        if name in NO_PAGE or not may.get("GET", Who(0)) & ROLES[role]:
            continue
        answer = client.get(addresses[name])
        if answer.status_code == 200 and answer["Content-Type"].startswith("text/html"):
            found.append(addresses[name])
    return found


def enlarged(page: Page, address: str) -> list[str]:
    """What runs over the edge at 320 px, which is 1280 at 400 %, and with letters of twice their size on a
    desk and on a phone; and what moves though nothing should."""
    found = []
    page.goto(address)
    page.set_viewport_size({"width": 320, "height": 640})
    if (over := page.evaluate(WIDER)) > 0:
        found.append(f"{address} at 320: {over} px too wide")
    page.set_viewport_size({"width": 1280, "height": 800})
    page.evaluate("document.documentElement.style.setProperty('font-size', '200%')")
    for width in (1280, 360):
        page.set_viewport_size({"width": width, "height": 800})
        if (over := page.evaluate(WIDER)) > 0:
            found.append(f"{address} at {width} with letters twice as large: {over} px too wide")
    if page.evaluate("document.getAnimations().length"):
        found.append(f"{address}: something moves")
    return found


@pytest.mark.parametrize("role", ROLES)
def test_every_page_of_a_role_is_open_to_everybody(
    role: str, addresses: dict[str, str], page_at: PageAt, sign_in: SignIn, request: pytest.FixtureRequest
) -> None:
    user: User = request.getfixturevalue(f"{role}_user")
    page = page_at(1280, reduced_motion="reduce")
    sign_in(page, user)
    pages = pages_of(role, user, addresses)
    found = [fault for address in pages for fault in (*faults_of(page, address), *enlarged(page, address))]
    print(f"{role}: {len(pages)} pages at 1280 and 360 px, {len(found)} faults")
    assert len(pages) > (5 if role == "homeowner" else 15)
    assert not found, "\n".join(found)
