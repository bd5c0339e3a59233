"""A calendar at its secret address: a household's, a technician's, or the desk's load."""

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone, translation
from django.utils.cache import get_conditional_response
from django.utils.http import http_date
from django.utils.translation import gettext as _

from equipment.languages import language_at
from schedules import feeds
from schedules.models import Feed
from shared.keys import key_print

_FILE = {"site": "filters.ics", "technician": "rounds.ics", "desk": "load.ics"}


def calendar(request: HttpRequest, secret: str) -> HttpResponseBase:
    """The calendar, 304 where the reader has it, 410 where the address was withdrawn."""
    rows = Feed.objects.select_related("site__customer", "technician").defer("body")
    feed = rows.filter(print=key_print(secret)).first()
    if feed is None:
        return _said(_("There is no calendar at this address."), 404)
    if feed.withdrawn_at is not None:
        with translation.override(language_at(feed.site)):
            return _said(_("This calendar address was withdrawn; sign in for the new one."), 410)
    return _answer(request, feeds.looked_after(feed, timezone.now()))


def _answer(request: HttpRequest, feed: Feed) -> HttpResponseBase:
    """The stored calendar; its bytes are read for none who has them already."""
    at = int(feed.changed_at.timestamp()) if feed.changed_at else None
    known = get_conditional_response(request, etag=feed.etag, last_modified=at)
    response: HttpResponseBase = known or HttpResponse(feed.body, content_type="text/calendar; charset=utf-8")
    if known is None:
        response["Content-Disposition"] = f'inline; filename="{_FILE[_kind(feed)]}"'
    response["ETag"] = feed.etag
    if at is not None:
        response["Last-Modified"] = http_date(at)
    # The address alone says who asks: every reader gets the same, and asks each time whether it is still so.
    response["Cache-Control"] = "private, no-cache"
    response.same_for_all = True  # type: ignore[attr-defined]
    return response


def _kind(feed: Feed) -> str:
    return "technician" if feed.technician_id else "site" if feed.site_id else "desk"


def _said(text: str, status: int) -> HttpResponse:
    return HttpResponse(text, status=status, content_type="text/plain; charset=utf-8")
