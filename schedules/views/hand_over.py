"""The form for the day of the install."""

import re
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in
from equipment.handover import HandOver, NewSlot, hand_over
from equipment.models import Desk, FilterSlot, Site, System
from equipment.record import NotRecordable
from schedules import due
from schedules.forms import HandOverForm, HandOverSlots


def page(request: HttpRequest) -> HttpResponse:
    """Show the form, or store the install and go to its home."""
    units = Desk.the().units
    if request.method != "POST":
        return _render(request, HandOverForm(units), HandOverSlots(form_kwargs={"units": units}))
    form, slots = HandOverForm(units, request.POST), HandOverSlots(request.POST, form_kwargs={"units": units})
    if form.is_valid() and slots.is_valid():
        now = timezone.now()
        try:
            site = hand_over(_filled(form.cleaned_data, slots.cleaned_data), signed_in(request), now)
        except NotRecordable as error:
            form.add_error(None, str(error))
        else:
            due.replan(now, FilterSlot.objects.filter(system__site=site))
            messages.success(
                request, _("The install is on record. Print the card and leave it with the household.")
            )
            return redirect("site", site.pk)
    return _render(request, form, slots, status=422)


def _render(request: HttpRequest, form: HandOverForm, slots: Any, status: int = 200) -> HttpResponse:
    return render(request, "schedules/hand_over.html", {"form": form, "slots": slots}, status=status)


def _filled(data: dict[str, Any], slots: list[dict[str, Any]]) -> HandOver:
    street = data["street"]
    site_name = _free_name(Site, re.sub(r"\s+", " ", f"{data['customer']}, {street}"))
    system = _free_name(System, f"{site_name} system")
    wanted = [slot for slot in slots if slot.get("size")]
    return HandOver(
        customer=data["customer"],
        person={
            "name": data["customer"],
            "email": data["email"],
            "phone": data["phone"],
            "language": data["language"],
        },
        site={
            "name": site_name,
            **{
                key: data[key]
                for key in ("street", "city", "region", "postcode", "latitude", "longitude", "pets")
            },
        },
        system={
            "name": system,
            "kind": data["kind"],
            "blower": data["blower"],
            "capacity_w": data["capacity"],
            "design_airflow_m3s": data["design_airflow"],
            "return_static_pa": data["return_static"],
            "supply_static_pa": data["supply_static"],
            "rated_external_static_pa": data["rated_static"],
            "return_budget_pa": data["return_budget"],
        },
        # A little before now, so that a reading taken at once is not of the time to come.
        at=timezone.now() - timedelta(seconds=1),
        slots=[_slot(system, number, slot) for number, slot in enumerate(wanted, start=1)],
        reading={"airflow_method": data["airflow_method"], "coil": data["coil"]},
        cautions=data["cautions"],
    )


def _slot(system: str, number: int, slot: dict[str, Any]) -> NewSlot:
    return NewSlot(
        name=_free_name(FilterSlot, f"{system} filter {number}"),
        size=slot["size"],
        location=slot["location"],
        media=slot["medium"],
        changed_by=slot["changed_by"] or FilterSlot.ChangedBy.OCCUPANT,
        clean_drop_pa=slot["clean_drop"],
        airflow_m3s=slot["airflow"],
    )


def _free_name(model: Any, wanted: str) -> str:
    """``wanted``, or with a number behind it where that name is taken."""
    name, number = wanted[:110], 2
    while model.objects.filter(name=name).exists():
        name, number = f"{wanted[:110]} {number}", number + 1
    return name
