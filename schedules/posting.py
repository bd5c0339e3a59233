"""Hands a message to the mail server in steps, so that what became of it is known.

It is taken, put off, refused for good, no letter is taken at all, or it was handed over without an answer.
"""

import re
from collections.abc import Callable
from email.generator import BytesGenerator
from io import BytesIO
from smtplib import SMTP, SMTPException
from types import TracebackType
from typing import Any, Self

from django.core.mail import EmailMessage, get_connection
from django.core.mail.backends.smtp import EmailBackend
from django.core.mail.message import sanitize_address
from dkim import DKIMException

from schedules.dkim_signing import signed

# No letter fares better than this one: the service goes away, or has no room (RFC 5321, 4.2.3).
_NONE_TAKEN = (421, 452)
_MAILBOX = re.compile(r"user|mailbox|recipient|address|account", re.IGNORECASE)
_OURSELVES = re.compile(r"sender|relay|block|black|spam|rbl|polic|denied|reject|permit", re.IGNORECASE)
# RFC 5322, 2.1.1, allows 998.
_LONGEST_LINE = 990
_STATUS = re.compile(r"^(\d)\.(\d{1,3})\.(\d{1,3})\b")


class NotTaken(Exception):
    """The server put this letter off; it may be tried again."""


class Refused(Exception):
    """The letter was refused for good; ``mailbox`` where its reader's address was."""

    def __init__(self, words: str, *, mailbox: bool) -> None:
        super().__init__(words)
        self.mailbox = mailbox


class ServerFault(Exception):
    """No letter gets out just now, whoever it is for."""


class NobodyKnows(Exception):
    """The letter was handed over and no answer came: sent or not."""


class Post:
    """One way to the mail server for many letters, opened with the first."""

    def __init__(self) -> None:
        self._backend = get_connection()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._close()

    def send(self, mail: EmailMessage) -> None:
        """Hand the message over. Raises NotTaken, Refused, ServerFault or NobodyKnows; only after the last of
        these may it have arrived."""
        if not isinstance(self._backend, EmailBackend):
            mail.connection = self._backend
            mail.send()
            return
        try:
            self._hand_over(self._open(self._backend), mail)
        except (ServerFault, NobodyKnows):
            self._close()
            raise

    def _open(self, backend: EmailBackend) -> SMTP:
        try:
            backend.open()
            if isinstance(backend.connection, SMTP):
                backend.connection.ehlo_or_helo_if_needed()
                return backend.connection
        except (SMTPException, OSError) as error:
            raise ServerFault(_words(error)) from error
        raise ServerFault("there is no way to the mail server")

    def _close(self) -> None:
        self._backend.close()

    def _hand_over(self, smtp: SMTP, mail: EmailMessage) -> None:
        to = mail.recipients()[0]
        if not to.rpartition("@")[0].isascii():
            raise Refused("the mailbox's name has letters that mail servers do not take", mailbox=True)
        try:
            sender, reader = (sanitize_address(one, "utf-8") for one in (mail.from_email, to))
            message = mail.message()
        except ValueError as error:
            raise Refused(f"that is no mail address: {error}", mailbox=True) from error
        body = self._signed(message)
        code, words = self._asked(lambda: smtp.mail(sender))
        if code >= 400:
            # Whoever may not send at all may send to nobody.
            self._ask_anew(smtp)
            raise ServerFault(f"{code} {words}")
        self._heed(smtp, *self._asked(lambda: smtp.rcpt(reader)), mailbox=True)
        self._heed(smtp, *self._asked(lambda: smtp.docmd("DATA")), mailbox=False)
        try:
            smtp.send(re.sub(rb"(?m)^\.", b"..", body).rstrip(b"\r\n") + b"\r\n.\r\n")
            answer = smtp.getreply()
        except (SMTPException, OSError) as error:
            raise NobodyKnows(_words(error)) from error
        self._heed(smtp, answer[0], answer[1].decode(errors="replace"), mailbox=False)

    def _signed(self, message: Any) -> bytes:
        written = BytesIO()
        # Header lines are not folded: unsubscribe links are read by simple programs.
        BytesGenerator(written, mangle_from_=False, maxheaderlen=_LONGEST_LINE).flatten(
            message, linesep="\r\n"
        )
        try:
            return signed(written.getvalue())
        except (OSError, DKIMException) as error:
            raise ServerFault(f"the letters cannot be signed: {_words(error)}") from error

    def _asked(self, ask: Callable[[], tuple[int, bytes]]) -> tuple[int, str]:
        """The server's answer to a step before the letter itself, which so cannot have arrived."""
        try:
            code, words = ask()
        except (SMTPException, OSError) as error:
            raise ServerFault(_words(error)) from error
        return code, words.decode(errors="replace")

    def _heed(self, smtp: SMTP, code: int, words: str, *, mailbox: bool) -> None:
        if code < 400:
            return
        said = f"{code} {words}"
        if code in _NONE_TAKEN and not (mailbox and _says_mailbox(words)):
            raise ServerFault(said)
        self._ask_anew(smtp)
        if code < 500:
            raise NotTaken(said)
        raise Refused(said, mailbox=mailbox and _of_the_mailbox(words))

    def _ask_anew(self, smtp: SMTP) -> None:
        try:
            smtp.rset()
        except (SMTPException, OSError):
            self._close()


def _says_mailbox(words: str) -> bool:
    """Whether the answer names the mailbox as the cause, such as one that is full (RFC 3463, x.1 and x.2)."""
    status = _STATUS.match(words)
    if status is None or status[2] not in ("1", "2"):
        return False
    # Details 7 and 8 of the first subject are about the sender.
    return not (status[2] == "1" and status[3] in ("7", "8")) and "sender" not in words.lower()


def _of_the_mailbox(words: str) -> bool:
    """Whether a refusal is about the mailbox and not about what this desk may do.

    By RFC 3463 that is what the subjects 1 and 2 say; a server without such codes has to name the mailbox and
    nothing of relays, blocks and policies.
    """
    if _STATUS.match(words):
        return _says_mailbox(words)
    return bool(_MAILBOX.search(words)) and not _OURSELVES.search(words)


def _words(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"[:300]
