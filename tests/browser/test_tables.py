"""Every table sorts by its heads and is taken along as a sheet, with nothing that a spreadsheet would run."""

import csv
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from tests.browser.conftest import PageAt, SignIn, World
from tests.factories import MaintenanceTaskFactory, TechnicianFactory, VisitFactory

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def season(world: World, page_at: PageAt, sign_in: SignIn) -> Page:
    """The season of a desk with three technicians, one of them named like a formula."""
    TechnicianFactory(name="=1+1", skills=["gas"])
    TechnicianFactory(name="Ada", weekdays=[0])
    page = page_at(1280)
    sign_in(page, world.manager_user)
    page.goto(reverse("season"))
    return page


def column(page: Page, at: int) -> list[str]:
    return page.locator(f"table[data-name=technicians] tbody td:nth-child({at})").all_inner_texts()


def test_a_table_sorts_by_name_and_by_number_up_and_down(season: Page) -> None:
    heads = season.locator("table[data-name=technicians] th")
    name, hours = heads.first, heads.filter(has_text="Hours")
    name.get_by_role("button").click()
    expect(name).to_have_attribute("aria-sort", "ascending")
    assert column(season, 1) == ["=1+1", "Ada", "Terry Tool"]
    hours.get_by_role("button").click()
    expect(name).not_to_have_attribute("aria-sort", "ascending")
    assert column(season, 1)[0] == "Ada"
    hours.get_by_role("button").press("Enter")
    expect(hours).to_have_attribute("aria-sort", "descending")
    assert column(season, 1)[-1] == "Ada"


def test_days_sort_by_the_calendar_and_what_is_empty_comes_last(season: Page) -> None:
    weeks = season.locator("table[data-name=season]")
    days = weeks.locator("tbody td:first-child").all_inner_texts()
    first = weeks.locator("th").first.get_by_role("button")
    first.click()
    first.click()
    assert weeks.locator("tbody td:first-child").all_inner_texts() == days[::-1]
    fullest = weeks.locator("th").filter(has_text="Fullest")
    fullest.get_by_role("button").click()
    told = weeks.locator("td[data-label=Fullest]").all_inner_texts()
    empty = [text == "–" for text in told]
    assert empty == sorted(empty)


def test_a_table_is_taken_along_and_a_formula_is_none(season: Page, tmp_path: Path) -> None:
    with season.expect_download() as asked:
        season.locator("table[data-name=technicians] + .as-sheet").click()
    assert asked.value.suggested_filename == "technicians.csv"
    path = tmp_path / "technicians.csv"
    asked.value.save_as(path)
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["Technician"] for row in rows} == {"'=1+1", "Ada", "Terry Tool"}
    assert [row["Skills"] for row in rows if row["Technician"] == "'=1+1"] == ["gas"]


@pytest.fixture
def tasks(world: World, page_at: PageAt, sign_in: SignIn) -> Page:
    """The desk's list of work beside the filters, due in the order of its names turned round."""
    system = world.attic.system
    for name, days in (("Wash the coil", 300), ("=Clear the trap", 40), ("Look at the belt", 90)):
        MaintenanceTaskFactory(system=system, name=name, due_on=world.today + timedelta(days=days))
    page = page_at(1280)
    sign_in(page, world.manager_user)
    page.goto(reverse("tasks"))
    return page


def works(page: Page) -> list[str]:
    lines = page.locator("ol[data-name=tasks] .what").all_inner_texts()
    return [text.split("\n")[0] for text in lines]


def test_a_list_is_put_in_order_by_its_parts_up_and_down(tasks: Page) -> None:
    order = tasks.locator(".order")
    order.get_by_role("button", name="What").click()
    assert works(tasks) == sorted(works(tasks), key=str.casefold)
    when = order.get_by_role("button", name="When")
    when.press("Enter")
    expect(when).to_have_attribute("aria-pressed", "true")
    up = works(tasks)
    when.press("Enter")
    assert works(tasks) == up[::-1]
    assert up.index("=Clear the trap") < up.index("Look at the belt") < up.index("Wash the coil")


def test_a_list_is_taken_along_without_its_buttons(tasks: Page, tmp_path: Path) -> None:
    with tasks.expect_download() as asked:
        tasks.locator("ol[data-name=tasks] + .as-sheet").click()
    asked.value.save_as(tmp_path / "tasks.csv")
    with (tmp_path / "tasks.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["What"].lstrip("'") for row in rows] == works(tasks)
    trap = next(row for row in rows if "Clear the trap" in row["What"])
    assert trap["What"] == "'=Clear the trap"
    assert (trap["Home 2"], trap["Home 3"]) == ("7 Mill Lane, Riverton", "mill-air")


def test_hours_of_the_day_sort_by_the_clock(world: World, page_at: PageAt, sign_in: SignIn) -> None:
    day = world.today + timedelta(days=7)
    for hour, minute in ((8, 38), (9, 7), (8, 24), (10, 5), (8, 5), (14, 0)):
        at = datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZoneInfo("America/Chicago"))
        VisitFactory(site=world.mill, technician=world.technician, day=day, state="scheduled", arrive_at=at)
    page = page_at(1280)
    sign_in(page, world.manager_user)
    page.goto(reverse("visits"))
    page.locator(".order").first.get_by_role("button", name="When").click()
    hours = page.locator("ol[data-name=booked]").first.locator(".when strong").all_inner_texts()
    assert hours == ["08:05", "08:24", "08:38", "09:07", "10:05", "14:00"]
