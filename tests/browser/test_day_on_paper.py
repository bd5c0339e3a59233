"""Twelve stops on one page."""

import re
from datetime import timedelta

import pytest
from playwright.sync_api import expect

from schedules import due, routes
from schedules.models import Visit
from shared.units import PA_PER_INWC
from tests.browser.conftest import PageAt, SignIn, World
from tests.factories import (
    DefectFactory,
    FilterSlotFactory,
    ReadingFactory,
    RuntimeDayFactory,
    SiteFactory,
    SystemFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
STOPS = 12
# What is said of a stop and its two filters, twelve times; without the map's scripts.
LARGEST_KB = 45
# Letter and A4, in inches; both have to hold it.
PAPERS = ("Letter", "A4")


def add_stops(world: World) -> None:
    """Homes of two filters each, read before, with cautions, notes and every third with a defect."""
    for n in range(STOPS):
        site = SiteFactory(
            name=f"home {n}", street=f"{n} Long Meadow Crossing", city="Kettle Bend", region="Teal County",
            latitude=41.9 + 0.004 * n, longitude=-87.7, pets=True, cautions="steep stairs",
        )  # fmt: skip
        system = SystemFactory(name=f"air {n}", site=site, design_airflow_m3s=0.5)
        RuntimeDayFactory(system=system, day=world.today - timedelta(days=2))
        visit = VisitFactory(
            site=site, technician=world.technician, day=world.today + timedelta(days=1), state="scheduled"
        )
        for place in ("attic rack behind the air handler", "hall ceiling"):
            slot = FilterSlotFactory(
                system=system, location=place, first_media=world.attic.first_media,
                fitted_on=world.today - timedelta(days=120), access_notes="key under the third pot",
            )  # fmt: skip
            ReadingFactory(
                slot=slot, taken_at=world.now - timedelta(days=40), filter_drop_pa=0.2 * PA_PER_INWC
            )
            VisitJobFactory(visit=visit, slot=slot)
        if n % 3 == 0:
            DefectFactory(visit=VisitFactory(site=site, state="completed"), kind="return_leak")
    due.replan(world.now)
    routes.order_day(world.technician, world.today + timedelta(days=1), world.now)


def test_the_day_prints_on_one_page_and_stays_light(world: World, page_at: PageAt, sign_in: SignIn) -> None:
    add_stops(world)
    page = page_at(1000)
    sign_in(page, world.manager_user)
    tomorrow = world.today + timedelta(days=1)
    answer = page.goto(f"/days/{world.technician.pk}/{tomorrow:%Y-%m-%d}/")
    assert answer
    assert len(answer.body()) < LARGEST_KB * 1000
    print(f"the sheet of {STOPS} stops, {2 * STOPS} filters: {len(answer.body()) / 1000:.1f} kB as text")
    expect(page.locator(".stops > li")).to_have_count(STOPS)
    expect(page.locator(".stops .drops dd strong")).to_have_count(2 * STOPS)
    assert Visit.objects.filter(day=tomorrow, stop_number__isnull=False).count() == STOPS
    for paper in PAPERS:
        pages = re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))
        assert len(pages) == 1, f"{len(pages)} pages of {paper}"
    done = Visit.objects.filter(day=tomorrow).order_by("stop_number")[:3]
    Visit.objects.filter(pk__in=[one.pk for one in done]).update(state="completed", completed_at=world.now)
    page.reload()
    over = page.locator(".over .stops > li")
    expect(over).to_have_count(3)
    expect(over.first).to_be_hidden()
    page.emulate_media(media="print")
    expect(over.first).to_be_visible()
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(format="A4"))) == 1
