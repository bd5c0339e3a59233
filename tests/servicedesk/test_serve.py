"""The one-process server, started for real on a free port."""

import contextlib
import json
import logging
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from celery import Celery, current_app
from celery.utils import timer2
from celery.worker import state as worker_state
from kombu import Queue
from kombu.transport.memory import Channel, Transport
from pytest_django.fixtures import Settings

from servicedesk import serve
from servicedesk.serve import TIMER_S, Address, Embedded, left_to_others
from tests.factories import SiteFactory
from tests.servers import free_port

ROOT = Path(__file__).resolve().parents[2]
SOON_S = 120.0


def command(folder: Path, module: str = "servicedesk.serve", **env: str) -> "subprocess.Popen[str]":
    """The server as `./run` starts it, without the demo, from a folder that is not the project's."""
    work = folder / "work"
    work.mkdir(exist_ok=True)
    own = {"PYTHONPATH": str(ROOT), "VAR_DIR": str(folder / "var"), "DATABASE_URL": f"sqlite:///{folder}/db"}
    return subprocess.Popen(
        [sys.executable, "-P", "-m", module],
        cwd=work,
        env=os.environ | own | env,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )


def status_of(url: str) -> int | None:
    try:
        return int(urllib.request.urlopen(url, timeout=5).status)
    except urllib.error.HTTPError as refusal:
        return refusal.code
    except OSError:
        return None


def wait_until_answered(url: str, process: "subprocess.Popen[str]") -> int:
    end = time.monotonic() + SOON_S
    while time.monotonic() < end and process.poll() is None:
        if status := status_of(url):
            return status
        time.sleep(0.1)
    process.kill()
    raise AssertionError(process.communicate()[0])


@contextlib.contextmanager
def started(folder: Path, **env: str) -> Iterator[tuple["subprocess.Popen[str]", int]]:
    port = free_port()
    process = command(folder, PORT=str(port), **env)
    try:
        yield process, port
    finally:
        process.kill()
        process.communicate()


def test_the_desk_answers_ends_on_a_request_to_stop_and_starts_again(tmp_path: Path) -> None:
    """On a database that it makes; for machines every line is an object."""
    with started(tmp_path, LOG_FORMAT="json") as (process, port):
        assert wait_until_answered(f"http://127.0.0.1:{port}/", process) < 500
        asked = time.monotonic()
        process.send_signal(signal.SIGTERM)
        said, _ = process.communicate(timeout=30)
        assert process.returncode == 0
        assert time.monotonic() - asked < 15
        lines = [json.loads(line) for line in said.splitlines()]
        assert f"The desk is open at http://127.0.0.1:{port}" in [line["message"] for line in lines]
        assert "Traceback" not in said
        assert Address("127.0.0.1", port).why_not() == ""  # no child kept the port
    _starts_again_and_leaves_no_file(tmp_path)


def _starts_again_and_leaves_no_file(tmp_path: Path) -> None:
    """A second start, for people, on what the first prepared and from a folder that stays empty."""
    with started(tmp_path) as (process, port):
        assert wait_until_answered(f"http://127.0.0.1:{port}/", process) < 500
        process.send_signal(signal.SIGINT)
        said, _ = process.communicate(timeout=30)
        assert f"http://127.0.0.1:{port}" in said
        assert "Traceback" not in said
        assert list((tmp_path / "work").iterdir()) == []


@pytest.mark.parametrize(("form", "begins"), [("line", "PORT is 'eighty'"), ("json", "")])
def test_why_it_does_not_start_is_said_to_people_and_written_for_machines(
    form: str,
    begins: str,
    settings: Settings,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    caplog: pytest.LogCaptureFixture,
) -> None:
    settings.LOG_FORMAT = form
    # Another test may have closed what the log writes to; that says nothing of what is said here.
    monkeypatch.setattr(logging, "raiseExceptions", False)
    monkeypatch.setenv("PORT", "eighty")
    assert serve.main([]) == 1
    assert capsys.readouterr().err.partition(";")[0] == begins
    assert ("PORT is 'eighty'" in caplog.text) is (form == "json")


