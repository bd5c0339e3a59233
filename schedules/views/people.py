"""Who drives, from where, and when they are away."""

from collections.abc import Sequence
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.forms import ModelForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.access import signed_in, site_or_404, units_of
from equipment.sheets.faults import Fault
from schedules import due, feeds, home_changes, staff
from schedules.calendar_events import Owner
from schedules.leave import booked_during, free_visits
from schedules.models import Absence, Depot, Policy, Technician
from schedules.round_forms import WEEKDAYS, AbsenceForm, DepotForm, HomeHoursForm, RoadsForm, TechnicianForm
from schedules.technicians_sheet import LARGEST_SHEET_BYTES, TECHNICIANS, import_sent


def page(request: HttpRequest) -> HttpResponse:
    """Technicians, depots and days off."""
    return _render(request)


def technician(request: HttpRequest, pk: int = 0) -> HttpResponse:
    """Add a technician, or change one; GET shows the form of one."""
    row = get_object_or_404(Technician, pk=pk) if pk else None
    if request.method != "POST":
        return _render(request, technician_form=TechnicianForm(instance=row), shown=row)
    form = TechnicianForm(request.POST, instance=row)
    if not form.is_valid():
        return _render(request, technician_form=form, shown=row, status=422)
    messages.success(request, _("%(name)s is on record.") % {"name": form.save().name})
    return redirect("people")


def sheet(request: HttpRequest) -> HttpResponse:
    """Technicians from a sheet: all rows, or none and every fault."""
    sent = request.FILES.get("sheet")
    if not isinstance(sent, UploadedFile) or (sent.size or 0) > LARGEST_SHEET_BYTES:
        messages.error(request, _("Choose a CSV file of at most a megabyte."))
        return redirect("people")
    report = import_sent(sent.read())
    if report.faults:
        return _render(request, faults=report.faults[:200], status=422)
    messages.success(request, " ".join(report.lines()))
    return redirect("people")


def gone(request: HttpRequest, pk: int) -> HttpResponse:
    """A technician leaves; visits of days to come stay on record and want somebody else."""
    row = get_object_or_404(Technician, pk=pk, gone_on=None)
    waiting = staff.leaves(row, timezone.now())
    said = _("%(name)s no longer works here.") % {"name": row.name}
    if waiting:
        said += " " + _("%(n)d booked visits want another technician.") % {"n": waiting}
    messages.warning(request, said)
    return redirect("people")


def back(request: HttpRequest, pk: int) -> HttpResponse:
    """A technician who had left works here again."""
    row = get_object_or_404(Technician.objects.exclude(gone_on=None), pk=pk)
    staff.returns(row)
    messages.success(request, _("%(name)s is on record.") % {"name": row.name})
    return redirect("technician", pk)


def depot(request: HttpRequest, pk: int = 0) -> HttpResponse:
    """Add a depot, or change one; GET shows the form of one."""
    row = get_object_or_404(Depot, pk=pk, closed_on=None) if pk else None
    if request.method != "POST":
        return _render(request, depot_form=DepotForm(instance=row), shown_depot=row)
    form = DepotForm(request.POST, instance=row)
    return _added(request, form) or _render(request, depot_form=form, shown_depot=row, status=422)


def depot_closed(request: HttpRequest, pk: int) -> HttpResponse:
    """A depot is given up; who started there starts at the desk, and is named."""
    row = get_object_or_404(Depot, pk=pk, closed_on=None)
    names = staff.close_depot(row, timezone.now())
    said = _("%(name)s is closed.") % {"name": row.name}
    if names:
        said += " " + _("At the desk starts from now on: %(names)s.") % {"names": ", ".join(names)}
    messages.success(request, said)
    return redirect("people")


def absence(request: HttpRequest) -> HttpResponse:
    """Write down leave, or a day off for all; the visits booked then are named."""
    form = AbsenceForm(due.today(timezone.now()), request.POST)
    if not form.is_valid():
        return _render(request, absence_form=form, status=422)
    count = booked_during(form.save()).count()
    messages.success(request, _("Written down."))
    if count:
        text = ngettext(
            "%(n)d visit is booked on these days: see below.",
            "%(n)d visits are booked on these days: see below.",
            count,
        )
        messages.warning(request, text % {"n": count})
    return redirect("people")


