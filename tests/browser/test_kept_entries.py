"""Entries that are kept on the phone, opened again: corrected before they go, never twice, never lost."""

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from equipment.models import Reading
from schedules.forms import LONGEST_TEXT
from schedules.models import FieldEntry, Photograph, Visit
from tests.browser.conftest import PageAt, SignIn, World
from tests.browser.cut_network import CutNetwork, Wire
from tests.browser.phone import KEPT, complete, is_soon, queued, send_all, shot, the_visit
from tests.factories import TagFactory
from tests.pictures import jpeg

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
OPEN = "Open it again"


def drop(page: Page) -> str:
    return page.get_by_label("Drop of the old filter").input_value()


def test_a_mistyped_reading_is_put_right_before_it_goes(
    world: World, visit: Visit, page: Page, wire: CutNetwork
) -> None:
    wire.set(Wire.REFUSE)
    page.goto(the_visit(visit))
    page.get_by_label("Drop of the old filter").fill("0.13")
    page.get_by_label("Changed").first.uncheck()
    page.get_by_label("Soot").check()
    large = {"name": "frame.jpg", "mimeType": "image/jpeg", "buffer": jpeg(320, 240)}
    page.get_by_label("Photograph").set_input_files(large)
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept")).to_contain_text("0.13")
    pressed = page.evaluate("async () => (await phone.entries())[0].at")
    page.reload()
    shot(page, "11-kept-to-open")
    page.get_by_role("button", name=OPEN).click()
    assert drop(page) == "0.13"
    assert not page.get_by_label("Changed").first.is_checked()
    assert page.get_by_label("Soot").is_checked()
    expect(page.get_by_text("1 photograph is kept with it")).to_be_visible()
    shot(page, "12-opened-again")
    # While it stands open nothing of it goes.
    wire.set(Wire.PASS)
    page.evaluate("async () => { await phone.send(); }")
    assert FieldEntry.objects.count() == 0
    page.get_by_label("Drop of the old filter").fill("0.31")
    page.get_by_role("button", name="Complete the visit").click()
    # The desk asks; until it is answered what waited here stays here.
    expect(page.get_by_role("alert").first).to_contain_text("was expected")
    assert queued(page) == 1
    page.get_by_role("checkbox", name="I looked again: it is so").check()
    page.get_by_role("button", name="Complete the visit").click()
    is_soon(lambda: FieldEntry.objects.count() == 1)
    kept = FieldEntry.objects.get()
    assert kept.state == FieldEntry.State.TAKEN
    assert round(kept.at.timestamp() * 1000) == pressed
    assert [round(row.filter_drop_pa) for row in Reading.objects.filter(taken_at=kept.at)] == [77]
    is_soon(lambda: Photograph.objects.filter(entry=kept.uid).count() == 1)


@pytest.mark.long
def test_what_is_left_open_goes_as_it_was_written(visit: Visit, page: Page, wire: CutNetwork) -> None:
    wire.set(Wire.REFUSE)
    complete(page, visit)
    page.get_by_role("button", name=OPEN).click()
    page.get_by_label("Findings").fill("Never sent")
    page.goto("/")
    assert queued(page) == 1
    wire.set(Wire.PASS)
    send_all(page)
    visit.refresh_from_db()
    assert visit.findings == "Rust on the rack"


def test_what_the_desk_had_already_is_not_counted_again_when_it_is_corrected(
    visit: Visit, page: Page, wire: CutNetwork
) -> None:
    page.goto(the_visit(visit))
    wire.set(Wire.LOSE)
    page.get_by_label("Findings").fill("Rust on the rack")
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    is_soon(lambda: FieldEntry.objects.count() == 1)
    page.get_by_role("button", name=OPEN).click()
    page.get_by_label("Findings").fill("Rust on the drain pan")
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    wire.set(Wire.PASS)
    send_all(page)
    first, second = FieldEntry.objects.order_by("pk")
    assert (first.state, second.state) == (FieldEntry.State.TAKEN, FieldEntry.State.BESIDE)
    assert second.fields["findings"] == ["Rust on the drain pan"]
    visit.refresh_from_db()
    assert visit.findings == "Rust on the rack"


