"""One process for a desk: its pages, the worker behind them and the clock that wakes it."""

import argparse
import atexit
import errno
import gc
import io
import logging
import os
import socket
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from celery import Celery
from celery.beat import Scheduler
from celery.beat import Service as Clock
from celery.worker import WorkController
from celery.worker import state as worker_state
from django.conf import settings
from django.core.management import call_command
from django.db import connections
from gunicorn.app.base import BaseApplication
from gunicorn.glogging import Logger

from servicedesk.celery_app import app as celery
from servicedesk.migrating import NotMigratedError, at_start
from servicedesk.wsgi import application

WEB_THREADS = 8
TASK_THREADS = 2
GRACE_S = 20
SWITCH_S = 0.0005
TIMER_S = 0.1  # for so long a worker that ends may wait for its timer
log = logging.getLogger("servicedesk.serve")  # its own name is another where it is the process


@dataclass(frozen=True)
class Address:
    """Where the desk listens."""

    host: str
    port: int

    @classmethod
    def from_environment(cls) -> "Address":
        """HOST and PORT, 127.0.0.1 and 8000 where they are not given; ValueError where PORT is no port."""
        port = os.environ.get("PORT") or "8000"
        if not port.isdecimal() or not 0 < int(port) < 65536:
            raise ValueError(f"PORT is {port!r}; it has to be a number from 1 to 65535.")
        return cls(os.environ.get("HOST") or "127.0.0.1", int(port))

    @property
    def bind(self) -> str:
        return f"[{self.host}]:{self.port}" if ":" in self.host else f"{self.host}:{self.port}"

    def why_not(self) -> str:
        """Why nobody can listen here, in plain words; empty where one can."""
        family = socket.AF_INET6 if ":" in self.host else socket.AF_INET
        with socket.socket(family) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind((self.host, self.port))
            except OSError as fault:
                if fault.errno == errno.EADDRINUSE:
                    return (
                        f"Port {self.port} on {self.host} is already in use; choose another: PORT=8001 ./run"
                    )
                return f"The desk cannot listen on {self.bind}: {fault.strerror or fault}."
        return ""


def in_memory(app: Celery) -> bool:
    return str(app.conf.broker_url).startswith("memory:")


def make_queue(app: Celery) -> None:
    """Makes the queue in memory: two threads that make it at once make two, and one takes a task with it."""
    if in_memory(app):
        with app.connection_for_write() as connection:
            app.amqp.queues[app.conf.task_default_queue](connection.default_channel).declare()


class Embedded:
    """The Celery worker and its clock as threads of this process."""

    def __init__(self, app: Celery, but: Sequence[str] = ()) -> None:
        """All queues of ``app`` but some."""
        make_queue(app)
        app.set_default()  # a task's thread asks for the default application, and would be given an empty one
        self.worker = WorkController(
            app=app,
            pool="threads",
            concurrency=TASK_THREADS,
            exclude_queues=list(but),
            without_gossip=True,
            without_mingle=True,
            timer_precision=TIMER_S,
        )
        # The plain scheduler keeps its times in memory: every task is a sweep that may run early.
        self.clock = Clock(app, scheduler_cls=Scheduler)
        self.worker_thread = threading.Thread(target=self.worker.start, name="worker", daemon=True)
        self.clock_thread = threading.Thread(target=self.clock.start, name="clock", daemon=True)

    def start(self) -> None:
        # A page gives the interpreter up at every query: behind a task that reckons it must come back soon.
        sys.setswitchinterval(SWITCH_S)
        self.worker_thread.start()
        self.clock_thread.start()

    def stop(self) -> None:
        """Lets the running tasks finish, for at most GRACE_S seconds."""
        self.clock.stop()
        worker_state.should_stop = os.EX_OK  # type: ignore[assignment]
        if in_memory(self.worker.app):
            # Its loop waits two seconds for a message before it looks up, and for another one before it ends.
            for _ in range(2):
                self.worker.app.control.broadcast("ping")
        self.worker_thread.join(GRACE_S)  # the clock may sleep on: it holds nothing


