"""The day ends: nothing that opens a door is left, whatever is kept and however a page comes back."""

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
import time_machine
from playwright.sync_api import Page, expect

from equipment.models import User
from schedules.models import Visit
from servicedesk import access, no_copies
from tests.browser.chromium import let_finish
from tests.browser.cut_network import CutNetwork, Wire
from tests.browser.phone import Phone, caches_of, is_soon, keeps_the_day, the_visit

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def evening(settings: object) -> Iterator[None]:
    """The desk's clock stands twelve seconds before midnight, and runs: asked for after what takes long."""
    late = datetime.now(ZoneInfo("America/Chicago")).replace(hour=23, minute=59, second=48, microsecond=0)
    with time_machine.travel(late, tick=True):
        yield


def test_past_the_end_of_the_day_no_code_is_left(
    visit: Visit, phone: Phone, evening: None, page: Page, wire: CutNetwork
) -> None:
    expect(page.locator("[data-access]")).to_have_count(1)
    page.goto(the_visit(visit))
    expect(page.locator("[data-access]")).to_have_count(1)
    wire.set(Wire.REFUSE)
    expect(page.locator("[data-access]")).to_have_count(0, timeout=20000)
    is_soon(lambda: not [name for name in caches_of(page) if name.startswith("day ")])
    page.go_back()
    expect(page.locator("[data-access]")).to_have_count(0)
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_have_text("No signal here")
    expect(page.locator("#nothing-kept")).to_be_visible()


@pytest.mark.long
@pytest.mark.parametrize("whole_pages", [False, True], ids=["asked anew", "kept whole by the browser"])
def test_back_to_a_page_of_a_day_that_is_over_shows_no_code(
    whole_pages: bool,
    visit: Visit,
    terry: User,
    phone: Phone,
    evening: None,
    wire: CutNetwork,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    if whole_pages:
        # Chromium brings no page back that no cache may keep; others may, and the page itself sees to it.
        monkeypatch.setattr(no_copies, "STAFF", access.NOBODY)
    phone.goes_back_to_whole_pages = whole_pages
    page = phone.open()
    phone.sign_in(terry)
    page.goto("/")
    page.reload()
    keeps_the_day(page, 1)
    expect(page.locator("[data-access]")).to_have_count(1)
    let_finish(page)
    page.evaluate("() => { self.marked = true; }")
    page.goto("/static/servicedesk/icon.svg")
    wire.set(Wire.REFUSE)
    page.wait_for_timeout(13000)
    page.evaluate("() => history.back()")  # go_back waits for a load that a page brought back has not
    expect(page.locator("h1")).to_be_visible()
    assert bool(page.evaluate("() => self.marked")) == whole_pages
    expect(page.locator("[data-access]")).to_have_count(0, timeout=500)
    assert "4711" not in page.content()