def test_a_parked_entry_can_be_shortened_and_sent(visit: Visit, page: Page, wire: CutNetwork) -> None:
    page.goto(the_visit(visit))
    expect(page.get_by_label("Findings")).to_have_attribute("maxlength", str(LONGEST_TEXT))
    page.get_by_label("Findings").evaluate("(field) => field.removeAttribute('maxlength')")
    page.get_by_label("Findings").fill("x" * (LONGEST_TEXT + 1))
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept")).to_contain_text("did not understand")
    wire.set(Wire.REFUSE)
    page.goto("/nowhere/")
    expect(page.locator("#waiting")).to_contain_text("1 entry was not understood")
    expect(page.locator("#waiting")).not_to_contain_text("waits for signal")
    shot(page, "13-parked")
    wire.set(Wire.PASS)
    page.goto("/")
    page.get_by_role("link", name="Open it").click()
    page.get_by_role("button", name=OPEN).click()
    page.get_by_label("Findings").fill("Rust")
    page.get_by_label("Drop of the old filter").fill("0.18")
    page.get_by_role("button", name="Complete the visit").click()
    page.wait_for_url("**/sites/**")
    is_soon(lambda: FieldEntry.objects.count() == 1)
    visit.refresh_from_db()
    assert visit.findings == "Rust"
    is_soon(lambda: queued(page) == 0)


@pytest.mark.long
def test_the_other_end_takes_the_place_of_the_one_that_was_kept(
    visit: Visit, page: Page, wire: CutNetwork
) -> None:
    wire.set(Wire.REFUSE)
    page.goto(the_visit(visit))
    page.get_by_role("button", name="No access").click()
    page.get_by_role("button", name=OPEN).click()
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept")).to_have_count(1)
    assert queued(page) == 1
    wire.set(Wire.PASS)
    send_all(page)
    visit.refresh_from_db()
    assert visit.state == Visit.State.COMPLETED


@pytest.mark.parametrize("scripts", [True, False], ids=["with scripts", "without"])
def test_a_ticked_danger_says_at_once_what_to_do(
    world: World, visit: Visit, page_at: PageAt, sign_in: SignIn, scripts: bool
) -> None:
    page = page_at(360, java_script_enabled=scripts)
    assert world.technician.user
    sign_in(page, world.technician.user)
    page.goto(the_visit(visit))
    told = page.get_by_role("alert")
    expect(told).to_have_count(0)
    page.get_by_label("Soot").check()
    expect(told).to_have_count(1)
    expect(told.get_by_role("heading", name="Tell them before you leave")).to_be_visible()
    expect(told).to_contain_text("Leave the appliance off")
    page.get_by_label("Grille blocked").check()
    expect(page.get_by_text("Keep furniture, curtains and boxes away")).to_be_visible()
    shot(page, "14-ticked")
    page.get_by_label("Soot").uncheck()
    expect(told).to_have_count(0)


@pytest.mark.long
def test_what_is_kept_says_what_corrects_it(visit: Visit, page: Page, wire: CutNetwork) -> None:
    wire.set(Wire.REFUSE)
    page.goto(the_visit(visit))
    page.get_by_label("Soot").check()
    expect(page.get_by_role("alert")).to_contain_text("Leave the appliance off")
    page.get_by_label("Grille blocked").check()
    page.get_by_role("button", name="Complete the visit").click()
    kept = page.locator(".kept")
    expect(kept).to_contain_text("Tell them before you leave")
    expect(kept).to_contain_text("Leave the appliance off")
    expect(kept).to_contain_text("Keep furniture, curtains and boxes away")
    shot(page, "15-kept-with-corrections")


