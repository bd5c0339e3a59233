"""The form for the day of the install."""

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, units_of
from equipment.air_side import air_side
from equipment.commissioning import Measured
from equipment.fields import whole_number
from equipment.handover import HandOver, NewSlot, alike, hand_over, handed_over, placed
from equipment.models import Desk, FilterSlot, Site, System
from equipment.record import NotRecordable
from schedules import due
from schedules.air_words import title as air_title
from schedules.forms import MOST_SLOTS, HandOverForm, HandOverSlotForm, HandOverSlots
from shared import clock

# More homes of one name are a landlord's; they are told apart by looking them up.
MOST_ALIKE = 8


def page(request: HttpRequest) -> HttpResponse:
    """Show the form, or store the install and go to its home."""
    asked = _Asked(request)
    if request.method != "POST":
        slots = HandOverSlots(form_kwargs={"units": asked.units})
        return asked.render(asked.form(initial=_fresh(asked.home)), slots)
    if "one-more" in request.POST:
        return _one_more(asked)
    before = handed_over(request.POST.get("key"))
    if before is not None:
        return _stored(request, before)
    form = asked.form(request.POST)
    slots = HandOverSlots(request.POST, form_kwargs={"units": asked.units})
    if not all([form.is_valid(), slots.is_valid()]):
        return asked.render(form, slots, status=422)
    here = [] if asked.home or request.POST.get("home") == "new" else _alike(form.cleaned_data)
    if here:
        return asked.render(form, slots, here, status=422)
    return _hand_over(asked, form, slots)


class _Asked:
    """What is asked for: the units, and the home on record that the system is added to, if it is one."""

    def __init__(self, request: HttpRequest) -> None:
        self.request, self.units = request, units_of(request.user)
        said = request.POST if request.method == "POST" else request.GET
        sites = Site.objects.select_related("customer")
        self.home = sites.filter(pk=whole_number(said.get("home"))).first()

    def form(self, *args: Any, **kwargs: Any) -> HandOverForm:
        return HandOverForm(self.units, *args, home=self.home, **kwargs)

    def render(
        self, form: HandOverForm, slots: Any, here: Sequence[Site] = (), status: int = 200
    ) -> HttpResponse:
        context = {
            "form": form,
            "slots": slots,
            "full": len(slots.forms) >= MOST_SLOTS,
            "home": self.home,
            "new": self.request.POST.get("home") == "new",
            "here": here,
        }
        return render(self.request, "schedules/hand_over.html", context, status=status)


def _fresh(home: Site | None) -> dict[str, Any]:
    """A key of its own for every form that is opened, and the day that it is there."""
    desk = Desk.the()
    tz = home.zone(desk.timezone) if home else desk.zone
    return {"key": uuid4().hex, "on": clock.local_day(timezone.now(), tz)}


def _alike(data: dict[str, Any]) -> list[Site]:
    rows = alike(data["customer"], data["street"], data["postcode"]).select_related("customer")
    return list(rows[:MOST_ALIKE])


def _hand_over(asked: _Asked, form: HandOverForm, slots: Any) -> HttpResponse:
    now = timezone.now()
    try:
        site = hand_over(_filled(asked.home, form.cleaned_data, slots.cleaned_data, now),
                         signed_in(asked.request), now)  # fmt: skip
    except NotRecordable as error:
        form.add_error(None, str(error))
        return asked.render(form, slots, status=422)
    due.replan(now, FilterSlot.objects.filter(system__site=site))
    _warn_of_ducts(asked, site)
    return _stored(asked.request, site)


def _warn_of_ducts(asked: _Asked, site: Site) -> None:
    """Say at once where ducts and coil leave the filter nothing, or the air is too little."""
    for system in site.systems.filter(replaced_on=None).select_related("site"):
        side = air_side(system, [])
        if side.below_floor or (side.tightest is not None and side.tightest.left <= 0):
            messages.warning(asked.request, f"{system.name}: {air_title(side, asked.units)}.")