def wants_embedded() -> bool:
    """Whether tasks are done in this process: always with the broker in memory, else unless told not to."""
    return _broker_in_memory() or os.environ.get("EMBEDDED_WORKER", "1") != "0"


def left_to_others() -> list[str]:
    """The queues that the worker of this process takes nothing from: the night's, where it is told so."""
    alone = _broker_in_memory() or os.environ.get("EMBEDDED_NIGHT", "1") != "0"
    return [] if alone else [settings.NIGHT_QUEUE]


def _broker_in_memory() -> bool:
    return settings.CELERY_BROKER_URL.startswith("memory:")


class DeskLog(Logger):  # type: ignore[misc]  # gunicorn carries no types
    """The server's own lines by the desk's handler: they name addresses, and some of these are secrets."""

    def setup(self, cfg: Any) -> None:
        super().setup(cfg)
        self.error_log.handlers.clear()
        self.error_log.propagate = True


class Desk(BaseApplication):  # type: ignore[misc]  # gunicorn carries no types
    """The web server, whose one worker process also carries the embedded worker."""

    def __init__(self, address: Address) -> None:
        self.address = address
        self.embedded: Embedded | None = None
        super().__init__()

    def load_config(self) -> None:
        chosen: dict[str, Any] = {
            "bind": self.address.bind,
            "workers": 1,
            "worker_class": "gthread",
            "threads": WEB_THREADS,
            "timeout": 120,
            "graceful_timeout": GRACE_S + 5,
            "loglevel": "warning",
            "logger_class": DeskLog,
            "control_socket_disable": True,
            "when_ready": self.when_ready,
            "post_worker_init": self.post_worker_init,
            "worker_exit": self.worker_exit,
        }
        for name, value in chosen.items():
            self.cfg.set(name, value)

    def load(self) -> Callable[..., Any]:
        return application

    def when_ready(self, arbiter: object) -> None:
        if settings.LOG_FORMAT == "json":
            # The ways into a demo are no matter of such a log: manage welcome prints them.
            log.info("The desk is open at %s", settings.SITE_URL)
        else:
            call_command("welcome")
        connections.close_all()
        sys.stdout.flush()

    def post_worker_init(self, worker: object) -> None:
        if wants_embedded():
            self.embedded = Embedded(celery, left_to_others())
            self.embedded.start()

    def worker_exit(self, arbiter: object, worker: object) -> None:
        if self.embedded:
            self.embedded.stop()


def say(text: str, level: int = logging.INFO) -> None:
    """A line for people, or for machines an object: to the log where that is theirs."""
    if settings.LOG_FORMAT == "json":
        log.log(level, "%s", text)
    else:
        print(text, file=sys.stderr if level > logging.INFO else sys.stdout)


def prepare(with_demo: bool) -> None:
    """Brings the database up to date; the server forks next, so nothing open or unwritten is left behind.

    Raises NotMigratedError.
    """
    at_start()
    # Whoever reads the log could enter the demo's accounts.
    if with_demo and not settings.PRODUCTION:
        said = io.StringIO()
        call_command("load_demo", "--once", stdout=said)
        say(said.getvalue().strip())
    connections.close_all()
    sys.stdout.flush()


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="servicedesk.serve", description=__doc__)
    parser.add_argument("--demo", action="store_true", help="load the demo, once in the life of a database")
    chosen = parser.parse_args(arguments)
    try:
        address = Address.from_environment()
    except ValueError as fault:
        say(str(fault), logging.ERROR)
        return 1
    if reason := address.why_not():
        say(reason, logging.ERROR)
        return 1
    try:
        prepare(chosen.demo)
    except NotMigratedError as fault:
        say(str(fault), logging.ERROR)
        return 1
    # Else each of the two processes, as it ends, searches all it ever made for dead rings, for a second.
    atexit.register(gc.freeze)
    Desk(address).run()
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
