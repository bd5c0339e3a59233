"""Whoever tries keys and links that open nothing is put off for a while, by the address they come from.

Counted by each web process for itself. Of a household's links and keys none can be guessed in any number of
tries; this keeps those who try from taking the desk's time, and the logs readable.
"""

from collections.abc import Callable
from ipaddress import ip_address, ip_network

from django.conf import settings
from django.core.cache import cache
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.template.loader import render_to_string
from django.utils import translation

from equipment.api_keys import was_ours
from servicedesk.address_names import name_of
from servicedesk.bearer import PLACE
from servicedesk.problems import problem

MOST_WRONG, WITHIN_S = 60, 600
TOO_MANY = 429
# What an answer says where nothing was opened, by the name of the address. A calendar that was withdrawn, or
# a letter's link that is spent, was genuine once: it is asked for again and again, and counts for nothing.
_NOTHING_OPENED = {
    "answer": {404},
    "times": {404},
    "stop-mail": {404},
    "feed": {404},
    "tag": {404},
    "texts": {401},
    "metrics": {401},
}
_OF_PROGRAMS = {401}


class WrongTriesMiddleware:
    """Stands before whatever looks a secret up."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """429 with Retry-After once too many were wrong, else the answer, counted where it opened nothing."""
        for_programs = request.path.startswith(PLACE)
        wrong = _OF_PROGRAMS if for_programs else _NOTHING_OPENED.get(name_of(request))
        key = _key(request, "keys" if for_programs else "links") if wrong else ""
        if not key or not wrong:
            return self.get_response(request)
        if cache.get(key, 0) >= MOST_WRONG:
            return _put_off(request, for_programs=for_programs)
        answer = self.get_response(request)
        if answer.status_code in wrong and (not for_programs or _shows_what_is_none(request)):
            cache.add(key, 0, WITHIN_S)
            cache.incr(key)
        return answer


def _shows_what_is_none(request: HttpRequest) -> bool:
    """Whether a key was shown that never was one; those withdrawn or expired count for nothing."""
    _kind, _space, key = request.headers.get("Authorization", "").partition(" ")
    return bool(key.strip()) and not was_ours(key.strip())


def _key(request: HttpRequest, what: str) -> str:
    """Of whoever asks, and for which kind of secret; empty where a proxy should have said and did not."""
    hops = settings.PROXIES
    if not hops:
        return f"wrong-{what}:{_network(request.META.get('REMOTE_ADDR', ''))}"
    told = [part.strip() for part in request.headers.get("X-Forwarded-For", "").split(",") if part.strip()]
    return f"wrong-{what}:{_network(told[-hops])}" if len(told) >= hops else ""


def _network(address: str) -> str:
    """An address as it stands, or the 64 bits that one household has of the sixth version."""
    try:
        found = ip_address(address)
    except ValueError:
        return address[:64]
    return str(found) if found.version == 4 else str(ip_network((found, 64), strict=False))


def _put_off(request: HttpRequest, *, for_programs: bool) -> HttpResponse:
    if for_programs:
        answer = problem(TOO_MANY, "Too many keys that open nothing", "Try again later with the right one.")
    else:
        with translation.override(translation.get_language_from_request(request)):
            answer = HttpResponse(render_to_string("429.html", request=request), status=TOO_MANY)
    answer["Retry-After"] = str(WITHIN_S)
    return answer
