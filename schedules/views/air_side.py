"""The air side of a system: what was measured, what follows from it, and the forms that tell more."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, units_of
from equipment.air_side import air_side
from equipment.models import AirRecord, Desk, FilterSlot, System
from equipment.record import NotRecordable
from schedules.addresses import absolute
from schedules.air_changes import measure, slots_of, withdraw, write_papers
from schedules.air_forms import AirForm, PapersForm
from schedules.air_words import limit_words, lines, path_lines, title
from schedules.views.devices import shown_once
from shared.units import AIRFLOW, PRESSURE, show


def page(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything known of a system's air side."""
    return _render(request, _system(pk))


def measured(request: HttpRequest, pk: int) -> HttpResponse:
    """Write today's measurements down; limits and dates follow."""
    system, now = _system(pk), timezone.now()
    form = AirForm(system, units_of(request.user), request.POST)
    if form.is_valid():
        try:
            measure(system, form.measured(), signed_in(request), now)
        except NotRecordable as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _("The measurements are on record; limits and dates follow them."))
            return redirect("air-side", pk)
    return _render(request, system, air_form=form, status=422)


def withdrawn(request: HttpRequest, pk: int, record: int) -> HttpResponse:
    """Take a measurement back that was none."""
    row, now = get_object_or_404(AirRecord, pk=record, system=_system(pk)), timezone.now()
    withdraw(row, now)
    messages.success(request, _("Taken back; what was measured before counts again."))
    return redirect("air-side", pk)


def papers(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down what the unit's papers say and the ducts measure."""
    system, now = _system(pk), timezone.now()
    slots = slots_of(system)
    form = PapersForm(units_of(request.user), system, slots, request.POST)
    if form.is_valid():
        write_papers(form, now)
        messages.success(request, _("Written down; limits and dates follow it."))
        return redirect("air-side", pk)
    return _render(request, system, papers_form=form, status=422)


def _system(pk: int) -> System:
    return get_object_or_404(System.objects.select_related("site__customer"), pk=pk)


def _render(
    request: HttpRequest,
    system: System,
    air_form: AirForm | None = None,
    papers_form: PapersForm | None = None,
    status: int = 200,
) -> HttpResponse:
    units = units_of(request.user)
    slots = slots_of(system)
    fresh = System.objects.select_related("site").get(pk=system.pk)
    side = air_side(fresh, slots)
    context = {
        "system": system,
        "site": system.site,
        "title": title(side, units),
        "side": side,
        "lines": lines(side, fresh.site.zone(Desk.the().timezone), units),
        "path": path_lines(side, units),
        "slots": [_slot(slot, units) for slot in slots],
        "records": [_record(row, units) for row in fresh.air_records.select_related("measured_by")[:12]],
        "air_form": air_form or AirForm(system, units),
        "papers_form": papers_form or PapersForm(units, fresh, slots),
        **_devices(request, system),
    }
    return render(request, "schedules/air_side.html", context, status=status)


def _devices(request: HttpRequest, system: System) -> dict[str, Any]:
    """What the manager sees of the system's devices; nobody else is shown any."""
    if not signed_in(request).is_manager:
        return {}
    return {
        "devices": system.devices.all(),
        "new_key": shown_once(request, system),
        "device_address": absolute("api-v1:api-device-batch"),
    }


def _slot(slot: FilterSlot, units: str) -> dict[str, Any]:
    plan = getattr(slot, "plan", None)
    return {
        "slot": slot,
        "limit": show(plan.limit_drop_pa if plan else None, PRESSURE, units),
        "clean": show(plan.clean_drop_pa if plan else None, PRESSURE, units),
        "rule": limit_words(plan.notes if plan else []),
    }


def _record(row: Any, units: str) -> dict[str, Any]:
    how = ", ".join(part for part in (row.airflow_method, row.blower_tap, row.get_coil_display()) if part)
    return {
        "pk": row.pk,
        "at": row.measured_at,
        "airflow": show(row.airflow_m3s, AIRFLOW, units),
        "back": show(row.return_static_pa, PRESSURE, units),
        "supply": show(row.supply_static_pa, PRESSURE, units),
        "drop": show(row.filter_drop_pa, PRESSURE, units),
        "how": how,
        "by": row.measured_by.get_full_name() or row.measured_by.username if row.measured_by else "",
    }