def absence_free(request: HttpRequest, pk: int) -> HttpResponse:
    """Let the visits of days without work wait for another day."""
    row = get_object_or_404(Absence, pk=pk, withdrawn_at=None)
    count = free_visits(row)
    text = ngettext("%(n)d visit waits for another day.", "%(n)d visits wait for another day.", count)
    messages.success(request, text % {"n": count})
    return redirect("people")


def absence_ends(request: HttpRequest, pk: int) -> HttpResponse:
    """Take leave back."""
    row = Absence.objects.filter(pk=pk).first()
    if row is not None:
        staff.take_back(row, timezone.now())
    return redirect("people")


def roads(request: HttpRequest) -> HttpResponse:
    """How fast the roads are, by the hour."""
    form = RoadsForm(Policy.the(), units_of(request.user), request.POST)
    if not form.is_valid():
        return _render(request, roads_form=form, status=422)
    form.save()
    messages.success(request, _("Written down."))
    return redirect("people")


def home_hours(request: HttpRequest, pk: int) -> HttpResponse:
    """What days and hours suit a home, and who is not to come there."""
    site = site_or_404(signed_in(request), pk)
    form = HomeHoursForm(request.POST, instance=home_changes.hours_of(site))
    if form.is_valid():
        form.save()
        messages.success(request, _("The home's days and hours are on record; plans keep to them."))
    else:
        for errors in form.errors.values():
            messages.error(request, " ".join(str(error) for error in errors))
    return redirect("site", pk)


def load_feed(request: HttpRequest) -> HttpResponse:
    """Make the address of the load's calendar; the one before it, where there was one, is withdrawn."""
    if feeds.turn(Owner(), timezone.now()):
        messages.success(request, _("The old calendar address answers no more; here is a new one."))
    else:
        messages.success(request, _("Here is the calendar's address; keep it to yourselves."))
    return redirect("people")


def _added(request: HttpRequest, form: "ModelForm[Any]") -> HttpResponse | None:
    if not form.is_valid():
        return None
    form.save()
    messages.success(request, _("Written down."))
    return redirect("people")


def _render(
    request: HttpRequest,
    technician_form: TechnicianForm | None = None,
    shown: Technician | None = None,
    depot_form: "ModelForm[Any] | None" = None,
    shown_depot: Depot | None = None,
    absence_form: "ModelForm[Any] | None" = None,
    roads_form: RoadsForm | None = None,
    faults: Sequence[Fault] = (),
    status: int = 200,
) -> HttpResponse:
    today, words = due.today(timezone.now()), dict(WEEKDAYS)
    feed = feeds.open_feeds(Owner()).first()
    here = Technician.objects.filter(gone_on=None).select_related("depot")
    away = Absence.objects.filter(withdrawn_at=None, last_day__gte=today).select_related("technician")
    context = {
        "staff": [(who, ", ".join(str(words[day]) for day in who.weekdays if day in words)) for who in here],
        "policy": Policy.the(),
        "feed_address": feeds.address(feed) if feed else "",
        "depots": Depot.objects.filter(closed_on=None),
        "gone": Technician.objects.exclude(gone_on=None),
        "absences": [(row, booked_during(row)) for row in away.order_by("first_day")],
        "shown_depot": shown_depot,
        "shown": shown,
        "faults": faults,
        "columns": [column.name for column in TECHNICIANS],
        "technician_form": technician_form or TechnicianForm(),
        "open_form": technician_form is not None,
        "depot_form": depot_form or DepotForm(),
        "roads_form": roads_form or RoadsForm(Policy.the(), units_of(request.user)),
        "open_roads": roads_form is not None,
        "absence_form": absence_form or AbsenceForm(today),
    }
    return render(request, "schedules/people.html", context, status=status)
