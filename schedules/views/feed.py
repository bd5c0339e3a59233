"""A household's or a technician's calendar at its secret address."""

from django.http import HttpRequest, HttpResponse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from equipment.languages import language_at
from schedules import feeds, van_feed
from schedules.models import Feed


def calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """The calendar, 304 where the reader has it, 410 where the address was withdrawn."""
    feed = Feed.objects.select_related("site__customer", "technician").filter(secret=secret).first()
    if feed is None:
        return HttpResponse(
            _("There is no calendar at this address."), status=404, content_type="text/plain; charset=utf-8"
        )
    with translation.override(language_at(feed.site)):
        return _answer(request, feed)


def _answer(request: HttpRequest, feed: Feed) -> HttpResponse:
    if feed.withdrawn_at is not None:
        gone = _("This calendar address was withdrawn; sign in for the new one.")
        return HttpResponse(gone, status=410, content_type="text/plain; charset=utf-8")
    now = timezone.now()
    if feed.technician is not None:
        file = van_feed.render(feed.technician, now)
    elif feed.site is not None:
        file = feeds.render(feed.site, now)
    if request.headers.get("If-None-Match") == file.etag:
        response = HttpResponse(status=304)
    else:
        response = HttpResponse(file.body, content_type="text/calendar; charset=utf-8")
        response["Content-Disposition"] = 'inline; filename="filters.ics"'
    response["ETag"] = file.etag
    response["Cache-Control"] = "private, max-age=3600"
    return response
