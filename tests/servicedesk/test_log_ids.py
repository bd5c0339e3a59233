"""Each line of the log says which request or task it belongs to, and nobody writes lines of their own."""

import json
import logging
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from celery import shared_task
from django.test import Client

from servicedesk import log_ids
from servicedesk.log_ids import HEADER, Ids, JsonLines

pytestmark = pytest.mark.django_db
log = logging.getLogger("desk.test")
ROOT = Path(__file__).resolve().parents[2]
AS_A_WORKER = """
import logging
import django
from servicedesk.celery_app import app
django.setup()
app.log.setup("WARNING", redirect_stdouts=False)
logging.getLogger("desk.test").warning("asked for %s", "/answer/s3cret/")
"""
AS_THE_SERVER = """
from servicedesk.serve import Address, Desk
desk = Desk(Address("127.0.0.1", 8000))
desk.cfg.logger_class(desk.cfg).error("asked for %s", "/answer/s3cret/")
"""


@shared_task
def says_something() -> None:
    log.warning("at work")


class Kept(logging.Handler):
    def __init__(self) -> None:
        super().__init__()
        self.lines: list[dict[str, Any]] = []
        self.addFilter(Ids())
        self.setFormatter(JsonLines())

    def emit(self, record: logging.LogRecord) -> None:
        self.lines.append(json.loads(self.format(record)))


@pytest.fixture
def lines() -> Iterator[list[dict[str, Any]]]:
    handler = Kept()
    logging.getLogger().addHandler(handler)
    yield handler.lines
    logging.getLogger().removeHandler(handler)


def test_a_request_has_the_proxys_name_or_one_of_ours() -> None:
    assert Client().get("/alive/", headers={HEADER: "abc-123"})[HEADER] == "abc-123"
    made = Client().get("/alive/")[HEADER]
    assert len(made) == 16
    for wrong in ("two\nlines", "a b", "x" * 65, "{json}", ""):
        assert len(Client().get("/alive/", headers={HEADER: wrong})[HEADER]) == 16


def test_lines_of_a_request_name_it_and_its_user(
    manager: Client, lines: list[dict[str, Any]], manager_user: Any
) -> None:
    manager.get("/filters/0/", headers={HEADER: "lost"})
    line = next(one for one in lines if one["logger"] == "django.request")
    assert (line["request_id"], line["user_number"], line["level"]) == ("lost", manager_user.pk, "WARNING")
    log.warning("after it")
    assert "request_id" not in lines[-1]
    assert "user_number" not in lines[-1]


def test_a_task_names_itself_and_the_request_that_asked_for_it(lines: list[dict[str, Any]]) -> None:
    headers: dict[str, Any] = {}
    token = log_ids._request.set("from-a-page")
    log_ids._hand_on(headers=headers)
    log_ids._request.reset(token)
    assert headers == {"request_id": "from-a-page"}
    says_something.apply(headers=headers, task_id="t-1")
    line = next(one for one in lines if one["message"] == "at work")
    assert (line["task_name"], line["task_id"]) == (says_something.name, "t-1")
    log.warning("after it")
    assert "task_id" not in lines[-1]


def test_a_failure_brings_its_trace_on_the_same_line(lines: list[dict[str, Any]]) -> None:
    try:
        raise ValueError("two\nlines")
    except ValueError:
        log.exception("it failed")
    assert "ValueError: two\nlines" in lines[-1]["trace"]


@pytest.mark.once
@pytest.mark.parametrize(
    ("script", "logger"), [(AS_A_WORKER, "desk.test"), (AS_THE_SERVER, "gunicorn.error")]
)
def test_worker_and_server_write_as_the_pages_do_and_keep_secrets_out(
    script: str, logger: str, tmp_path: Path
) -> None:
    surroundings = os.environ | {"VAR_DIR": str(tmp_path), "LOG_FORMAT": "json", "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-P", "-c", script]
    said = subprocess.run(command, env=surroundings, capture_output=True, text=True, timeout=60)
    line = json.loads(said.stderr.splitlines()[-1])
    assert line["logger"] == logger
    assert line["message"].startswith("asked for /answer/")
    assert "s3cret" not in said.stderr
