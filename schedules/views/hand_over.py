"""The form for the day of the install."""

from collections.abc import Sequence
from typing import Any
from uuid import uuid4

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, units_of
from equipment.fields import whole_number
from equipment.handover import handed_over
from equipment.models import Desk, Site
from equipment.record import NotRecordable
from schedules.forms import MOST_SLOTS, HandOverForm, HandOverSlotForm, HandOverSlots
from schedules.handing_over import Told, homes_alike, store
from shared import clock


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
    here = [] if asked.home or request.POST.get("home") == "new" else homes_alike(form.cleaned_data)
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


def _hand_over(asked: _Asked, form: HandOverForm, slots: Any) -> HttpResponse:
    now = timezone.now()
    told = Told(asked.home, form.cleaned_data, slots.cleaned_data, asked.units)
    try:
        site, warnings = store(told, signed_in(asked.request), now)
    except NotRecordable as error:
        form.add_error(None, str(error))
        return asked.render(form, slots, status=422)
    for said in warnings:
        messages.warning(asked.request, said)
    return _stored(asked.request, site)


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