@pytest.mark.django_db
def test_the_demos_line_is_an_object_too(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """And no way into it stands in such a log."""
    settings.LOG_FORMAT, settings.PRODUCTION = "json", False
    monkeypatch.setattr(serve, "at_start", lambda: None)
    monkeypatch.setattr(serve.connections, "close_all", lambda: None)
    SiteFactory()
    serve.prepare(with_demo=True)
    serve.Desk(Address("127.0.0.1", 8000)).when_ready(None)
    assert capsys.readouterr().out == ""


@pytest.mark.long
def test_asked_to_stop_it_first_ends_the_request_and_the_task_in_hand(tmp_path: Path) -> None:
    port = free_port()
    process = command(tmp_path, "tests.servicedesk.slow_desk", PORT=str(port), REDIS_URL="")
    url = f"http://127.0.0.1:{port}/slow/"
    assert process.stdout
    try:
        with ThreadPoolExecutor() as beside:
            page = beside.submit(answer_of, url)
            begun = {process.stdout.readline().strip() for _ in range(2)}
            process.send_signal(signal.SIGTERM)
            assert page.result(timeout=30) == "page ended"
        said, _ = process.communicate(timeout=30)
    finally:
        process.kill()
    assert begun == {"page begun", "task begun"}
    assert "task ended" in said
    assert "Traceback" not in said
    assert process.returncode == 0


def answer_of(url: str) -> str:
    end = time.monotonic() + SOON_S
    while True:
        try:
            return str(urllib.request.urlopen(url, timeout=30).read().decode())
        except OSError:
            if time.monotonic() > end:
                raise
            time.sleep(0.05)


def test_a_port_in_use_is_said_plainly(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        process = command(tmp_path, PORT=str(port))
        said, _ = process.communicate(timeout=SOON_S)
    assert process.returncode == 1
    assert f"Port {port} on 127.0.0.1 is already in use" in said
    assert "Traceback" not in said


@pytest.mark.parametrize("port", ["eighty", "0", "65536", "-1"])
def test_a_port_that_is_no_port_is_refused(port: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PORT", port)
    with pytest.raises(ValueError, match="from 1 to 65535"):
        Address.from_environment()


def test_an_address_is_8000_on_this_machine_unless_told_otherwise(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PORT", "")
    monkeypatch.delenv("HOST", raising=False)
    assert Address.from_environment().bind == "127.0.0.1:8000"
    monkeypatch.setenv("HOST", "::1")
    assert Address.from_environment().bind == "[::1]:8000"


@pytest.fixture
def probe(monkeypatch: pytest.MonkeyPatch) -> Celery:
    """An application of its own, with its queue in memory."""
    monkeypatch.setattr(worker_state, "should_stop", None)
    monkeypatch.setattr("celery._state.default_app", current_app._get_current_object())
    current_app.finalize()  # as after any task of the desk: what is defined from now on it does not know
    app = Celery("probe", broker="memory://localhost//", set_as_current=False, fixups=[])
    app.conf.task_default_queue = "probe"
    app.conf.broker_transport_options = {"polling_interval": 0.05}
    app.conf.beat_schedule = {}
    return app


def test_the_embedded_worker_does_tasks_and_the_clock_sends_them(probe: Celery) -> None:
    probe.conf.beat_schedule = {"tick": {"task": "tick", "schedule": 0.2}}
    asked, ticked = threading.Event(), threading.Event()

    @probe.task
    def by_hand() -> None:
        if current_app.main == "probe":
            asked.set()

    @probe.task(name="tick")
    def tick() -> None:
        ticked.set()

    embedded = Embedded(probe)
    assert "probe" in Channel.queues  # made before any thread can make a second one and lose a task
    embedded.start()
    by_hand.delay()
    assert asked.wait(10)
    assert ticked.wait(10)
    embedded.stop()
    assert not embedded.worker_thread.is_alive()


def test_the_night_is_left_to_others_where_told_so_and_there_are_others(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, probe: Celery
) -> None:
    settings.CELERY_BROKER_URL = "redis://127.0.0.1:1/0"
    assert left_to_others() == []
    monkeypatch.setenv("EMBEDDED_NIGHT", "0")
    assert left_to_others() == [settings.NIGHT_QUEUE]
    probe.conf.task_queues = [Queue("probe"), Queue(settings.NIGHT_QUEUE)]
    embedded = Embedded(probe, left_to_others())
    assert set(embedded.worker.app.amqp.queues.consume_from) == {"probe"}
    settings.CELERY_BROKER_URL = "memory://"
    assert left_to_others() == []


def test_asked_to_stop_an_idle_worker_waits_for_no_message_and_hardly_for_its_timer(
    probe: Celery, monkeypatch: pytest.MonkeyPatch
) -> None:
    done, slept = threading.Event(), []

    def drain(transport: Transport, connection: Any, timeout: float | None = None) -> None:
        waits(transport, connection)  # until there is a message, however long that takes

    def sleep(seconds: float) -> None:
        slept.append(seconds)
        time.sleep(seconds)

    @probe.task
    def just_once() -> None:
        done.set()

    waits = Transport.drain_events
    monkeypatch.setattr(Transport, "drain_events", drain)
    monkeypatch.setattr(timer2, "sleep", sleep)
    embedded = Embedded(probe)
    embedded.start()
    just_once.delay()
    assert done.wait(10)
    embedded.stop()
    assert not embedded.worker_thread.is_alive()
    assert 0 < max(slept) <= TIMER_S