def test_a_reading_on_the_filters_page_waits_for_signal(world: World, page: Page, wire: CutNetwork) -> None:
    before = set(world.attic.readings.values_list("pk", flat=True))
    wire.set(Wire.REFUSE)
    page.goto(reverse("filter", args=[world.attic.pk]))
    page.get_by_label("Filter drop").fill("0.31")
    page.get_by_role("button", name="Write the reading down").click()
    expect(page.locator(".kept")).to_contain_text("0.31 in. w.c.")
    page.get_by_role("button", name="Write the change down").click()
    expect(page.locator(".kept")).to_have_count(2)
    page.reload()
    expect(page.locator(".kept")).to_have_count(2)
    wire.set(Wire.PASS)
    send_all(page)
    (row,) = world.attic.readings.exclude(pk__in=before)
    assert round(row.filter_drop_pa) == 77
    assert world.attic.changes.count() == 1
    assert {one.state for one in FieldEntry.objects.all()} == {FieldEntry.State.TAKEN}


def test_a_tag_scanned_without_signal_leads_to_its_form(
    world: World, visit: Visit, page: Page, wire: CutNetwork
) -> None:
    TagFactory(slot=world.attic, code="10AB2V0K")
    page.reload()
    is_soon(lambda: page.evaluate("async () => '10AB2V0K' in ((await phone.facts()).tags || {})"))
    form = f"{the_visit(visit)}#slot{world.attic.pk}"
    for mode in (Wire.PASS, Wire.REFUSE):
        wire.set(mode)
        for typed in ("10AB2V0K", "10AB-2V0K", "ioab-2uok"):
            page.goto("about:blank")
            page.goto(f"/t/{typed}/")
            page.wait_for_url(f"**{form}")
            expect(page.locator(f"#slot{world.attic.pk}")).to_be_in_viewport()
    shot(page, "16-scanned")
    page.goto("/t/99999999/")
    expect(page.get_by_role("heading", level=1)).to_have_text("No signal here")


@pytest.mark.long
def test_a_photograph_of_a_filter_that_is_gone_stays_with_its_entry(
    world: World, visit: Visit, page: Page, wire: CutNetwork
) -> None:
    wire.set(Wire.REFUSE)
    page.goto(the_visit(visit))
    picture = {"name": "frame.jpg", "mimeType": "image/jpeg", "buffer": jpeg(320, 240)}
    page.get_by_label("Photograph").set_input_files(picture)
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    # Meanwhile the desk finds that the filter belongs to another home.
    world.attic.system.site = world.home
    world.attic.system.save()
    wire.set(Wire.PASS)
    send_all(page)
    is_soon(lambda: Photograph.objects.count() == 1)
    kept, entry = Photograph.objects.get(), FieldEntry.objects.get()
    assert (kept.slot, kept.visit, kept.entry) == (None, None, entry.uid)
    assert entry.state == FieldEntry.State.TO_JUDGE
    is_soon(lambda: page.evaluate("async () => (await phone.photos()).length") == 0)


@pytest.mark.long
def test_a_photograph_that_the_desk_cannot_place_stays_on_the_phone(
    visit: Visit, page: Page, wire: CutNetwork
) -> None:
    page.goto(the_visit(visit))
    picture = {"name": "frame.jpg", "mimeType": "image/jpeg", "buffer": jpeg(320, 240)}
    wire.set(Wire.REFUSE)
    page.get_by_label("Photograph").set_input_files(picture)
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".kept").last).to_contain_text(KEPT)
    page.evaluate("""async () => {
      for (const photo of await phone.photos())
        await phone.add((await phone.entries())[0], [{ ...photo, slot: 999999, entry: crypto.randomUUID() }]);
    }""")
    wire.set(Wire.PASS)
    send_all(page)
    page.evaluate("async () => { await phone.send(); }")
    assert page.evaluate("async () => (await phone.photos()).length") == 1
