"""Which request or task a line of the log belongs to, and lines as JSON for machines."""

import contextvars
import json
import logging
import re
import secrets
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from celery import signals
from django.http import HttpRequest, HttpResponse

HEADER = "X-Request-ID"
# What a proxy may name a request by; anything else could write lines of its own into a log.
_PLAIN = re.compile(r"[A-Za-z0-9-]{1,64}\Z")
_request: contextvars.ContextVar[str] = contextvars.ContextVar("request", default="")
_user: contextvars.ContextVar[int | None] = contextvars.ContextVar("user", default=None)
_task: contextvars.ContextVar[tuple[str, str]] = contextvars.ContextVar("task", default=("", ""))

Next = Callable[[HttpRequest], HttpResponse]


class RequestIdMiddleware:
    """Takes a request's name over from the proxy, or gives it one, and tells it in the answer."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer, with the name."""
        named = request.headers.get(HEADER, "")
        name = named if _PLAIN.match(named) else secrets.token_hex(8)
        before = _request.set(name)
        request.log_name = name  # type: ignore[attr-defined]
        try:
            answer = self.get_response(request)
        finally:
            _request.reset(before)
        answer[HEADER] = name
        return answer


class UserOfLogMiddleware:
    """Notes the number of whoever is signed in; their name is nobody's who reads logs."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """The answer."""
        before = _user.set(request.user.pk)
        try:
            return self.get_response(request)
        finally:
            _user.reset(before)


@signals.before_task_publish.connect
def _hand_on(headers: dict[str, Any] | None = None, **_more: Any) -> None:
    """A task that a request asked for carries its name along."""
    if headers is not None and _request.get():
        headers["request_id"] = _request.get()


@signals.task_prerun.connect
def _begin(task_id: str = "", task: Any = None, **_more: Any) -> None:
    _task.set((task.name, task_id))
    named = str(getattr(task.request, "request_id", None) or "")
    _request.set(named if _PLAIN.match(named) else "")


@signals.task_postrun.connect
def _end(**_more: Any) -> None:
    _task.set(("", ""))
    _request.set("")


class Ids(logging.Filter):
    """Puts the names on every line, as fields and, for people, in ``of``."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Always true: no line is left out."""
        # What Django itself says of an answer it says after all middleware, with the request beside it.
        asked = getattr(record, "request", None)
        request = _request.get() or getattr(asked, "log_name", "")
        user = _user.get() or getattr(getattr(asked, "user", None), "pk", None)
        task, task_id = _task.get()
        named = "".join(f" [{name}]" for name in (request, task.rpartition(".")[2]) if name)
        record.__dict__.update(
            request_id=request, user_number=user, task_name=task, task_id=task_id, of=named
        )
        return True


class JsonLines(logging.Formatter):
    """A line of JSON a record, with its own ``fields``; what is not known is left out."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        told = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname,
            "logger": record.name,
            "message": record.getMessage(),
        }
        for name in ("request_id", "user_number", "task_name", "task_id"):
            if value := getattr(record, name, None):
                told[name] = value
        told |= getattr(record, "fields", {})
        if record.exc_info:
            told["trace"] = self.formatException(record.exc_info)
        return json.dumps(told, ensure_ascii=False, default=str)
