"""A technician's phone: a Chromium with a folder of its own, behind a wire that can be cut."""

import os
import signal
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from django.db import OperationalError
from django.test import Client
from django.urls import reverse
from playwright.sync_api import BrowserContext, Error, Page, Playwright, expect

from equipment.models import User
from schedules.models import Visit
from tests.browser.chromium import ARGUMENTS, HEIGHTS, let_finish
from tests.browser.cut_network import CutNetwork

WIDTH = 360
KEPT = "Kept on this phone"
_NO_WHOLE_PAGES = "--disable-back-forward-cache"
SHOTS = os.environ.get("SHOTS")


class Phone:
    """Opens, kills and opens again; everything that it keeps lies in ``folder``."""

    def __init__(self, playwright: Playwright, path: str, folder: Path, wire: CutNetwork) -> None:
        self._playwright, self._path, self.folder, self.wire = playwright, path, folder, wire
        self._context: BrowserContext | None = None
        # Whether Back shows the very page that was left, where the browser may keep it.
        self.goes_back_to_whole_pages = False

    def open(self) -> Page:
        """A new page of the phone, which is started where it is not running."""
        if self._context is None:
            self._context = self._playwright.chromium.launch_persistent_context(
                str(self.folder),
                executable_path=self._path,
                args=ARGUMENTS,
                ignore_default_args=[_NO_WHOLE_PAGES] if self.goes_back_to_whole_pages else [],
                viewport={"width": WIDTH, "height": HEIGHTS[WIDTH]},
                base_url=self.wire.url,
            )
            self._context.set_default_timeout(15000)
        return self._context.new_page()

    def sign_in(self, user: User) -> None:
        """The session of a user, as a sign-in would leave it."""
        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        cookie = client.cookies["sessionid"].value
        expires = time.time() + 30 * 86400
        row: Any = {"name": "sessionid", "value": cookie, "url": self.wire.url, "expires": expires}
        assert self._context is not None
        self._context.add_cookies([row])

    def end_session(self) -> None:
        """The session is over, as far as the phone can tell."""
        assert self._context is not None
        self._context.clear_cookies(name="sessionid")

    def signal_is_back(self, page: Page) -> None:
        """The browser's own event that the network is there again, as it gives it to the worker."""
        found: list[Any] = []
        driver = page.context.new_cdp_session(page)
        driver.on("ServiceWorker.workerRegistrationUpdated", lambda told: found.extend(told["registrations"]))
        driver.send("ServiceWorker.enable")
        deadline = time.monotonic() + 5
        while not found:
            assert time.monotonic() < deadline, "the browser names no worker"
            page.wait_for_timeout(50)
        own = next(one for one in found if not one["isDeleted"])
        told = {"origin": self.wire.url, "registrationId": own["registrationId"]}
        driver.send("ServiceWorker.dispatchSyncEvent", {**told, "tag": "entries", "lastChance": False})

    def kill(self) -> None:
        """SIGKILL to every process of this phone, found by its folder."""
        mine = [pid for pid in _processes() if str(self.folder) in _command(pid)]
        assert mine, "no process has the phone's folder in its command"
        for pid in mine:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        deadline = time.monotonic() + 10
        while any(str(self.folder) in _command(pid) for pid in _processes()):
            assert time.monotonic() < deadline, "a killed phone still runs"
            time.sleep(0.05)
        self.close()
        # What a dead process leaves behind; a phone's own start removes it too.
        for name in ("SingletonLock", "SingletonCookie", "SingletonSocket"):
            with suppress(FileNotFoundError):
                (self.folder / name).unlink()

    def close(self) -> None:
        if self._context is not None:
            with suppress(Error):
                for page in self._context.pages:
                    let_finish(page)
                self._context.close()
        self._context = None


def _processes() -> list[int]:
    return [int(path.name) for path in Path("/proc").iterdir() if path.name.isdecimal()]


def _command(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
    except OSError:
        return ""


def keeps_the_day(page: Page, stops: int) -> None:
    """Waits until the line says that all of the day is on the phone."""
    expect(page.locator("#phone-line")).to_contain_text(f"the sheet and {stops} of {stops} stops")


def shot(page: Page, name: str) -> None:
    """A picture of the whole page, where SHOTS names a folder for them."""
    if SHOTS:
        Path(SHOTS).mkdir(parents=True, exist_ok=True)
        page.screenshot(path=f"{SHOTS}/{name}.png", full_page=True)


def queued(page: Page) -> int:
    """How many entries wait on the phone."""
    return int(page.evaluate("async () => (await phone.entries()).length"))


def send_all(page: Page, seconds: float = 30) -> None:
    """Tries until nothing waits any more."""
    deadline = time.monotonic() + seconds
    while queued(page):
        assert time.monotonic() < deadline, f"{queued(page)} entries still wait"
        page.evaluate("async () => { await phone.send(); }")


def the_visit(visit: Visit) -> str:
    return reverse("visit", args=[visit.pk])


def complete(page: Page, visit: Visit) -> None:
    page.goto(the_visit(visit))
    page.get_by_label("Findings").fill("Rust on the rack")
    page.get_by_role("button", name="Complete the visit").click()


def caches_of(page: Page) -> list[str]:
    return list(page.evaluate("() => caches.keys()"))


def sure(asked: Callable[[], bool]) -> bool:
    """False too while the desk writes in the one connection that it shares with the test."""
    try:
        return asked()
    except OperationalError:
        return False


def is_soon(asked: Callable[[], bool], seconds: float = 10) -> None:
    deadline = time.monotonic() + seconds
    while not sure(asked):
        assert time.monotonic() < deadline, "it never came"
        time.sleep(0.05)