def _stored(request: HttpRequest, site: Site) -> HttpResponse:
    if "another" in request.POST:
        messages.success(
            request, _("The system is on record. Here is the form for the next one of this home.")
        )
        return redirect(f"{reverse('hand-over')}?home={site.pk}")
    messages.success(request, _("The install is on record. Print the card and leave it with the household."))
    return redirect("site", site.pk)


def _one_more(asked: _Asked) -> HttpResponse:
    """The form as it was typed, nothing checked yet, with room for one slot more."""
    posted = asked.request.POST
    count = min(whole_number(posted.get("form-TOTAL_FORMS")) or 0, MOST_SLOTS)
    typed = [
        {name: posted.get(f"form-{number}-{name}", "") for name in HandOverSlotForm.base_fields}
        for number in range(count)
    ]
    slots = HandOverSlots(initial=typed, form_kwargs={"units": asked.units})
    return asked.render(asked.form(initial=posted.dict()), slots)


def _filled(home: Site | None, data: dict[str, Any], slots: list[dict[str, Any]], now: datetime) -> HandOver:
    street = " ".join((home.street or home.name if home else data["street"]).split())
    customer = home.customer.name if home else data["customer"]
    site = {} if home else _site(customer, street, data)
    site_name = home.name if home else site["name"]
    wanted = [slot for slot in slots if slot.get("size")]
    return HandOver(
        customer=customer,
        person={
            "name": customer,
            "email": data.get("email", ""),
            "phone": data.get("phone", ""),
            "language": data.get("language", "en"),
        },
        site=site,
        system={
            "name": _free_name(System, f"{site_name} system"),
            "kind": data["kind"],
            "blower": data["blower"],
            "blower_table": data["blower_table"],
            "capacity_w": data["capacity"],
            "design_airflow_m3s": data["design_airflow"],
            "rated_external_static_pa": data["rated_static"],
            "return_budget_pa": data["return_budget"],
        },
        at=_instant(data["on"], home, site, now),
        slots=[_slot(name, slot) for name, slot in zip(_slot_names(street, wanted), wanted, strict=True)],
        air=Measured(
            airflow_m3s=data["airflow"],
            airflow_method=data["airflow_method"],
            return_static_pa=data["return_static"],
            filter_in=data["filter_in"] == "in",
            supply_static_pa=data["supply_static"],
            filter_drop_pa=max((slot["clean_drop"] or 0.0 for slot in wanted), default=0.0) or None,
            blower_tap=data["blower_tap"],
            coil=data["coil"],
        ),
        cautions=data.get("cautions", ""),
        key=data["key"] or None,
        home=home,
    )


def _site(customer: str, street: str, data: dict[str, Any]) -> dict[str, Any]:
    told = ("city", "region", "postcode", "latitude", "longitude", "timezone", "pets")
    name = _free_name(Site, f"{customer}, {street}")
    return placed({"name": name, "street": street, **{key: data[key] for key in told}})


def _instant(on: date | None, home: Site | None, site: dict[str, Any], now: datetime) -> datetime:
    """Of an install today a moment ago, so that a reading taken at once is not of the time to come; of an
    earlier one its noon. Raises NotRecordable for a day to come."""
    desk_zone = Desk.the().timezone
    tz = home.zone(desk_zone) if home else clock.zone(site.get("timezone") or desk_zone)
    today = clock.local_day(now, tz)
    on = on or today
    # Where the desk's day has begun and the home's has not, the desk's today is meant.
    if on > max(today, due.today(now)):
        raise NotRecordable(_("That day is still to come."))
    return clock.send_at(on, tz, 12) if on < today else now - timedelta(seconds=1)


def _slot(name: str, slot: dict[str, Any]) -> NewSlot:
    return NewSlot(
        name=name,
        size=slot["size"],
        location=slot["location"],
        access_notes=slot["access_notes"],
        height_m=slot["height"],
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
