"""The README's pictures, taken from a demo that is being served.

``python -P -m tests.readme_pictures MANAGER_LINK TECHNICIAN_LINK HOUSEHOLD_LINK``, the links as the demo
prints them; by then its dates are reckoned.
"""

import sys
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Browser, Page, sync_playwright

from tests.servers import chromium

PICTURES = Path(__file__).resolve().parents[1] / "fixtures" / "pictures"
DESK, PHONE = {"width": 1120, "height": 820}, {"width": 400, "height": 860}
SHARP = 1.25


def signed_in(browser: Browser, link: str, size: dict[str, int]) -> Page:
    page = browser.new_context(viewport=size, device_scale_factor=SHARP, locale="en-US").new_page()  # type: ignore[arg-type]
    page.goto(link)
    page.locator("main button").first.click()
    page.wait_for_load_state("networkidle")
    return page


def down_to(page: Page, selector: str, at: int) -> dict[str, float]:
    """From the top to the end of one of the elements, so that nothing is cut through."""
    box = page.locator(selector).nth(at).bounding_box()
    assert box
    assert page.viewport_size
    return {"x": 0, "y": 0, "width": page.viewport_size["width"], "height": box["y"] + box["height"] + 12}


def take(page: Page, name: str, selector: str, at: int) -> None:
    path = PICTURES / f"{name}.png"
    page.screenshot(path=path, clip=down_to(page, selector, at), full_page=True)  # type: ignore[arg-type]
    print(f"{path}: {path.stat().st_size:,} bytes")


def main(manager: str, technician: str, household: str) -> None:
    start = "{0.scheme}://{0.netloc}".format(urlsplit(manager))
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        page = signed_in(browser, manager, DESK)
        page.goto(f"{start}/due/?sort=due")
        # The page keeps what it was asked for open; the rows are what the picture is about.
        page.locator("main summary").first.click()
        take(page, "manager", ".sheet > li", 5)
        page = signed_in(browser, household, PHONE)
        take(page, "household", ".filter-card", 0)
        page = signed_in(browser, technician, PHONE)
        page.get_by_role("link", name="My day").first.click()
        page.wait_for_load_state("networkidle")
        take(page, "technician", ".stops > li", 1)
        browser.close()


if __name__ == "__main__":
    main(*sys.argv[1:])
