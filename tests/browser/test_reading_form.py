"""What can hardly be is asked about under the field at once, before anything is sent."""

import pytest
from django.urls import reverse
from playwright.sync_api import Locator, Page, expect

from equipment.models import Reading, System
from schedules import visits
from schedules.models import Plan, Visit
from schedules.visits import Booking
from shared.units import PA_PER_INWC
from tests.browser.conftest import PageAt, SignIn, World

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def visit(world: World) -> Visit:
    """Today's visit to the mill, where 0.14 in. w.c. are expected and the blower's table ends at 0.9."""
    Plan.objects.filter(slot=world.attic).update(
        drop_now_pa=0.14 * PA_PER_INWC, clean_drop_pa=0.10 * PA_PER_INWC, limit_drop_pa=0.3 * PA_PER_INWC
    )
    System.objects.filter(pk=world.attic.system_id).update(
        rated_external_static_pa=0.5 * PA_PER_INWC,
        blower_table=[[0.2, 0.9 * PA_PER_INWC], [0.4, 0.3 * PA_PER_INWC]],
    )
    booking = Booking(world.mill, [world.attic], [], world.technician, world.today, sure=True)
    return visits.book(booking, world.now)


@pytest.fixture
def page(world: World, visit: Visit, page_at: PageAt, sign_in: SignIn) -> Page:
    """The visit's form on the technician's phone."""
    assert world.technician.user
    page = page_at(360)
    sign_in(page, world.technician.user)
    page.goto(reverse("visit", args=[visit.pk]))
    page.locator("details.air summary").click()
    return page


def type_in(page: Page, label: str, text: str) -> Locator:
    """Fill the field and leave it; what is said under it."""
    field = page.get_by_label(label, exact=label != "Drop of the old filter")
    field.fill(text)
    field.blur()
    return page.locator(".field").filter(has=field).get_by_role("status")


SAID: dict[str, dict[str, str]] = {
    "Drop of the old filter": {
        "0.15": "= 37 Pa",
        "37 Pa": "= 0.15 in. w.c.",
        "0.42-0.27": "= 0.15 in. w.c. = 37 Pa",
        "105 - 60 Pa": "= 45 Pa = 0.18 in. w.c.",
        "0.3": "0.30 in. w.c. where about 0.14 in. w.c. was expected: was",
        "0,03": "is the meter at nought",
        "0.18-0.42": "0.18-0.42 is below nought, which no filter's drop is",
        "35": "must be at most 10.00 in. w.c.; if it was read in Pa, write 35 Pa",
        "-0.2": "tubes, or the two statics, are swapped",
        "5": "5 in. w.c. would be unusual",
        "1,250 Pa": "1,250 Pa may be in thousands or a decimal",
        "0,15": "= 37 Pa",
        ",42-,27": "= 0.15 in. w.c. = 37 Pa",
        "0.42 inw": "“0.42 inw” is not a number with a unit known here",
        "0.42 in.w.c. - 0.27": "= 0.15 in. w.c. = 37 Pa",
    },
    "Airflow of the whole system": {"1,200": "= 566 L/s", "60": "is 10 % of design"},
    "Drop of the clean filter": {
        "0.25": "a clean filter of this kind takes about 0.10 in. w.c.",
        "0.7": "this blower is rated for",
    },
    "Supply static": {
        "1.2": "this blower's table ends at 0.90 in. w.c.",
        "0.6": "the airflow will be short",
    },
}


@pytest.mark.parametrize("label", SAID)
def test_it_is_said_at_once(page: Page, label: str) -> None:
    before = ""
    for typed, said in SAID[label].items():
        # Else what was said of one could be taken for what is said of the next.
        assert said not in before, typed
        status = type_in(page, label, typed)
        expect(status, typed).to_contain_text(said)
        before = status.text_content() or ""
    expect(type_in(page, label, "")).to_have_text("")
    assert Reading.objects.count() == 1


def test_two_fields_that_do_not_go_together_are_asked_about(page: Page) -> None:
    type_in(page, "Drop of the old filter", "0.15")
    said = type_in(page, "Drop of the clean filter", "0.15")
    expect(said).to_contain_text("were the two swapped")
    said = type_in(page, "Drop of the clean filter", "0.11")
    expect(said).to_have_text("= 27 Pa")
    page.get_by_label("Return static was read").select_option("in")
    type_in(page, "Return static", "0.11")
    expect(said).to_contain_text("or the return static?")
    type_in(page, "Return static", "0.3")
    expect(said).to_have_text("= 27 Pa")


def test_the_box_that_answers_comes_and_goes_with_the_question(
    page: Page, world: World, visit: Visit
) -> None:
    tick = page.get_by_role("checkbox", name="I looked again: it is so")
    expect(tick).to_have_count(0)
    type_in(page, "Drop of the old filter", "0.31")
    tick.check()
    type_in(page, "Drop of the old filter", "0.15")
    expect(tick).to_have_count(0)
    type_in(page, "Drop of the old filter", "0.31")
    expect(tick).not_to_be_checked()
    tick.check()
    page.get_by_role("button", name="Complete the visit").click()
    page.wait_for_url("**" + reverse("site", args=[world.mill.pk]))
    assert Reading.objects.latest("taken_at").filter_drop_pa == pytest.approx(0.31 * PA_PER_INWC)


def test_what_a_glove_has_to_hit_is_large_enough(page: Page) -> None:
    shown = page.locator("form[enctype] :is(input, select, textarea, button, summary):visible").all()
    low = []
    for control in shown:
        kind = control.get_attribute("type")
        place = control.locator("xpath=..") if kind == "checkbox" else control
        box = place.bounding_box()
        if box is None or box["height"] < 44:
            low.append((control.get_attribute("name"), box))
    assert len(shown) > 10
    assert low == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360


def test_the_unit_brings_the_keys_that_a_keypad_lacks(page: Page) -> None:
    field = page.get_by_label("Drop of the old filter").first
    expect(field).to_have_attribute("inputmode", "decimal")
    page.get_by_role("button", name="another unit or a minus").first.click()
    expect(field).to_have_attribute("inputmode", "text")
    expect(field).to_be_focused()
