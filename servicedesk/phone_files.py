"""The files that the phone keeps for a day without signal, and the version that they make."""

import hashlib
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.templatetags.static import static

_ROOM = "servicedesk/phone/"
PAGE_SCRIPTS = (
    "words", "store", "sender", "keeper", "evening",
    "pictures", "reopen", "forms", "line", "leave", "start",
)  # fmt: skip
WORKER_SCRIPTS = ("store", "sender", "keeper", "worker")
_OWN = (*PAGE_SCRIPTS, "no-signal", "worker")
# What else a day's pages ask for, by the addresses that they use.
OTHERS = (
    "servicedesk/desk.css",
    "servicedesk/icon.svg",
    "servicedesk/rounds-map.js",
    "servicedesk/readings.js",
    "servicedesk/tables.js",
    "js_lib_leaflet/leaflet.css",
    "js_lib_leaflet/leaflet.js",
)
_TEMPLATES = Path(__file__).parent / "templates"
_PAGE = ("base.html", "servicedesk/no_signal.html", "parts/phone_words.html")


def version() -> str:
    """Sixteen signs that change with any of the files. Read once a process, each time where DEBUG is on."""
    return _read() if settings.DEBUG else _kept()


@lru_cache(maxsize=1)
def _kept() -> str:
    return _read()


def _read() -> str:
    digest = hashlib.sha256()
    for path in (*(_path(name) for name in _OWN), *OTHERS):
        found = finders.find(path)
        if not found:
            raise FileNotFoundError(path)
        digest.update(Path(found).read_bytes())
    for name in _PAGE:
        digest.update((_TEMPLATES / name).read_bytes())
    return digest.hexdigest()[:16]


def _path(name: str) -> str:
    return f"{_ROOM}{name}.js"


def script(name: str) -> str:
    """The address of one of the phone's scripts, which names the version: a page never meets an older one."""
    return f"{static(_path(name))}?{version()}"


def kept_files() -> list[str]:
    """Addresses of all files that the phone keeps."""
    return [*(script(name) for name in (*PAGE_SCRIPTS, "no-signal")), *(static(path) for path in OTHERS)]
