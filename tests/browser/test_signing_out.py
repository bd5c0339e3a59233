"""What a phone holds when somebody signs out, with and without signal: nothing, and nobody else's."""

import pytest
from playwright.sync_api import Page, expect

from equipment.models import User
from schedules.models import FieldEntry, Visit
from tests.browser.conftest import World
from tests.browser.cut_network import CutNetwork, Wire
from tests.browser.phone import KEPT, Phone, caches_of, complete, is_soon, queued, shot, the_visit
from tests.factories import TechnicianFactory, UserFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_signing_out_clears_the_phone(page: Page) -> None:
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sign in")
    assert caches_of(page) == []
    assert page.evaluate("async () => (await indexedDB.databases()).length") == 0
    assert page.evaluate("async () => (await navigator.serviceWorker.getRegistrations()).length") == 0


def test_signing_out_names_what_would_be_lost(visit: Visit, page: Page, wire: CutNetwork) -> None:
    wire.set(Wire.LOSE)
    complete(page, visit)
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("dialog")).to_contain_text("1 entry could not be sent")
    shot(page, "08-sign-out-asks")
    page.get_by_role("button", name="Stay signed in").click()
    assert queued(page) == 1
    wire.set(Wire.PASS)
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sign in")
    assert FieldEntry.objects.count() == 1
    assert caches_of(page) == []


def test_what_is_fetched_while_somebody_signs_out_is_not_kept(visit: Visit, page: Page) -> None:
    """The phone was about to write its copies; they come after all was deleted."""
    left = page.evaluate(
        """async () => {
          const told = await phone.facts();
          const open = CacheStorage.prototype.open;
          let free;
          const gate = new Promise((done) => (free = done));
          CacheStorage.prototype.open = async function (name) {
            await gate;
            return open.call(this, name);
          };
          let held = false;
          const keeping = (async () => {
            while (!held) {
              await phone.keep(told, { anew: true }).then((said) => (held = said !== null));
            }
          })();
          await new Promise((done) => setTimeout(done, 500));
          await phone.clear();
          free();
          await keeping;
          return { user: told.user, caches: await caches.keys() };
        }"""
    )
    assert left["user"]
    assert left["caches"] == []


@pytest.mark.long
def test_signing_out_without_signal_clears_now_and_signs_out_later(
    world: World, page: Page, wire: CutNetwork
) -> None:
    wire.set(Wire.REFUSE)
    page.get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("dialog")).to_contain_text("There is no signal")
    page.get_by_role("button", name="Forget everything here").click()
    expect(page.get_by_role("alert")).to_contain_text("has forgotten everything")
    assert caches_of(page) == []
    wire.set(Wire.PASS)
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sign in")


def test_a_form_left_open_is_sent_under_nobody_elses_name(
    world: World, visit: Visit, terry: User, phone: Phone, page: Page
) -> None:
    page.goto(the_visit(visit))
    page.get_by_label("Findings").fill("Rust on the rack")
    # Overnight somebody signed out in another page, and somebody else came.
    beside = phone.open()
    beside.goto("/")
    beside.get_by_role("button", name="Sign out").click()
    expect(beside.get_by_role("heading", level=1)).to_contain_text("Sign in")
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept").last).to_contain_text("You are signed out")
    expect(page.locator(".kept").last).to_contain_text("Rust on the rack")
    shot(page, "09-kept-signed-out")
    other = UserFactory(username="other", role=User.Role.TECHNICIAN)
    TechnicianFactory(name="Ola Other", user=other)
    phone.sign_in(other)
    beside.goto("/")
    expect(beside.locator("#phone-line")).to_contain_text("1 entry of another person waits here")
    shot(beside, "10-another-person")
    beside.evaluate("async () => { await phone.send(); }")
    assert FieldEntry.objects.count() == 0
    # Their own sign-out leaves what is not theirs.
    beside.get_by_role("button", name="Sign out").click()
    expect(beside.get_by_role("heading", level=1)).to_contain_text("Sign in")
    phone.sign_in(terry)
    beside.goto("/")
    is_soon(lambda: FieldEntry.objects.count() == 1)
    assert FieldEntry.objects.get().user == terry


def test_whoever_is_signed_out_has_no_kept_page(page: Page, phone: Phone) -> None:
    assert [name for name in caches_of(page) if name.startswith("day ")]
    phone.end_session()
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Sign in")
    is_soon(lambda: not [name for name in caches_of(page) if name.startswith("day ")])
