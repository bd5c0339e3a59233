"""A mail server of our own, and the test's database handed to other processes."""

import asyncio
import os
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from django.db import connection
from pytest_django.fixtures import Settings

from tests.servers import free_port

ROOT = Path(__file__).resolve().parents[2]


@dataclass
class Mailbox:
    """Takes letters over SMTP; it can be told to refuse a reader, to put off, or to hang."""

    port: int
    letters: list[EmailMessage] = field(default_factory=list)
    raw: list[bytes] = field(default_factory=list)
    put_off: int = 0
    refuses: str = ""
    hangs: bool = False
    hangs_up_on: str = ""
    # The answers to the next MAIL, RCPT or DATA commands, before the usual ones.
    answers: dict[str, list[str]] = field(default_factory=dict)
    data_came: threading.Event = field(default_factory=threading.Event)

    async def handle_MAIL(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.answers.get("MAIL"):
            return self.answers["MAIL"].pop(0)
        envelope.mail_from = address
        return "250 OK"

    async def handle_RCPT(
        self, server: SMTP, session: Session, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.answers.get("RCPT"):
            return self.answers["RCPT"].pop(0)
        if address == self.hangs_up_on:
            assert server.transport is not None
            server.transport.close()
        if address == self.refuses:
            return "550 5.1.1 no such mailbox here"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:
        self.data_came.set()
        if self.answers.get("DATA"):
            return self.answers["DATA"].pop(0)
        if self.put_off:
            self.put_off -= 1
            return "451 4.7.1 come back later"
        assert isinstance(envelope.content, bytes)
        self.raw.append(envelope.content)
        self.letters.append(message_from_bytes(envelope.content, policy=policy.SMTP))
        if self.hangs:
            await asyncio.sleep(60)
        return "250 OK"


@pytest.fixture
def mailbox(settings: Settings) -> Iterator[Mailbox]:
    """The mail server that this process and its children post to."""
    box = Mailbox(free_port())
    controller = Controller(box, hostname="127.0.0.1", port=box.port)
    controller.start()
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", box.port
    yield box
    controller.stop()


@dataclass
class Elsewhere:
    """The test's committed rows for other processes: SQLite's in a file, PostgreSQL's as they are."""

    folder: Path
    mail_port: int = 0

    @property
    def file(self) -> Path:
        return self.folder / "handed-over.sqlite3"

    def hand_over(self) -> None:
        connection.ensure_connection()
        if connection.vendor == "sqlite":
            self._copy(connection.connection, sqlite3.connect(self.file))

    def take_back(self) -> None:
        if connection.vendor == "sqlite":
            self._copy(sqlite3.connect(self.file), connection.connection)

    def _copy(self, source: sqlite3.Connection, target: sqlite3.Connection) -> None:
        source.backup(target)
        for one in (source, target):
            if one is not connection.connection:
                one.close()

    @property
    def url(self) -> str:
        if connection.vendor == "sqlite":
            return f"sqlite:///{self.file}"
        where: dict[str, Any] = connection.settings_dict
        return "postgres://{USER}:{PASSWORD}@{HOST}:{PORT}/{NAME}".format(**where)

    def start(self, *arguments: str, errors: int | None = None, **more: str) -> "subprocess.Popen[str]":
        """Python on the handed-over rows, its words in a pipe; `errors` as subprocess takes `stderr`."""
        env = {"PYTHONPATH": str(ROOT), "VAR_DIR": str(self.folder), "DATABASE_URL": self.url}
        env["EMAIL_URL"] = f"smtp://127.0.0.1:{self.mail_port}" if self.mail_port else "dummymail://"
        command = [sys.executable, "-P", *arguments]
        pipe = subprocess.PIPE
        return subprocess.Popen(
            command, env=os.environ | env | more, stdin=pipe, stdout=pipe, stderr=errors, text=True
        )


@pytest.fixture
def elsewhere(transactional_db: None, tmp_path: Path) -> Elsewhere:
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    return Elsewhere(folder)
