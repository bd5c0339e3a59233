"""Programs: who shows which key, the same write done once, and answers that a program has already."""

import hashlib
import json
from collections.abc import Callable
from datetime import datetime, timedelta

from django.core.exceptions import RequestDataTooBig
from django.db import IntegrityError, transaction
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag

from equipment.api_keys import ANSWERS_KEPT_FOR, user_of
from equipment.devices import device_of
from equipment.models import KeptAnswer
from servicedesk.problems import problem
from shared.keys import SHOWN_ONCE

PLACE = "/api/"
LONGEST_NAME = 200
LONGEST_WRITE = timedelta(minutes=10)
Answerer = Callable[[HttpRequest], HttpResponse]


class BearerMiddleware:
    """Under ``/api/`` a key alone says who asks; a session does not count there, so that no page can be made
    to write."""

    def __init__(self, get_response: Answerer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Recognise the key, then answer once."""
        if not request.path.startswith(PLACE):
            return self.get_response(request)
        try:
            if _has_nul(request):
                return problem(422, "What was sent holds the sign NUL, which no text has")
        except RequestDataTooBig:
            return problem(413, "That is more than is taken at once", "Send it in parts, or sheets as files.")
        now = timezone.now()
        _recognise(request, now)
        known = request.device is not None or getattr(request, "by_key", False)  # type: ignore[attr-defined]
        named = known and request.method == "POST"
        answer = once(request, self.get_response, now) if named else self.get_response(request)
        return _if_changed(request, answer)


def _has_nul(request: HttpRequest) -> bool:
    """Databases take no text with it; in JSON it is written as an escape."""
    in_address = "\0" in request.path or "%00" in request.META.get("QUERY_STRING", "")
    return in_address or (not _holds_files(request) and b"\\u0000" in request.body)


def _holds_files(request: HttpRequest) -> bool:
    """Files are read as they come, and may be larger than what is held in memory."""
    return request.content_type == "multipart/form-data"


def _sent(request: HttpRequest) -> str:
    """What tells one write from another."""
    if not _holds_files(request):
        return request.body.hex()
    told = [f"{name}={values}" for name, values in sorted(request.POST.lists())]
    for name, files in sorted(request.FILES.lists()):
        for file in files:
            print_of_it = hashlib.file_digest(file, "sha256").hexdigest()
            file.seek(0)
            told.append(f"{name}={file.name} {print_of_it}")
    return "\n".join(told)


def _recognise(request: HttpRequest, now: datetime) -> None:
    request.device = None  # type: ignore[attr-defined]
    kind, _space, key = request.headers.get("Authorization", "").partition(" ")
    if kind.lower() != "bearer" or not key.strip():
        return
    request.device = device_of(key.strip())  # type: ignore[attr-defined]
    if request.device is None and (user := user_of(key.strip(), now)):  # type: ignore[attr-defined]
        request.user, request.by_key = user, True  # type: ignore[attr-defined]


def once(request: HttpRequest, get_response: Answerer, now: datetime) -> HttpResponse:
    """A write that names itself by ``Idempotency-Key`` is done once; asked again, it is answered again."""
    name = request.headers.get("Idempotency-Key", "")
    if not name:
        return get_response(request)
    if len(name) > LONGEST_NAME:
        return problem(422, "Idempotency-Key is too long")
    asked, write = (
        _print(request.headers.get("Authorization", ""), name),
        _print(request.method or "", request.get_full_path(), _sent(request)),
    )
    if kept := KeptAnswer.objects.filter(asked=asked, at__gt=now - ANSWERS_KEPT_FOR).first():
        return _again(kept, write, now)
    try:
        with transaction.atomic():
            KeptAnswer.objects.filter(asked=asked).delete()
            row = KeptAnswer.objects.create(asked=asked, write=write, status=0, body="", at=now)
    except IntegrityError:
        return problem(409, "The same write is being done just now")
    answer = get_response(request)
    if answer.status_code < 500:
        row.status, row.body = answer.status_code, _without_keys(request, answer)
        row.save(update_fields=["status", "body"])
    else:
        row.delete()
    return answer


def _without_keys(request: HttpRequest, answer: HttpResponse) -> str:
    """What is kept of an answer: a key that it shows is shown once, and the database is to hold none."""
    told = answer.content.decode()
    hidden = getattr(request, SHOWN_ONCE, ())
    return json.dumps(json.loads(told) | dict.fromkeys(hidden, "")) if hidden else told


def _again(kept: KeptAnswer, write: str, now: datetime) -> HttpResponse:
    if kept.write != write:
        return problem(422, "This Idempotency-Key named another write")
    if not kept.status and now - kept.at > LONGEST_WRITE:
        said = "It began and nobody knows whether it was stored: look, and write anew under another key."
        return problem(409, "The same write was never finished", said)
    if not kept.status:
        return problem(409, "The same write is being done just now")
    kind = "application/json" if kept.status < 400 else "application/problem+json"
    answer = HttpResponse(kept.body, status=kept.status, content_type=f"{kind}; charset=utf-8")
    answer["Idempotent-Replay"] = "true"
    return answer


def _print(*parts: str) -> str:
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()


def _if_changed(request: HttpRequest, answer: HttpResponse) -> HttpResponse:
    """An entity tag, and 304 for a program that has this answer."""
    answer["Cache-Control"] = "no-store" if hasattr(request, SHOWN_ONCE) else "private, no-cache"
    if request.method not in ("GET", "HEAD") or answer.status_code != 200 or answer.streaming:
        return answer
    tag = quote_etag(hashlib.sha256(answer.content).hexdigest()[:32])
    answer["ETag"] = tag
    told: HttpResponse = get_conditional_response(request, etag=tag, response=answer)  # type: ignore[assignment]
    return told
