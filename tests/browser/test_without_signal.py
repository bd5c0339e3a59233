"""The day on the phone before the attic: a real Chromium, with the network cut for pages and worker."""

import time
from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
import time_machine
from django.urls import reverse
from PIL import Image
from playwright.sync_api import Page, expect

from equipment.models import FilterChange, User
from schedules import due
from schedules.models import FieldEntry, Photograph, Visit
from servicedesk import phone_files
from tests.browser.conftest import World
from tests.browser.cut_network import CutNetwork, Wire
from tests.browser.phone import (
    KEPT,
    Phone,
    caches_of,
    complete,
    is_soon,
    queued,
    send_all,
    shot,
    the_visit,
)
from tests.factories import VisitFactory
from tests.pictures import jpeg

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_sheet_stops_and_form_open_without_signal(
    world: World, visit: Visit, page: Page, wire: CutNetwork
) -> None:
    shot(page, "01-day-kept")
    wire.set(Wire.REFUSE)
    page.goto("/")
    expect(page.get_by_role("heading", level=1)).to_contain_text("has 1 stop")
    expect(page.locator("#phone-line")).to_contain_text("No signal: this page is as it was at")
    expect(page.get_by_text("Attic hatch code 4711")).to_be_visible()
    shot(page, "02-day-without-signal")
    page.locator(".stops a.go").click()
    expect(page.get_by_role("button", name="Complete the visit")).to_be_visible()
    shot(page, "03-visit-without-signal")
    page.goto(reverse("filter", args=[world.attic.pk]))
    expect(page.locator(".size.big")).to_contain_text("16 × 25 × 1")
    page.goto(reverse("van", args=[world.technician.pk, world.today.isoformat()]))
    expect(page.get_by_role("heading", level=1)).to_contain_text("to be loaded")
    # What was never part of the day is not there, and the page says what is.
    page.goto(reverse("site", args=[world.home.pk]))
    expect(page.get_by_role("heading", level=1)).to_have_text("No signal here")
    expect(page.locator("#kept-pages a")).to_have_count(3)
    shot(page, "04-no-signal")


def test_only_pages_of_the_day_are_kept(world: World, visit: Visit, page: Page) -> None:
    page.goto(reverse("site", args=[world.mill.pk]))
    page.goto(reverse("look-up") + "?q=mill")
    names = "async () => (await phone.facts()).keep"
    kept = """async () => {
      const found = [];
      for (const name of (await caches.keys()).filter((one) => one.startsWith("day "))) {
        const cache = await caches.open(name);
        for (const request of await cache.keys()) found.push(new URL(request.url).pathname);
      }
      return found;
    }"""
    assert sorted(page.evaluate(kept)) == sorted(page.evaluate(names))
    assert len(page.evaluate(kept)) == 4


def test_a_visit_completed_without_signal_arrives_once_with_its_time(
    visit: Visit, page: Page, wire: CutNetwork
) -> None:
    wire.set(Wire.REFUSE)
    page.goto(the_visit(visit))
    page.get_by_role("button", name="I am at the door").click()
    expect(page.locator(".kept").first).to_contain_text(KEPT)
    pressed = datetime.now(UTC)
    page.get_by_label("Findings").fill("Rust on the rack")
    page.get_by_role("button", name="Complete the visit").dblclick()
    expect(page.locator(".kept")).to_have_count(2)
    expect(page.locator(".kept").last).to_contain_text("Rust on the rack")
    shot(page, "05-visit-kept")
    page.locator(".kept a").last.click()
    expect(page.locator(".unsent")).to_have_text("written here, not sent")
    expect(page.locator("#phone-line")).to_contain_text("2 entries wait for signal")
    shot(page, "06-day-with-entries")
    page.goto(the_visit(visit))
    expect(page.locator(".kept")).to_have_count(2)
    time.sleep(2)
    wire.set(Wire.PASS)
    page.get_by_role("button", name="Send now").click()
    is_soon(lambda: FieldEntry.objects.count() == 2)
    expect(page.locator("#phone-line")).not_to_contain_text("wait")
    visit.refresh_from_db()
    assert visit.state == Visit.State.COMPLETED
    assert visit.completed_at
    assert abs(visit.completed_at - pressed) < timedelta(seconds=1.5)
    assert [entry.kind for entry in FieldEntry.objects.order_by("pk")] == ["arrived", "completed"]
    assert queued(page) == 0


