"""What the doctor says of workers, packages, clocks, addresses and room; and of settings nobody can read."""

import hashlib
import os
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any, NamedTuple

import pytest
from django.db import connection
from django.utils import timezone
from pytest_django.fixtures import Settings

from servicedesk.celery_app import app
from servicedesk.doctor import around
from servicedesk.doctor.findings import How
from tests.factories import NOW, TODAY

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[2]


def told() -> dict[str, tuple[How, str]]:
    return {one.what: (one.how, one.said) for one in around.of_surroundings(NOW)}


@pytest.fixture(autouse=True)
def plain(settings: Settings) -> None:
    settings.REDIS_URL = settings.BACKUP_DIR = settings.TRAVEL_URL = settings.TEXTS_URL = ""
    settings.TEXTS_SECRET = settings.TILES_URL = ""


def test_packages_are_held_to_their_lock(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "prefix", str(tmp_path))
    assert around.environment().how is How.LOOK
    (tmp_path / "installed.json").write_text('{"lock": "base", "sha256": "another"}')
    assert around.environment().how is How.WRONG
    told_by_it = hashlib.sha256((ROOT / "requirements" / "base.txt").read_bytes()).hexdigest()
    (tmp_path / "installed.json").write_text(f'{{"lock": "base", "sha256": "{told_by_it}"}}')
    assert around.environment().how is How.WELL


def test_workers_that_do_not_answer(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    assert around.workers().how is How.WRONG
    settings.REDIS_URL = "memory://"
    pages, nights = {"pages@here": [{"name": "celery"}]}, {"nights@here": [{"name": "night"}]}
    for answers, large, how in (
        (None, False, How.WRONG),
        (pages, False, How.WELL),
        (pages, True, How.WRONG),
        (pages | nights, True, How.WELL),
    ):
        asked = SimpleNamespace(active_queues=lambda answers=answers: answers)
        monkeypatch.setattr(app.control, "inspect", lambda asked=asked, **_more: asked)
        monkeypatch.setattr(around.due, "is_large", lambda large=large: large)
        assert around.workers().how is how


def test_two_clocks_that_disagree(monkeypatch: pytest.MonkeyPatch) -> None:
    if connection.vendor != "postgresql":
        assert "Clock" not in told()
        return
    assert told()["Clock"][0] is How.WELL
    late = timezone.now() - timedelta(minutes=2)
    monkeypatch.setattr(around.timezone, "now", lambda: late)
    assert (told()["Clock"][0], told()["Clock"][1][:8]) == (How.WRONG, "is 120 s")


class Disk(NamedTuple):
    free: int


def test_addresses_have_their_shape_and_archives_their_room(
    settings: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert not set(told()) & {"TRAVEL_URL", "TEXTS_URL", "TEXTS_SECRET", "Archive"}
    cases: list[tuple[str, How]] = [
        ("https://roads.example.org", How.WELL),
        ("http://127.0.0.1:5000", How.WELL),
    ]
    cases += [("http://roads.example.org", How.LOOK), ("roads.example.org", How.WRONG)]
    cases += [("https://roads.example.org:none", How.WRONG), ("ftp://roads.example.org", How.WRONG)]
    for address, how in cases:
        settings.TRAVEL_URL = address
        assert told()["TRAVEL_URL"][0] is how, address
    settings.TEXTS_URL = "https://texts.example.org/secret-path"
    assert told()["TEXTS_SECRET"][0] is How.WRONG
    settings.BACKUP_DIR = str(tmp_path)
    (tmp_path / f"desk-{TODAY}.zip").write_bytes(b"x" * 100)
    for free, how in ((50, How.WRONG), (500, How.LOOK), (5000, How.WELL)):
        monkeypatch.setattr(around.shutil, "disk_usage", lambda _path, free=free: Disk(free))
        assert told()["Archive"][0] is how
    assert not any("secret-path" in said for _, said in told().values())


@pytest.mark.parametrize(
    ("settings_", "said"),
    [
        ({"LOG_FORMAT": "verse"}, "LOG_FORMAT is either line or json"),
        ({"PROXIES": "s3cret"}, "PROXIES cannot be read"),
        ({"DATABASE_URL": "s3cret"}, "DATABASE_URL begins neither"),
        ({"VAR_DIR": "/proc/none"}, "VAR_DIR cannot be used"),
    ],
)
def test_settings_nobody_can_read_are_told_by_their_name(settings_: dict[str, Any], said: str) -> None:
    done = subprocess.run(
        [sys.executable, ROOT / "manage.py", "doctor"],
        env=os.environ | settings_,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 1
    assert said in done.stdout
    assert "Traceback" not in done.stderr
    assert "s3cret" not in done.stdout + done.stderr
