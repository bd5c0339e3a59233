"""A real Chromium for the pages; a page that logs an error fails its test."""

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, sync_playwright

from tests import servers

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
HEIGHTS = {360: 740, 1280: 800}

PageAt = Callable[..., Page]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium, for as long as the tests run."""
    path = os.environ.get("TEST_CHROMIUM") or servers.found_chromium()
    if not path:
        pytest.fail("There is no Chromium here; ./test finds or installs one, or leaves these tests out.")
    with sync_playwright() as playwright:
        # Playwright keeps an event loop in this thread, in which Django would else refuse the database.
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
        chromium = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture
def page_at(browser: Browser, live_server: object) -> Iterator[PageAt]:
    """Opens a page of a width (360 or 1280); whatever it logs as an error fails the test.

    `may_log` names pieces of errors that the test expects, such as the status of a refused page.
    Content-Security-Policy violations are among the errors that Chromium logs.
    """
    errors: list[str] = []
    with ExitStack() as contexts:

        def open_at(width: int, *, may_log: tuple[str, ...] = (), **options: object) -> Page:
            size = {"width": width, "height": HEIGHTS.get(width, 800)}
            context = browser.new_context(viewport=size, base_url=str(live_server), **options)
            contexts.callback(context.close)
            page = context.new_page()

            def on_console(message: ConsoleMessage) -> None:
                if message.type == "error" and not any(piece in message.text for piece in may_log):
                    errors.append(f"{page.url}: {message.text}")

            page.on("console", on_console)
            page.on("pageerror", lambda fault: errors.append(f"{page.url}: {fault}"))
            return page

        yield open_at
    assert not errors, "\n".join(errors)
