"""Visits: what could be one, what is one, and how it ended."""

from collections.abc import Callable
from datetime import timedelta

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import formats, timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, units_of
from equipment.fields import whole_number
from equipment.models import Desk, FilterSlot, Site
from equipment.record import NotRecordable
from schedules import defects, due, entry_judging, replies, visits
from schedules.bookable import NotBookable
from schedules.booked import Booked, Move, book, lost_places, move
from schedules.changed_since import as_shown, refuse_changed
from schedules.emails import filter_lines
from schedules.explain import say_day
from schedules.finish import Finished, finish
from schedules.forms import BookForm
from schedules.models import MaintenanceTask, Reply, Technician, Visit
from schedules.no_access import tries_at
from schedules.open_times import standing
from schedules.visible_visits import visit_or_404
from schedules.visit_notices import readers_of, told_of
from schedules.visit_report import VisitReport
from schedules.visit_words import told_sentence, visit_sentence
from schedules.visits import Booking


def offers_page(request: HttpRequest) -> HttpResponse:
    """What could be a visit, what is one, and each technician's next days; POST books an offer."""
    form, status, failed = BookForm(), 200, None
    if request.POST.get("what") == "times":
        visit = _make_waiting(request)
        return redirect("visit-times", visit.pk) if visit is not None else redirect("visits")
    if request.method == "POST":
        form, failed = BookForm(request.POST), whole_number(request.POST.get("site"))
        if form.is_valid() and _book(request, form) is not None:
            return redirect("visits")
        status = 422
    today = due.today(timezone.now())
    open_visits = Visit.objects.filter(state__in=Visit.OPEN).select_related("site__customer", "technician")
    booked_visits = list(open_visits.exclude(day=None).order_by("day", "technician__name", "stop_number"))
    answers = replies.counting([visit.pk for visit in booked_visits])
    context = {
        "offers": visits.offers(today),
        "form": form,
        "failed": failed,
        "technicians": list(Technician.objects.filter(gone_on=None)),
        "waiting": open_visits.filter(day=None).order_by("-times_displaced", "pk"),
        "choosing": set(standing(today).values_list("visit", flat=True)),
        "booked": booked_visits,
        "declined": {pk for pk, reply in answers.items() if reply.said == Reply.Said.DECLINED},
        "today": today,
        "tomorrow": today + timedelta(days=1),
    }
    return render(request, "schedules/visits.html", context, status=status)


def _make_waiting(request: HttpRequest) -> Visit | None:
    """The offer as a visit that waits for its household to choose a time."""
    site, slots, tasks = _ticked(request)
    try:
        return visits.book(Booking(site, slots, tasks), timezone.now())
    except NotBookable as error:
        messages.error(request, str(error))
        return None


def _book(request: HttpRequest, form: BookForm) -> Visit | None:
    site, slots, tasks = _ticked(request)
    booking = Booking(site, slots, tasks, **form.cleaned_data)
    return booked(request, form, lambda: book(booking, timezone.now()))


def _ticked(request: HttpRequest) -> tuple[Site, list[FilterSlot], list[MaintenanceTask]]:
    """The home of the offer and the jobs of it that were ticked."""
    site = get_object_or_404(Site, pk=whole_number(request.POST.get("site")))
    slots = FilterSlot.objects.filter(
        pk__in=map(whole_number, request.POST.getlist("slot")), system__site=site
    )
    tasks = MaintenanceTask.objects.filter(
        pk__in=map(whole_number, request.POST.getlist("task")), system__site=site
    )
    return site, list(slots), list(tasks)


def booked(request: HttpRequest, form: BookForm, make: Callable[[], Booked]) -> Visit | None:
    """Make or move a visit and say what came of it; None, with the reason on the form, where that cannot
    be, or where it is unusual and the form is not sure."""
    try:
        told = make()
    except NotBookable as error:
        form.refuse(error)
        return None
    _say_order(request, told.lost, told.late)
    _say_booked(request, told)
    _say_moved(request, told)
    return told.visit


def _say_order(request: HttpRequest, lost: list[tuple[Visit, str]], late: list[Visit]) -> None:
    """Name who lost a place on a day that was put in order, and who was told other hours."""
    for left, why in lost:
        said = {"home": left.site.address or left.site.name, "why": why}
        messages.warning(request, _("%(home)s has no time on that day any more: %(why)s") % said)
    for one in late:
        said = {"home": one.site.address or one.site.name}
        messages.warning(request, _("%(home)s was told other hours, and is told anew.") % said)


def _say_moved(request: HttpRequest, told: Booked) -> None:
    """Whose time moved for it, with both times."""
    zone = Desk.the().zone
    moved = [
        _("%(home)s from %(was)s to %(at)s")
        % {
            "home": one.home,
            "was": f"{one.was.astimezone(zone):%H:%M}",
            "at": f"{one.at.astimezone(zone):%H:%M}",
        }
        for one in told.moved
    ]
    if moved:
        messages.info(request, _("Other times moved with it: %(moved)s.") % {"moved": "; ".join(moved)})


def _say_booked(request: HttpRequest, told: Booked) -> None:
    """Say in one breath what came of it."""
    visit = told.visit
    home = visit.site.address or visit.site.name
    if visit.technician is None or visit.day is None:
        messages.success(request, _("Booked: %(home)s waits for a day.") % {"home": home})
        return
    said = {"home": home, "day": say_day(visit.day), "why": told.why}
    if told.why:
        messages.warning(request, _("Booked: %(home)s on %(day)s, without a time yet. %(why)s") % said)
        return
    said["at"] = formats.date_format(timezone.localtime(visit.arrive_at, Desk.the().zone), "H:i")
    messages.success(request, _("Booked: %(home)s on %(day)s at about %(at)s.") % said)