def test_a_photograph_follows_its_entry_and_is_made_small(
    world: World, visit: Visit, page: Page, wire: CutNetwork
) -> None:
    page.goto(the_visit(visit))
    wire.set(Wire.REFUSE)
    large = {"name": "frame.jpg", "mimeType": "image/jpeg", "buffer": jpeg(3200, 2400)}
    page.get_by_label("Photograph").set_input_files(large)
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    assert page.evaluate("async () => (await phone.photos()).length") == 1
    wire.set(Wire.LOSE)
    assert page.evaluate("async () => (await phone.send()).state") == "no-signal"
    wire.set(Wire.PASS)
    send_all(page)
    is_soon(lambda: Photograph.objects.count() == 1)
    kept = Photograph.objects.get()
    assert kept.slot == world.attic
    assert max(Image.open(BytesIO(bytes(kept.jpeg))).size) == 1600
    is_soon(lambda: page.evaluate("async () => (await phone.photos()).length") == 0)


@pytest.mark.long
def test_every_file_that_a_page_of_the_day_asks_for_is_kept(
    world: World, visit: Visit, page: Page, wire: CutNetwork
) -> None:
    wire.set(Wire.REFUSE)
    missing: list[str] = []
    page.on("requestfailed", lambda request: missing.append(request.url))
    for address in page.evaluate("async () => (await phone.facts()).keep"):
        page.goto(address)
        page.wait_for_load_state("load")
    assert not [address for address in missing if "/static/" in address]


def test_an_answer_lost_five_times_is_written_down_once(visit: Visit, page: Page, wire: CutNetwork) -> None:
    page.goto(the_visit(visit))
    before = FilterChange.objects.count()
    wire.set(Wire.LOSE)
    page.get_by_label("Findings").fill("Rust on the rack")
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    is_soon(lambda: wire.lost > 0)
    for _again in range(4):
        assert page.evaluate("async () => (await phone.send()).state") == "no-signal"
    assert wire.lost >= 5
    assert FieldEntry.objects.count() == 1
    assert queued(page) == 1
    wire.set(Wire.PASS)
    send_all(page)
    assert FieldEntry.objects.count() == 1
    assert FilterChange.objects.count() == before + 1


def test_the_desk_asks_who_still_stands_before_the_form(world: World, visit: Visit, page: Page) -> None:
    page.goto(the_visit(visit))
    page.get_by_label("Drop of the old filter").fill("12")
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.get_by_label("Drop of the old filter")).to_be_focused()
    assert queued(page) == 0
    page.get_by_label("Drop of the old filter").fill("0.31")
    page.get_by_label("Drop of the clean filter").fill("70 Pa")
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.get_by_role("alert").first).to_contain_text("expected")
    shot(page, "07-asked")
    page.get_by_role("checkbox", name="I looked again: it is so").check()
    page.get_by_role("button", name="Complete the visit").click()
    page.wait_for_url("**" + reverse("site", args=[world.mill.pk]))
    expect(page.get_by_role("status").filter(has_text="Done")).to_be_visible()
    assert FieldEntry.objects.count() == 1
    visit.refresh_from_db()
    assert visit.state == Visit.State.COMPLETED


@pytest.mark.long
def test_what_came_first_is_written_down_without_signal(visit: Visit, page: Page, wire: CutNetwork) -> None:
    page.goto(the_visit(visit))
    wire.set(Wire.REFUSE)
    page.get_by_label("What came first").fill("A burst pipe next door")
    page.get_by_role("button", name="Give this visit another day").click()
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    wire.set(Wire.PASS)
    send_all(page)
    visit.refresh_from_db()
    assert (visit.state, visit.note) == (Visit.State.DISPLACED, "A burst pipe next door")


