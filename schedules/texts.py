"""Text messages: to a configured address as JSON, only to people whose consent is on record."""

import json
import re
from datetime import datetime
from http.client import HTTPException, InvalidURL
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.request import HTTPRedirectHandler, Request, build_opener

from django.conf import settings
from django.utils.translation import gettext as _

from equipment.models import Person
from schedules.models import Wish
from schedules.posting import NobodyKnows, NotTaken, Refused, ServerFault
from schedules.wishes import note_texts

TIMEOUT_S = 20
# Words that end text messages, English ones by the FCC's list (from memory) and Spanish ones: some wherever a
# message begins with them, others only where they are all of it.
STOP_FIRST = frozenset(("stop", "stopall", "unsubscribe", "revoke", "optout", "alto", "baja", "basta"))
STOP_WHOLE = frozenset(("end", "quit", "cancel", "opt out", "cancelar", "parar"))
_WORD = re.compile(r"[^\W\d_]+")
_EXTENSION = re.compile(r"[a-z#]", re.IGNORECASE)
# Of these the carrier says that it took nothing, or the message's own id lets it drop a second copy.
_AGAIN = (408, 429, 500, 502, 503, 504)


class _NoRedirect(HTTPRedirectHandler):
    """A redirected message would arrive empty, and the secret elsewhere."""

    def redirect_request(self, *_args: Any, **_more: Any) -> None:
        return None


urlopen = build_opener(_NoRedirect).open


def why_no_text(person: Person | None) -> str:
    """Why no text message can go to the person; empty where one can."""
    # Without the secret nobody could stop them.
    if not settings.TEXTS_URL or not settings.TEXTS_SECRET:
        return _("text messages are not set up")
    if person is None or not digits(person.phone):
        return _("no phone number")
    if person.text_consent_at is None:
        return _("has not agreed to text messages")
    if person.text_stopped_at is not None and person.text_stopped_at >= person.text_consent_at:
        return _("stopped text messages")
    return ""


def digits(phone: str) -> str:
    """The number as carriers take it, with its country and without an extension; empty for what is none."""
    found = "".join(sign for sign in _EXTENSION.split(phone)[0] if sign.isdecimal())
    if not phone.strip().startswith("+") and len(found) == 10:
        found = "1" + found
    return f"+{found}" if 8 <= len(found) <= 15 else ""


def post(to: str, words: str, key: str) -> None:
    """Hand one message over; ``key`` lets the other side drop a second copy. Raises NotTaken, Refused,
    ServerFault or NobodyKnows as letters do."""
    body = json.dumps({"id": key, "to": to, "text": words}).encode()
    headers = {
        "Content-Type": "application/json",
        "Idempotency-Key": key,
        "Authorization": f"Bearer {settings.TEXTS_SECRET}",
    }
    if not settings.TEXTS_URL.startswith(("http://", "https://")):
        raise ServerFault("TEXTS_URL begins neither with http:// nor with https://")
    request = Request(settings.TEXTS_URL, body, headers, method="POST")  # noqa: S310
    try:
        with urlopen(request, timeout=TIMEOUT_S):
            return
    except HTTPError as error:
        _heed(error)
    except URLError as error:
        if isinstance(error.reason, ConnectionRefusedError | OSError) and not isinstance(
            error.reason, TimeoutError
        ):
            raise ServerFault(str(error.reason)) from error
        raise NobodyKnows(str(error.reason)) from error
    except InvalidURL as error:
        raise ServerFault(f"TEXTS_URL: {error}") from error
    except (HTTPException, OSError) as error:
        raise NobodyKnows(f"{type(error).__name__}: {error}") from error


def _heed(error: HTTPError) -> None:
    said = f"{error.code} {error.reason}"
    if error.code in _AGAIN:
        raise NotTaken(said) from error
    if error.code in (401, 403) or error.code < 400:
        raise ServerFault(said) from error
    if error.code < 500:
        raise Refused(said, mailbox=False) from error
    # It broke in the middle: nobody knows whether the message went on.
    raise NobodyKnows(said) from error


def take_in(number: str, words: str, now: datetime) -> bool:
    """Heed an answer that came in: a word that ends messages ends them for everybody of that number; whether
    it did."""
    said = _WORD.findall(words.casefold())
    if not said or (said[0] not in STOP_FIRST and " ".join(said) not in STOP_WHOLE):
        return False
    wanted = digits(number)
    people = [
        person
        for person in Person.objects.exclude(phone="").filter(text_consent_at__isnull=False)
        if wanted and digits(person.phone) == wanted
    ]
    for person in people:
        person.text_stopped_at = now
        person.save(update_fields=["text_stopped_at"])
    note_texts([person.pk for person in people], now, Wish.How.TEXT, words, wanted=False)
    return bool(people)
