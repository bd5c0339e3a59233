"""Times for a household to choose from: the manager's page that offers them, the household's that chooses."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from equipment.fields import whole_number
from equipment.languages import language_for
from equipment.models import Desk
from schedules.bookable import NotBookable
from schedules.explain import say_day
from schedules.models import Visit
from schedules.offered_times import Time, choose, decline, find_times, offer
from schedules.open_times import LINK_LASTS, open_times, time_words
from schedules.views.answer import closed
from schedules.visit_notices import readers_of
from schedules.visit_promises import hours_words, promise_of
from shared import signing
from shared.signing import Purpose


def offer_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Find times for a visit that waits, and offer those that are ticked by mail."""
    visit, now = get_object_or_404(Visit.objects.select_related("site__customer"), pk=pk), timezone.now()
    found: list[Time] = []
    error = ""
    try:
        found = find_times(visit, now)
        if request.method == "POST":
            ticked = request.POST.getlist("time")
            notice = offer(visit, [one for one in found if one.name in ticked], now)
            said = _("The times go out to %(who)s; an answer books the visit.")
            messages.success(request, said % {"who": notice.person})
            return redirect("visit", pk)
    except NotBookable as refused:
        error = str(refused)
    tz = visit.site.zone(Desk.the().timezone)
    context = {
        "visit": visit,
        "site": visit.site,
        "times": [(one.name, time_words(one, tz), one) for one in found],
        "reader": readers_of([visit.site_id]).get(visit.site_id),
        "open": [time_words(one, tz) for one in open_times(visit, now)],
        "error": error,
    }
    return render(request, "schedules/offer_times.html", context, status=422 if error else 200)


def answer_page(request: HttpRequest, token: str) -> HttpResponse:
    """The household chooses one of the times, or says that none suits. GET shows, only POST books."""
    try:
        pk = signing.read(Purpose.TIMES, token, LINK_LASTS)
    except signing.SpentToken:
        return closed(request, _("This link is too old. Ring us, or use the link in a newer letter."), 410)
    except signing.BadToken:
        return closed(request, _("This link is not one of ours, or a piece of it is missing."), 404)
    visit = Visit.objects.select_related("site__customer", "technician").filter(pk=whole_number(pk)).first()
    if visit is None:
        return closed(request, _("This link is not one of ours, or a piece of it is missing."), 404)
    reader = readers_of([visit.site_id]).get(visit.site_id)
    with translation.override(language_for(request.user, reader)):
        return _act(request, visit) if request.method == "POST" else _show(request, visit, _said(request))


def _act(request: HttpRequest, visit: Visit) -> HttpResponse:
    if request.POST.get("what") == "none":
        if not decline(visit, timezone.now()):
            return _show(request, visit, error=_("It is booked already: ring us if it does not suit you."))
        return redirect(f"{request.path}?told=ring")
    return _choose(request, visit)


def _choose(request: HttpRequest, visit: Visit) -> HttpResponse:
    wanted = whole_number(request.POST.get("time"))
    if visit.offered_times.filter(pk=wanted, chosen_at__isnull=False).exists():
        # Sent twice: it is theirs.
        return redirect(request.path)
    if not wanted:
        return _show(request, visit, error=_("Choose one of the times."))
    try:
        choose(visit, wanted, timezone.now())
    except NotBookable as error:
        return _show(request, visit, error=str(error))
    return redirect(f"{request.path}?told=hours")


def _said(request: HttpRequest) -> str:
    """What was done just before."""
    return {
        "ring": _("Thank you. We will ring you to agree on a day."),
        "hours": _("Thank you. A letter with the hours follows."),
    }.get(request.GET.get("told", ""), "")


def _show(request: HttpRequest, visit: Visit, said: str = "", error: str = "") -> HttpResponse:
    now, tz = timezone.now(), visit.site.zone(Desk.the().timezone)
    promise = promise_of(visit)
    context: dict[str, Any] = {
        "visit": visit,
        "site": visit.site,
        "desk": Desk.the(),
        "times": [(one.pk, time_words(one, tz), one.technician) for one in open_times(visit, now)],
        "booked": hours_words(promise, tz) if promise.coming else "",
        "over": say_day(visit.day) if visit.state == Visit.State.COMPLETED else "",
        "said": said,
        "error": error,
    }
    return render(request, "schedules/choose_time.html", context, status=422 if error else 200)