@pytest.mark.long
def test_what_cannot_be_does_not_wait_without_signal(visit: Visit, page: Page, wire: CutNetwork) -> None:
    page.goto(the_visit(visit))
    wire.set(Wire.REFUSE)
    drop = page.get_by_label("Drop of the old filter")
    drop.fill("12")
    page.get_by_role("button", name="Complete the visit").click()
    expect(drop).to_be_focused()
    assert "must be at most" in drop.evaluate("field => field.validationMessage")
    assert queued(page) == 0
    drop.fill("0.12")
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    assert queued(page) == 1


@pytest.mark.long
def test_a_desk_that_never_answers_shows_the_kept_page_and_keeps_the_entry(
    visit: Visit, page: Page, wire: CutNetwork
) -> None:
    wire.set(Wire.SWALLOW)
    began = time.monotonic()
    page.goto(the_visit(visit))
    expect(page.get_by_role("button", name="I am at the door")).to_be_visible()
    assert 3 < time.monotonic() - began < 8
    page.get_by_role("button", name="I am at the door").click()
    expect(page.locator(".kept")).to_contain_text(KEPT, timeout=12000)
    wire.set(Wire.PASS)
    send_all(page)
    assert FieldEntry.objects.count() == 1


ADD = """async ([user, visits, kind]) => {
  const same = { user, kind, fields: {}, shown: [], title: "" };
  for (const visit of visits)
    await phone.add({ ...same, visit, id: crypto.randomUUID(), at: Date.now() });
}"""


def many(world: World, count: int) -> list[int]:
    """So many visits of today."""
    return [
        VisitFactory(
            site=world.mill, technician=world.technician, day=world.today, state=Visit.State.SCHEDULED
        ).pk
        for _one in range(count)
    ]


def arrived_in_order(visits: list[int]) -> None:
    rows = list(FieldEntry.objects.order_by("pk").values_list("visit_number", "number"))
    assert [visit for visit, _number in rows] == visits
    numbers = [number for _visit, number in rows]
    assert numbers == sorted(numbers)


def test_what_waits_goes_out_though_no_page_is_open(
    visit: Visit, phone: Phone, page: Page, wire: CutNetwork
) -> None:
    wire.set(Wire.REFUSE)
    complete(page, visit)
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    page.goto("about:blank")
    wire.set(Wire.PASS)
    phone.signal_is_back(page)
    is_soon(lambda: FieldEntry.objects.count() == 1)


@pytest.mark.long
def test_an_entry_that_nobody_understands_holds_up_no_other(
    world: World, terry: User, page: Page, wire: CutNetwork
) -> None:
    rows = many(world, 3)
    wire.set(Wire.REFUSE)
    page.evaluate(ADD, [terry.pk, rows[:1], "arrived"])
    page.evaluate(ADD, [terry.pk, rows[1:2], "nonsense"])
    page.evaluate(ADD, [terry.pk, rows[2:], "arrived"])
    wire.set(Wire.PASS)
    page.evaluate("async () => { await phone.send(); }")
    assert queued(page) == 1
    arrived_in_order([rows[0], rows[2]])
    expect(page.locator("#phone-line")).to_contain_text(
        "1 entry was not understood by the desk and stays here"
    )


@pytest.mark.long
def test_five_hundred_entries_over_a_wire_that_loses_answers(
    world: World, terry: User, page: Page, wire: CutNetwork
) -> None:
    rows = many(world, 500)
    wire.set(Wire.REFUSE)
    page.evaluate(ADD, [terry.pk, rows, "arrived"])
    assert queued(page) == 500
    wire.set(Wire.LOSSY)
    send_all(page, 240)
    arrived_in_order(rows)
    assert wire.lost > 5


def test_killed_in_the_middle_of_the_queue(
    world: World, terry: User, phone: Phone, page: Page, wire: CutNetwork
) -> None:
    rows = many(world, 120)
    wire.set(Wire.REFUSE)
    page.evaluate(ADD, [terry.pk, rows, "arrived"])
    wire.set(Wire.PASS)
    page.evaluate("() => { phone.send(); }")
    is_soon(lambda: FieldEntry.objects.count() >= 30)
    phone.kill()
    there = FieldEntry.objects.count()
    assert there < 120, "it was killed too late to prove anything"
    again = phone.open()
    phone.sign_in(terry)
    again.goto(the_visit(Visit.objects.get(pk=rows[0])))
    send_all(again)
    arrived_in_order(rows)
    assert FieldEntry.objects.count() == 120


