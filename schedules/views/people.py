"""Who drives, from where, and when they are away."""

import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.forms import ModelForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, site_or_404
from equipment.sheets.faults import Fault
from schedules import due
from schedules.models import Absence, Depot, HomeHours, Technician
from schedules.round_forms import WEEKDAYS, AbsenceForm, DepotForm, HomeHoursForm, TechnicianForm
from schedules.technicians_sheet import TECHNICIANS, import_technicians

LARGEST_BYTES = 1_000_000


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
    if not isinstance(sent, UploadedFile) or (sent.size or 0) > LARGEST_BYTES:
        messages.error(request, _("Choose a CSV file of at most a megabyte."))
        return redirect("people")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "technicians.csv"
        path.write_bytes(sent.read())
        report = import_technicians(path)
    if report.faults:
        return _render(request, faults=report.faults[:200], status=422)
    messages.success(request, " ".join(report.lines()))
    return redirect("people")


def gone(request: HttpRequest, pk: int) -> HttpResponse:
    """A technician leaves; visits of days to come stay on record and want somebody else."""
    row = get_object_or_404(Technician, pk=pk, gone_on=None)
    row.gone_on = due.today(timezone.now())
    row.save(update_fields=["gone_on"])
    waiting = row.visits.filter(state__in=("scheduled", "confirmed"), day__gte=row.gone_on).count()
    said = _("%(name)s no longer works here.") % {"name": row.name}
    if waiting:
        said += " " + _("%(n)d booked visits want another technician.") % {"n": waiting}
    messages.warning(request, said)
    return redirect("people")


def depot(request: HttpRequest) -> HttpResponse:
    """Add a depot."""
    form = DepotForm(request.POST)
    return _added(request, form) or _render(request, depot_form=form, status=422)


def absence(request: HttpRequest) -> HttpResponse:
    """Write down leave, or a day off for all."""
    form = AbsenceForm(request.POST)
    return _added(request, form) or _render(request, absence_form=form, status=422)


def absence_ends(request: HttpRequest, pk: int) -> HttpResponse:
    """Take leave back."""
    Absence.objects.filter(pk=pk, withdrawn_at=None).update(withdrawn_at=timezone.now())
    return redirect("people")


def home_hours(request: HttpRequest, pk: int) -> HttpResponse:
    """What days and hours suit a home, and who is not to come there."""
    site = site_or_404(signed_in(request), pk)
    row = HomeHours.objects.filter(site=site).first() or HomeHours(site=site)
    form = HomeHoursForm(request.POST, instance=row)
    if form.is_valid():
        form.save()
        messages.success(request, _("The home's days and hours are on record; plans keep to them."))
    else:
        for errors in form.errors.values():
            messages.error(request, " ".join(str(error) for error in errors))
    return redirect("site", pk)


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
    absence_form: "ModelForm[Any] | None" = None,
    faults: Sequence[Fault] = (),
    status: int = 200,
) -> HttpResponse:
    today, words = due.today(timezone.now()), dict(WEEKDAYS)
    staff = Technician.objects.filter(gone_on=None).select_related("depot")
    away = Absence.objects.filter(withdrawn_at=None, last_day__gte=today).select_related("technician")
    context = {
        "staff": [(who, ", ".join(str(words[day]) for day in who.weekdays if day in words)) for who in staff],
        "depots": Depot.objects.filter(closed_on=None),
        "absences": away.order_by("first_day"),
        "shown": shown,
        "faults": faults,
        "columns": [column.name for column in TECHNICIANS],
        "technician_form": technician_form or TechnicianForm(),
        "open_form": technician_form is not None,
        "depot_form": depot_form or DepotForm(),
        "absence_form": absence_form or AbsenceForm(),
    }
    return render(request, "schedules/people.html", context, status=status)
