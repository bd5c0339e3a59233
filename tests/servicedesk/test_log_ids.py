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

from servicedesk import log_ids, slow_requests
from servicedesk.log_ids import HEADER, Ids, JsonLines

pytestmark = pytest.mark.django_db
log = logging.getLogger("desk.test")
ROOT = Path(__file__).resolve().parents[2]
AS_THE_SERVER = """
from servicedesk.serve import Address, Desk
desk = Desk(Address("127.0.0.1", 8000))
desk.cfg.logger_class(desk.cfg).error("asked for %s", "/answer/s3cret/")
"""


AS_A_WORKER = """
import logging, os, signal
from celery import signals
from servicedesk.celery_app import app
def asked(**_):
    logging.getLogger("desk.test").warning("asked for %s", "/answer/s3cret/")
    os.kill(os.getpid(), signal.SIGTERM)
signals.worker_ready.connect(asked, weak=False)
app.worker_main(["worker", "--loglevel", "WARNING", "--without-gossip", "--pool", "solo"])
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


def run(folder: Path, *arguments: str) -> "subprocess.CompletedProcess[str]":
    own = {"VAR_DIR": str(folder), "LOG_FORMAT": "json", "PYTHONPATH": str(ROOT), "REDIS_URL": ""}
    command = [sys.executable, "-P", *arguments]
    return subprocess.run(command, env=os.environ | own, capture_output=True, text=True, timeout=60)


def written_as_the_pages_do(said: str, logger: str) -> None:
    (line,) = [line for line in map(json.loads, said.splitlines()) if line["logger"] == logger]
    assert line["message"].startswith("asked for /answer/")
    assert line["level"]
    assert "s3cret" not in said


@pytest.mark.once
def test_the_server_writes_as_the_pages_do_and_keeps_secrets_out(tmp_path: Path) -> None:
    written_as_the_pages_do(run(tmp_path, "-c", AS_THE_SERVER).stderr, "gunicorn.error")


@pytest.mark.once
def test_a_worker_for_machines_does_too_and_writes_no_banner(tmp_path: Path) -> None:
    said = run(tmp_path, "-W", "always", "-c", AS_A_WORKER)
    assert said.returncode == 0
    assert said.stdout == ""
    assert all(json.loads(line)["level"] for line in said.stderr.splitlines())
    written_as_the_pages_do(said.stderr, "desk.test")


def at_seconds(monkeypatch: pytest.MonkeyPatch, *moments: float) -> None:
    moment = iter(moments)
    monkeypatch.setattr(slow_requests, "perf_counter", lambda: next(moment))


def test_a_slow_request_has_a_line_with_its_names_and_figures(
    manager: Client, lines: list[dict[str, Any]], manager_user: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    at_seconds(monkeypatch, 10.0, 11.25)
    manager.get("/sheets/", {"secret": "s3cret"}, headers={HEADER: "abc"})
    (line,) = [one for one in lines if one["logger"] == "servicedesk.slow_requests"]
    assert line["message"] == "slow request: GET sheets 200 1.2 s"
    figures = {"route": "sheets", "method": "GET", "status": 200, "seconds": 1.25}
    assert line == line | figures | {"request_id": "abc", "user_number": manager_user.pk}
    assert "s3cret" not in str(line)


def test_a_request_of_a_second_has_no_line_and_a_slow_one_without_a_name_has(
    lines: list[dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    at_seconds(monkeypatch, 10.0, 11.0, 20.0, 23.0)
    Client().get("/alive/")
    Client().get("/answer-s3cret")
    slow = [one for one in lines if one["logger"] == "servicedesk.slow_requests"]
    assert [(one["route"], one["status"]) for one in slow] == [("none", 404)]
    assert "user_number" not in slow[0]