@pytest.mark.long
def test_a_killed_phone_still_has_the_day_without_signal(
    visit: Visit, phone: Phone, page: Page, wire: CutNetwork
) -> None:
    wire.set(Wire.REFUSE)
    complete(page, visit)
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    phone.kill()
    again = phone.open()
    again.goto("/")
    expect(again.get_by_text("Attic hatch code 4711")).to_be_visible()
    expect(again.locator(".unsent")).to_have_text("written here, not sent")


def test_a_clock_a_day_off_changes_no_time(world: World, visit: Visit, page: Page, wire: CutNetwork) -> None:
    """The desk's clock is set a day on: seen from there the phone's is a day late, in page and worker."""
    tomorrow = datetime.now(UTC) + timedelta(days=1)
    with time_machine.travel(tomorrow, tick=True):
        visit.day = due.today(tomorrow)
        visit.save()
        page.reload()
        is_soon(lambda: page.evaluate("async () => (await phone.facts()).skew") > 86000000)
        is_soon(lambda: page.evaluate("async () => (await phone.keptCount()).kept") == 1)
        wire.set(Wire.REFUSE)
        page.goto(the_visit(visit))
        pressed = datetime.now(UTC)
        page.get_by_role("button", name="I am at the door").click()
        expect(page.locator(".kept").first).to_contain_text(KEPT)
        time.sleep(2)
        wire.set(Wire.PASS)
        send_all(page)
        visit.refresh_from_db()
        assert visit.arrived_at
        assert abs(visit.arrived_at - pressed) < timedelta(seconds=1.5)


@pytest.mark.long
def test_a_new_version_of_the_desk_takes_the_place_of_the_old(
    page: Page, monkeypatch: pytest.MonkeyPatch
) -> None:
    is_soon(lambda: f"desk {phone_files.version()}" in caches_of(page))
    monkeypatch.setattr(phone_files, "_kept", lambda: "newer")
    page.evaluate("async () => { await (await navigator.serviceWorker.getRegistration()).update(); }")
    is_soon(lambda: [name for name in caches_of(page) if name.startswith("desk ")] == ["desk newer"])
    page.reload()
    expect(page.locator("#phone-line")).to_contain_text("On this phone since")


PAINT = """() => new Promise((done) => {
  const look = () => {
    const found = performance.getEntriesByName("first-contentful-paint")[0];
    if (found) done(Math.round(found.startTime)); else setTimeout(look, 10);
  };
  look();
})"""
SIZES = """() => [performance.getEntriesByType("navigation")[0], ...performance.getEntriesByType("resource")]
  .filter((one) => !one.name.includes("/days/"))
  .map((one) => [new URL(one.name).pathname, one.encodedBodySize])"""


@pytest.mark.long
def test_how_soon_it_paints_and_what_it_weighs(
    visit: Visit, page: Page, phone: Phone, wire: CutNetwork, capsys: pytest.CaptureFixture[str]
) -> None:
    lines = []
    for mode in (Wire.PASS, Wire.REFUSE):
        wire.set(mode)
        paints = []
        for _again in range(5):
            page.goto(the_visit(visit))
            paints.append(page.evaluate(PAINT))
        lines.append(f"first contentful paint of a visit, {mode.value}: {sorted(paints)} ms")
        assert all(paint > 0 for paint in paints)
    wire.set(Wire.PASS)
    page.goto("/")
    sizes = dict(page.evaluate(SIZES))
    page.goto(the_visit(visit))
    sizes |= dict(page.evaluate(SIZES))
    lines += [f"{size:>8} bytes {name}" for name, size in sizes.items()]
    ours = sum(size for name, size in sizes.items() if "/phone/" in name)
    lines.append(f"{ours:>8} bytes all of the phone's scripts on a page")
    with capsys.disabled():
        print("\n" + "\n".join(lines))
