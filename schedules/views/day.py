"""A technician's day: its stops in order, what to mind at each, what to bring."""

from contextlib import suppress
from datetime import date, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, units_of
from equipment.models import Desk
from schedules import due, feeds, routes
from schedules.bookable import NotBookable, cannot_work
from schedules.calendar_events import Owner
from schedules.day_order import put_in_order
from schedules.day_problem import NoStart, start_of
from schedules.day_sheet import Reader, sheet, stops_of
from schedules.day_totals import totals
from schedules.models import Technician, Visit
from schedules.round_map import map_data, one_round, one_stop
from shared.charts import route_sketch


def day_or_404(request: HttpRequest, technician: int, day: str) -> tuple[Technician, date]:
    """The technician and the day, for themselves and for managers."""
    somebody = get_object_or_404(Technician, pk=technician)
    user = signed_in(request)
    if not user.is_manager and somebody.user_id != user.pk:
        raise PermissionDenied
    try:
        on = date.fromisoformat(day)
    except ValueError:
        raise Http404 from None
    if not 2000 <= on.year <= 2100:
        raise Http404
    return somebody, on


def day_page(request: HttpRequest, technician: int, day: str) -> HttpResponse:
    """A technician's stops in order, with times, a drawing and the filters to bring."""
    return _show_day(request, *day_or_404(request, technician, day))


def order_page(request: HttpRequest, technician: int, day: str) -> HttpResponse:
    """Put the day in order, say what does not fit and why, and go back to the day."""
    somebody, on = day_or_404(request, technician, day)
    try:
        plan = put_in_order(somebody, on, timezone.now())
    except (NotBookable, NoStart) as error:
        messages.error(request, str(error))
        return redirect("day", technician, day)
    for visit, why in plan.left_out:
        messages.warning(request, f"{visit.site}: {why}")
    for visit in plan.broken:
        said = {"home": visit.site.address or visit.site.name}
        messages.warning(request, _("%(home)s was told other hours, and is told anew.") % said)
    if plan.visits:
        messages.success(request, _("The day is in order."))
    return redirect("day", technician, day)


def new_feed(request: HttpRequest, technician: int) -> HttpResponse:
    """Make the technician's calendar address; the one before it is withdrawn."""
    today = due.today(timezone.now()).isoformat()
    row, _on = day_or_404(request, technician, today)
    feeds.turn(Owner(technician=row), timezone.now())
    messages.success(request, _("Here is the calendar's address; keep it to yourself."))
    return redirect("day", row.pk, today)


def _show_day(request: HttpRequest, technician: Technician, on: date) -> HttpResponse:
    now, stops, user = timezone.now(), stops_of(technician, on), signed_in(request)
    told = sheet(stops, now, Reader(units_of(user), reads_all=user.is_manager))
    lines = [here.line for stop in told for here in stop.filters]
    feed = feeds.open_feeds(Owner(technician=technician)).first()
    unordered = [visit for visit in stops if visit.is_open and visit.stop_number is None]
    context = {
        "technician": technician,
        "day": on,
        "stops": told,
        "to_come": [stop for stop in told if stop.visit.is_open],
        "over": [stop for stop in told if not stop.visit.is_open],
        "cannot_work": cannot_work(technician, on) if any(visit.is_open for visit in stops) else "",
        "unordered": unordered,
        # Before anything has a place, nothing has missed one.
        "left_out": unordered if any(visit.stop_number for visit in stops) else [],
        "totals": totals(technician, stops),
        "bring": routes.to_bring(lines),
        "drawing": _sketch(technician, stops),
        "map": _map(technician, stops),
        "next_day": None if stops else _next_day(technician, on),
        "before": on - timedelta(days=1),
        "after": on + timedelta(days=1),
        "zone": Desk.the().zone,
        "feed_address": feeds.address(feed) if feed else "",
    }
    return render(request, "schedules/day.html", context)


def _next_day(technician: Technician, after: date) -> date | None:
    """The next day on which something is booked for the technician."""
    rows = Visit.objects.filter(technician=technician, day__gt=after, state__in=Visit.ON_A_DAY)
    return rows.order_by("day").values_list("day", flat=True).first()


def _map(technician: Technician, stops: list[Visit]) -> dict[str, Any]:
    """The day's round for the map; nothing where it has no start or no stop in order."""
    zone = Desk.the().zone
    with suppress(NoStart):
        places = [_map_stop(visit, zone) for visit in stops if visit.stop_number and visit.site.placed]
        if places:
            return map_data([one_round("day", "", technician.name, start_of(technician), places)])
    return {}


def _map_stop(visit: Visit, zone: ZoneInfo) -> dict[str, Any]:
    site = visit.site
    hours = "–".join(f"{at.astimezone(zone):%H:%M}" for at in (visit.arrive_at, visit.leave_at) if at)
    said = f"{site.customer}, {site.address or site.name}"
    at = (site.latitude or 0.0, site.longitude or 0.0)
    return one_stop(visit.stop_number or 0, at, said, hours, reverse("visit", args=[visit.pk]))


def _sketch(technician: Technician, stops: list[Visit]) -> str:
    try:
        depot = start_of(technician)
    except NoStart:
        return ""
    places = [
        (visit.site.latitude, visit.site.longitude)
        for visit in stops
        if visit.stop_number and visit.site.latitude is not None and visit.site.longitude is not None
    ]
    title = _("The round of the day")
    return (
        route_sketch(title, _("%(n)d stops, north up") % {"n": len(places)}, depot, places) if places else ""
    )
