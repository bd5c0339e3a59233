"""Sheets out of the desk and in again, with a look at what would change, also where no script runs."""

import zipfile
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.urls import reverse
from playwright.sync_api import FilePayload, Page, expect
from pytest_django.fixtures import Settings

from equipment.models import Site
from tests.browser.chromium import HEIGHTS
from tests.browser.conftest import PageAt, SignIn, World

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture(autouse=True)
def own_folder(settings: Settings, tmp_path: Path) -> None:
    settings.VAR_DIR = tmp_path


def taken_out(page: Page, to: Path) -> dict[str, str]:
    """Every sheet of the desk."""
    page.goto(reverse("sheets"))
    with page.expect_download() as asked:
        page.get_by_role("link", name="Everything as sheets").click()
    asked.value.save_as(to)
    with zipfile.ZipFile(to) as archive:
        return {name: archive.read(name).decode() for name in archive.namelist()}


def send(page: Page, sheets: dict[str, str]) -> None:
    files: list[FilePayload] = [
        {"name": name, "mimeType": "text/csv", "buffer": text.encode()} for name, text in sheets.items()
    ]
    page.set_input_files("#sheets", files)
    page.get_by_role("button", name="See what would change").click()


def test_a_town_is_changed_by_way_of_a_sheet_without_any_script(
    world: World, page_at: PageAt, sign_in: SignIn, tmp_path: Path
) -> None:
    page = page_at(360, java_script_enabled=False)
    sign_in(page, world.manager_user)
    sheets = taken_out(page, tmp_path / "all.zip")
    town = Site.objects.exclude(city="").order_by("name")[0].city
    sheets["installed.csv"] = sheets["installed.csv"].replace(f",{town},", ",Elsewhere,")
    send(page, sheets)
    expect(page.locator("h1")).to_have_text("This is what would change; nothing is stored yet")
    expect(page.locator("table[data-name=changes] tbody tr").first).to_contain_text(town)
    assert Site.objects.filter(city=town).exists()
    page.get_by_role("button", name="Store it").click()
    expect(page.locator("h1")).to_have_text("The sheets are in the record")
    assert not Site.objects.filter(city=town).exists()
    send(page, sheets)
    expect(page.locator("h1")).to_have_text("All of this is on record already; nothing would change")


def test_a_preview_with_faults_is_open_to_everybody_and_fits_a_phone(
    world: World, page_at: PageAt, sign_in: SignIn, tmp_path: Path
) -> None:
    page = page_at(1280, may_log=("the server responded with a status of 422",))
    sign_in(page, world.manager_user)
    sheets = taken_out(page, tmp_path / "all.zip")
    sheets["installed.csv"] = sheets["installed.csv"].replace("16x25x1", "16x25x2")
    send(page, sheets | {"changes.csv": "filter_slot,changed_on\nnowhere,2026-01-01\n"})
    expect(page.locator("h1")).to_have_text("1 fault; nothing was stored")
    expect(page.locator("table[data-name=changes] tbody tr").first).to_contain_text("nominal_size")
    for width in (1280, 360):
        page.set_viewport_size({"width": width, "height": HEIGHTS[width]})
        assert [fault["id"] for fault in Axe().run(page).response["violations"]] == []
        assert page.evaluate(WIDER) <= 0
    page.get_by_role("button", name="Put it aside").click()
    expect(page.locator("h1")).to_have_text("The sheets were put aside; nothing of them was stored")
