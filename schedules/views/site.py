"""A home's page: people, systems, filters, tasks, visits, events, card and calendar."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.access import signed_in, site_or_404, units_of, visible_sites
from equipment.dust import episodes_at, record_episode
from equipment.life import Happening
from equipment.models import Desk, FilterSlot, Site
from equipment.record import NotRecordable
from schedules import cards, defects, due, feeds, visits
from schedules.booked import book as book_with_time
from schedules.calendar_events import Owner
from schedules.contacts import Contacts
from schedules.dust_forms import EpisodeForm
from schedules.forms import EventForm, PersonForm
from schedules.home_changes import happen, move_in
from schedules.home_lines import home_lines, home_title, person_lines
from schedules.household_acts import alike
from schedules.models import HomeHours, MaintenanceTask, Visit
from schedules.round_forms import HomeHoursForm
from schedules.site_booking import SiteBookForm
from schedules.soonest import CouldCome, soonest
from schedules.views import household
from schedules.views.dust import SHOWN_FOR
from schedules.views.dust import lines as dust_lines
from schedules.views.visits import booked


def page(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything about one home; a household's own page for whoever lives there."""
    site = site_or_404(signed_in(request), pk)
    return household.page(request, site) if signed_in(request).is_homeowner else _render(request, site)


def home(request: HttpRequest) -> HttpResponse:
    """The homeowner's own homes; straight to the page when there is just one."""
    sites = list(visible_sites(signed_in(request)).order_by("name"))
    if len(sites) == 1:
        return redirect("site", sites[0].pk)
    return render(request, "schedules/home.html", {"sites": sites})


def event(request: HttpRequest, pk: int) -> HttpResponse:
    """Record a life event."""
    site, now = site_or_404(signed_in(request), pk), timezone.now()
    form = EventForm(site, request.POST)
    if form.is_valid():
        try:
            ended = happen(site, Happening(**form.cleaned_data), signed_in(request), now)
        except NotRecordable as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The event is on record."))
            if ended.visits:
                said = ngettext(
                    "%(n)d visit was called off with it; a household that knew of it is told.",
                    "%(n)d visits were called off with it; households that knew of them are told.",
                    ended.visits,
                )
                messages.warning(request, said % {"n": ended.visits})
            if ended.feeds:
                messages.info(request, _("The calendar address here answers no more: it went along."))
            return redirect("site", pk)
    return _render(request, site, event_form=form, status=422)


def person(request: HttpRequest, pk: int) -> HttpResponse:
    """Name somebody at the site; a new filter changer follows the old one."""
    site = site_or_404(signed_in(request), pk)
    form = PersonForm(request.POST)
    if not form.is_valid():
        return _render(request, site, person_form=form, status=422)
    now = timezone.now()
    somebody = move_in(site, form.person(now), form.cleaned_data["roles"], now)
    messages.success(request, _("%(name)s is on record.") % {"name": somebody.name})
    return redirect("site", pk)


def book(request: HttpRequest, pk: int) -> HttpResponse:
    """Book a visit for some of the home's jobs, and show it."""
    site, now = site_or_404(signed_in(request), pk), timezone.now()
    asks = request.POST.get("what") == "soonest"
    form = SiteBookForm(site, due.today(now), request.POST, asks=asks)
    if form.is_valid():
        slots, tasks = (list(form.cleaned_data.pop(name, [])) for name in ("slots", "tasks"))
        booking = visits.Booking(site, slots, tasks, **form.cleaned_data)
        if asks:
            return _render(request, site, book_form=form, could_come=soonest(booking, now))
        visit = booked(request, form, lambda: book_with_time(booking, now))
        if visit is not None:
            return redirect("visit", visit.pk)
    return _render(request, site, book_form=form, status=422)


def dust(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down that the home's air holds more dust than usual for some days."""
    site, now = site_or_404(signed_in(request), pk), timezone.now()
    form = EpisodeForm(request.POST)
    if form.is_valid():
        try:
            record_episode(form.what(), site, signed_in(request), now)
        except NotRecordable as error:
            form.add_error(None, str(error))
        else:
            due.replan(now, FilterSlot.objects.filter(system__site=site))
            messages.success(request, _("The dust is on record and the dates were reckoned again."))
            return redirect("site", pk)
    return _render(request, site, dust_form=form, status=422)


def card(request: HttpRequest, pk: int) -> HttpResponse:
    """The household's card, to be printed."""
    site = site_or_404(signed_in(request), pk)
    lines = [row.line for row in home_lines(site, timezone.now(), units_of(request.user))]
    context = {
        "site": site,
        "lines": lines,
        "alike": alike(line.slot for line in lines),
        "desk": Desk.the(),
        **cards.answer_code(site),
    }
    return render(request, "schedules/card.html", context)


def new_feed(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a calendar address; the one before it, where there was one, is withdrawn."""
    user = signed_in(request)
    site = site_or_404(user, pk)
    if not user.is_homeowner and pk not in Contacts(user, timezone.now()):
        messages.error(request, _("The calendar of a home is for whoever goes there about now."))
        return redirect("site", pk)
    if feeds.turn(Owner(site=site), timezone.now()):
        messages.success(request, _("The old calendar address answers no more; here is a new one."))
    else:
        messages.success(request, _("Here is the calendar's address; keep it to yourselves."))
    return redirect("site", pk)


def _render(
    request: HttpRequest,
    site: Site,
    event_form: EventForm | None = None,
    person_form: PersonForm | None = None,
    book_form: SiteBookForm | None = None,
    dust_form: EpisodeForm | None = None,
    could_come: Sequence[CouldCome] = (),
    status: int = 200,
) -> HttpResponse:
    now = timezone.now()
    today, lines = due.today(now), home_lines(site, now, units_of(request.user))
    feed = feeds.open_feeds(Owner(site=site)).first()
    context: dict[str, Any] = {
        "site": site,
        "lines": lines,
        "title": home_title(lines, today),
        "systems": site.systems.order_by("name"),
        "people": person_lines(site),
        "tasks": MaintenanceTask.objects.filter(system__site=site, ended_on=None).order_by("due_on"),
        "visits": Visit.objects.filter(site=site).select_related("technician").order_by("-day", "-pk")[:20],
        "events": site.events.all()[:20],
        "calls": site.calls.select_related("by")[:10],
        "could_come": could_come,
        "desk_zone": Desk.the().zone,
        "feed_address": feeds.address(feed) if feed else "",
        "event_form": event_form or EventForm(site, initial={"on": today}),
        "person_form": person_form or PersonForm(),
        "dust_lines": dust_lines(episodes_at(site, today - SHOWN_FOR), today),
    }
    if not signed_in(request).is_homeowner:
        seen = defects.open_at([site.pk]).get(site.pk, [])
        context["seen"] = [(row, defects.advice_on(row.kind)) for row in seen]
    if signed_in(request).is_manager:
        context["hours_form"] = HomeHoursForm(instance=HomeHours.objects.filter(site=site).first())
        context["book_form"] = book_form or SiteBookForm(site, today)
        context["dust_form"] = dust_form or EpisodeForm(initial={"first_day": today})
    return render(request, "schedules/site.html", context, status=status)
