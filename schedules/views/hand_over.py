"""The form for the day of the install."""

import re
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in
from equipment.fields import whole_number
from equipment.handover import HandOver, NewSlot, hand_over
from equipment.models import Desk, FilterSlot, Site, System
from equipment.record import NotRecordable
from schedules import due
from schedules.forms import MOST_SLOTS, HandOverForm, HandOverSlotForm, HandOverSlots


def page(request: HttpRequest) -> HttpResponse:
    """Show the form, or store the install and go to its home."""
    units = Desk.the().units
    if request.method != "POST":
        return _render(request, HandOverForm(units), HandOverSlots(form_kwargs={"units": units}))
    if "one-more" in request.POST:
        return _one_more(request, units)
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


def _one_more(request: HttpRequest, units: str) -> HttpResponse:
    """The form as it was typed, nothing checked yet, with room for one slot more."""
    form = HandOverForm(units, initial=request.POST.dict())
    count = min(whole_number(request.POST.get("form-TOTAL_FORMS")) or 0, MOST_SLOTS)
    typed = [
        {name: request.POST.get(f"form-{number}-{name}", "") for name in HandOverSlotForm.base_fields}
        for number in range(count)
    ]
    return _render(request, form, HandOverSlots(initial=typed, form_kwargs={"units": units}))


def _render(request: HttpRequest, form: HandOverForm, slots: Any, status: int = 200) -> HttpResponse:
    context = {"form": form, "slots": slots, "full": len(slots.forms) >= MOST_SLOTS}
    return render(request, "schedules/hand_over.html", context, status=status)


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
        slots=[_slot(name, slot) for name, slot in zip(_slot_names(street, wanted), wanted, strict=True)],
        reading={"airflow_method": data["airflow_method"], "coil": data["coil"]},
        cautions=data["cautions"],
    )


def _slot(name: str, slot: dict[str, Any]) -> NewSlot:
    return NewSlot(
        name=name,
        size=slot["size"],
        location=slot["location"],
        media=slot["medium"],
        changed_by=slot["changed_by"] or FilterSlot.ChangedBy.OCCUPANT,
        clean_drop_pa=slot["clean_drop"],
        airflow_m3s=slot["airflow"],
    )


def _slot_names(street: str, slots: list[dict[str, Any]]) -> list[str]:
    """A code for each slot's tag: street and place, or street and number where no place was written."""
    names: list[str] = []
    for number, slot in enumerate(slots, start=1):
        place = slot["location"] or _("filter %(number)d") % {"number": number}
        names.append(_free_name(FilterSlot, re.sub(r"\s+", " ", f"{street}, {place}"), names))
    return names


def _free_name(model: Any, wanted: str, taken: Sequence[str] = ()) -> str:
    """``wanted``, or with a number behind it where that name is taken."""
    name, number = wanted[:110], 2
    while name in taken or model.objects.filter(name=name).exists():
        name, number = f"{wanted[:110]} {number}", number + 1
    return name