def _visit_or_404(request: HttpRequest, pk: int) -> Visit:
    return visit_or_404(signed_in(request), pk)


def page(request: HttpRequest, pk: int) -> HttpResponse:
    """One visit: what to do, what to bring, and the form to complete it."""
    return _render(request, _visit_or_404(request, pk))


def _render(
    request: HttpRequest,
    visit: Visit,
    report: VisitReport | None = None,
    book_form: BookForm | None = None,
    status: int = 200,
) -> HttpResponse:
    units = units_of(request.user)
    jobs, today = visit.jobs.select_related("task__system", "slot"), due.today(timezone.now())
    report = report or VisitReport(visit, units, now=timezone.now())
    slots = [form.slot for form in report.filters]
    initial = {"technician": visit.technician_id, "day": visit.day}
    context = {
        "visit": visit,
        "shown": as_shown(visit),
        "site": visit.site,
        "forms": list(zip(report.filters, filter_lines(slots, timezone.now(), units), strict=True)),
        "air_forms": report.air,
        "tasks": [job.task for job in jobs if job.task],
        "ticked": {task.pk for task in report.tasks_done} if report.told else {j.task_id for j in jobs},
        "jobs": jobs,
        "people": list(readers_of([visit.site_id]).values()),
        "sentence": visit_sentence(visit),
        "told": told_sentence(visit),
        "reply": replies.counting([visit.pk]).get(visit.pk) if visit.is_open else None,
        "tries": tries_at([visit.site_id]).get(visit.site_id, []) if visit.is_open else [],
        "beside": entry_judging.beside(visit, units),
        "defects": [] if visit.is_open else defects.of_visit(visit),
        "seen": defects.open_at([visit.site_id]).get(visit.site_id, []) if visit.is_open else [],
        "photographs": list(visit.photographs.standing().select_related("slot")),
        "early": visit.day is not None and visit.day > today,
        "today": today,
        "complete_form": report.whole,
        "book_form": book_form or BookForm(initial=initial),
    }
    return render(request, "schedules/visit.html", context, status=status)


def book_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the visit to another technician or day."""
    visit, form = _visit_or_404(request, pk), BookForm(request.POST)
    if form.is_valid():
        to = Move(**form.cleaned_data, shown=request.POST.get("shown", ""))
        if booked(request, form, lambda: move(visit, to, timezone.now())) is not None:
            return redirect("visit", pk)
        visit = _visit_or_404(request, pk)
    return _render(request, visit, book_form=form, status=422)


def complete_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Complete the visit as the form tells it."""
    visit, now = _visit_or_404(request, pk), timezone.now()
    report = VisitReport(visit, units_of(request.user), request.POST, request.FILES)
    if report.is_valid():
        try:
            done = finish(visit, report.outcome(now), signed_in(request), now)
        except NotRecordable as error:
            report.whole.add_error(None, str(error))
            visit = _visit_or_404(request, pk)
        else:
            _say_done(request, visit, done)
            return redirect("site", visit.site_id)
    report.ask_for_photos_again()
    return _render(request, visit, report, status=422)


def _say_done(request: HttpRequest, visit: Visit, done: Finished) -> None:
    if done.booked_for is None:
        messages.success(request, _("Done. The next dates are reckoned."))
        return
    said = _("Done today, %(today)s, instead of %(day)s. The next dates are reckoned.")
    messages.success(request, said % {"today": say_day(visit.day), "day": say_day(done.booked_for)})
    if done.order is not None:
        _say_order(request, lost_places(done.order), done.order.broken)


def arrived_page(request: HttpRequest, pk: int) -> HttpResponse:
    """The technician is at the door."""
    visit = _visit_or_404(request, pk)
    try:
        visits.arrive(visit, timezone.now())
    except NotRecordable as error:
        messages.error(request, str(error))
    return redirect("visit", pk)


def no_access_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Nobody opened."""
    visit = _visit_or_404(request, pk)
    try:
        visits.no_access(visit, request.POST.get("note", "").replace("\0", "")[:500], timezone.now())
    except NotRecordable as error:
        messages.error(request, str(error))
    return redirect("visit", pk)


def displaced_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Something urgent comes first: the visit loses its day."""
    visit = _visit_or_404(request, pk)
    technician, day, knew = visit.technician, visit.day, told_of(visit)
    try:
        visits.displace(visit, request.POST.get("note", "").replace("\0", "")[:500])
    except NotBookable as error:
        messages.error(request, str(error))
        return redirect("visit", pk)
    said = {"home": visit.site.address or visit.site.name}
    messages.success(request, _("%(home)s waits for another day, first in the next plan.") % said)
    if knew and knew.coming:
        messages.info(
            request, _("The household expects somebody: it is written to, or stands on the list to ring.")
        )
    if signed_in(request).is_manager or technician is None or day is None:
        return redirect("visit", pk)
    return redirect("day", technician.pk, day.isoformat())


def cancel_page(request: HttpRequest, pk: int) -> HttpResponse:
    """Call the visit off."""
    visit = _visit_or_404(request, pk)
    knew = told_of(visit)
    try:
        with transaction.atomic():
            current = refuse_changed(visit, request.POST.get("shown", ""))
            visits.cancel(current, request.POST.get("note", "").replace("\0", "")[:500])
    except NotBookable as error:
        messages.error(request, str(error))
        return redirect("visit", pk)
    else:
        said = _("Called off: %(home)s.") % {"home": visit.site.address or visit.site.name}
        more = (
            _("The household knew of it and is told.")
            if knew and knew.coming
            else _("Nobody had been told of it.")
        )
        messages.success(request, f"{said} {more}")
    return redirect("visits")
