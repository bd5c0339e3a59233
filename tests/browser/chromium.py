"""How Chromium is started, its widths, and when a page of a phone is done."""

from contextlib import suppress

from playwright.sync_api import Error, Page

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

STILL = """async () => {
  for (let look = 0; look < 100; look += 1) {
    const { held } = await navigator.locks.query();
    if (!held.length) return;
    await new Promise((done) => setTimeout(done, 30));
  }
}"""


def let_finish(page: Page) -> None:
    """Waits until the phone's parts are done fetching, or the desk would be asked after the test is over."""
    with suppress(Error):  # closed already, or a page that may not ask
        page.evaluate(STILL)
