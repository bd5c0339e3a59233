"""A photograph of filter and frame, from the phone's form to the filter's page."""

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from schedules import visits
from schedules.models import Photograph
from schedules.visits import Booking
from tests.browser.conftest import PageAt, SignIn, World
from tests.pictures import jpeg

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_it_comes_with_the_visit_and_is_seen_at_the_filter(
    world: World, page_at: PageAt, sign_in: SignIn
) -> None:
    assert world.technician.user
    visit = visits.book(
        Booking(world.mill, [world.attic], [], world.technician, world.today, sure=True), world.now
    )
    page = page_at(360)
    sign_in(page, world.technician.user)
    page.goto(reverse("visit", args=[visit.pk]))
    chooser = page.get_by_label("Photograph of filter and frame")
    chooser.set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": b"<html>"})
    page.get_by_role("button", name="Complete the visit").click()
    expect(page.locator(".error")).to_contain_text("no photograph")
    chooser.set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": jpeg(2400, 1800)})
    page.get_by_role("button", name="Complete the visit").click()
    page.wait_for_url("**" + reverse("site", args=[world.mill.pk]))
    assert (Photograph.objects.get().width, Photograph.objects.get().height) == (1600, 1200)
    page.goto(reverse("filter", args=[world.attic.pk]))
    shown = page.get_by_role("img", name="Filter and frame")
    shown.scroll_into_view_if_needed()
    expect(shown).to_have_js_property("naturalWidth", 1600)
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
