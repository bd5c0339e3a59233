"""A page by keyboard alone."""

from playwright.sync_api import Page

MOST_TABS = 80


def tab_to(page: Page, wanted: str) -> None:
    """Presses Tab until the element with this selector has the focus, and sees that the focus is visible."""
    for _ in range(MOST_TABS):
        page.keyboard.press("Tab")
        if page.evaluate("selector => document.activeElement.matches(selector)", wanted):
            assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none", wanted
            return
    raise AssertionError(f"Tab never reaches {wanted}")


def press_at(page: Page, wanted: str, key: str = "Enter") -> None:
    """Goes to the element and presses a key there."""
    tab_to(page, wanted)
    page.keyboard.press(key)
