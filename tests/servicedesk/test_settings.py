"""Settings: a key shared by processes that start together, prints of passwords, what a log must not hold."""

import io
import logging
import logging.config
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.contrib.auth.hashers import make_password
from django.test import Client
from django.urls import reverse

from servicedesk.settings import LOGGING

ROOT = Path(__file__).resolve().parents[2]
SAY_KEY = """
import sys
print("ready", flush=True)
sys.stdin.readline()
from servicedesk import settings
print(settings.SECRET_KEY)
"""

WRITE_AND_SAY_RIGHTS = """
import sys
from pathlib import Path
import django
django.setup()
from django.db import connection
connection.cursor().execute("CREATE TABLE one (x)")
for path in sorted(Path(sys.argv[1]).glob("desk*")):
    print(path.name, oct(path.stat().st_mode & 0o777))
"""


def rights_after_writing(folder: Path, **own: str) -> list[str]:
    """Of SQLite's files, by a process that would let everybody read what it writes."""
    surroundings = {key: value for key, value in os.environ.items() if key != "DATABASE_URL"}
    surroundings |= {"VAR_DIR": str(folder), "DJANGO_SETTINGS_MODULE": "servicedesk.settings"} | own
    said = subprocess.run(
        [sys.executable, "-c", WRITE_AND_SAY_RIGHTS, str(folder)],
        cwd=ROOT,
        env=surroundings,
        umask=0o022,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert not said.returncode, said.stderr
    return said.stdout.splitlines()


@pytest.mark.once
def test_a_file_of_sqlite_is_for_the_desks_user_alone_and_one_that_was_there_stays_as_it_is(
    tmp_path: Path,
) -> None:
    private = ["desk.sqlite3 0o600", "desk.sqlite3-shm 0o600", "desk.sqlite3-wal 0o600"]
    assert rights_after_writing(tmp_path / "own") == private
    shared = tmp_path / "shared"
    shared.mkdir()
    (shared / "desk.sqlite3").touch(mode=0o640)
    (shared / "desk.sqlite3").chmod(0o640)
    assert rights_after_writing(shared)[0] == "desk.sqlite3 0o640"


@pytest.mark.once
def test_a_database_in_memory_leaves_no_file(tmp_path: Path) -> None:
    assert rights_after_writing(tmp_path, DATABASE_URL="sqlite://:memory:") == []
    assert not (ROOT / ":memory:").exists()


def test_processes_that_start_together_on_a_new_desk_share_one_key(tmp_path: Path) -> None:
    surroundings = {key: value for key, value in os.environ.items() if key != "SECRET_KEY"}
    surroundings["VAR_DIR"] = str(tmp_path / "var")
    started = [
        subprocess.Popen(
            [sys.executable, "-c", SAY_KEY],
            cwd=ROOT,
            env=surroundings,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(6)
    ]
    for process in started:
        assert process.stdout
        process.stdout.readline()
    for process in started:
        assert process.stdin
        process.stdin.write("go\n")
        process.stdin.flush()
    keys = {process.communicate(timeout=60)[0].strip() for process in started}
    assert len(keys) == 1
    assert len(keys.pop()) >= 50
    assert [path.name for path in (tmp_path / "var").glob("secret*")] == ["secret_key"]
    assert (tmp_path / "var" / "secret_key").stat().st_mode & 0o077 == 0


def test_passwords_are_kept_by_argon2() -> None:
    assert make_password("a long word").startswith("argon2$argon2id$")


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """What the desk's own handler writes."""
    written = io.StringIO()
    told = LOGGING["handlers"]["console"]  # type: ignore[index]
    handler = logging.StreamHandler(written)
    configurator = logging.config.DictConfigurator(LOGGING)
    for name in told["filters"]:
        handler.addFilter(configurator.configure_filter(LOGGING["filters"][name]))  # type: ignore[index]
    root = logging.getLogger("django.request")
    root.addHandler(handler)
    yield written
    root.removeHandler(handler)


@pytest.mark.django_db
def test_a_log_names_an_address_and_not_what_opens_it(log: io.StringIO) -> None:
    for name, secret in (
        ("feed", "s3cret-of-a-calendar"),
        ("answer", "s3cret-of-a-letter"),
        ("tag", "S3CRET99"),
    ):
        for behind in ("", "/", ".", "%20", "&x=1", "/x"):
            Client().get(reverse(name, args=[secret]) + behind)
    Client().get(reverse("sign-in-by-link"), {"sesame": "s3cret-of-a-link"})
    Client().get("/nowhere/at/all/")
    said = log.getvalue()
    assert "Not Found: /calendar/…" in said
    assert "Not Found: /nowhere/at/all/" in said
    assert "s3cret" not in said.lower()
