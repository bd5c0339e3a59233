"""The filter's page, and the forms that tell of a change or a reading."""

from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.access import signed_in, slot_or_404, units_of
from equipment.fitted import fitted_media
from equipment.meanwhile import standing
from equipment.models import Desk, FilterChange, FilterSlot, Media, Reading
from equipment.record import NotRecordable, record_change, record_reading, told_by
from equipment.unit_words import show
from schedules import due, entry_judging, supply, visits
from schedules.change_form import ChangeForm
from schedules.drawings import filter_drawings
from schedules.drop_today import drops_today
from schedules.explain import explain, state_word
from schedules.finding_words import say_all
from schedules.lives import local_ordinal
from schedules.models import DateBefore, Policy, SentFilter
from schedules.reading_form import HeightForm, ReadingForm
from shared import clock
from shared.units import AIRFLOW, LENGTH, PRESSURE

SHOWN_PHOTOGRAPHS = 6
MOST_DATES = 30


def page(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything about one filter slot."""
    return _render(request, slot_or_404(signed_in(request), pk))


def change(request: HttpRequest, pk: int) -> HttpResponse:
    """Write a change down and show the new date."""
    slot, now = slot_or_404(signed_in(request), pk), timezone.now()
    form = ChangeForm(slot, _today(slot, now), request.POST)
    if form.is_valid():
        try:
            told = told_by(signed_in(request), slot)
            record_change(slot, form.cleaned_data["on"], form.cleaned_data["medium"], told, now)
            visits.drop_done([slot.pk])
        except NotRecordable as error:
            form.add_error("on", str(error))
        else:
            due.replan(now, FilterSlot.objects.filter(pk=slot.pk))
            messages.success(request, _("Thank you, the change is on record and the date has moved."))
            return redirect("filter", slot.pk)
    return _render(request, slot, change_form=form, status=422)


def sent(request: HttpRequest, pk: int) -> HttpResponse:
    """The household wants this filter sent by the desk, or no more."""
    slot, wants = slot_or_404(signed_in(request), pk), request.POST.get("sent") == "1"
    supply.send_to(slot, wants, signed_in(request), timezone.now())
    said = _("The desk sends this filter from now on.") if wants else _("The household gets it by itself.")
    messages.success(request, said)
    return redirect("filter", slot.pk)


def reading(request: HttpRequest, pk: int) -> HttpResponse:
    """Write a reading down and show the new date."""
    slot, now = slot_or_404(signed_in(request), pk), timezone.now()
    named = request.POST.get("units", "")
    form = ReadingForm(slot, named if named in ("ip", "si") else units_of(request.user), request.POST)
    if form.is_valid():
        data = form.cleaned_data
        row = Reading(
            slot=slot,
            taken_at=now,
            filter_drop_pa=data["filter_drop"],
            airflow_m3s=data["airflow"],
            airflow_method=data["airflow_method"],
            taken_by=signed_in(request),
        )
        try:
            record_reading(row, now)
        except NotRecordable as error:
            form.add_error("filter_drop", str(error))
        else:
            due.replan(now, FilterSlot.objects.filter(pk=slot.pk))
            messages.success(request, _("The reading is on record and the date was reckoned again."))
            return redirect("filter", slot.pk)
    return _render(request, slot, reading_form=form, status=422)


def height(request: HttpRequest, pk: int) -> HttpResponse:
    """Write down how high above the floor the filter is."""
    slot = slot_or_404(signed_in(request), pk)
    form = HeightForm(slot, units_of(request.user), request.POST)
    if not form.is_valid():
        return _render(request, slot, height_form=form, status=422)
    slot.height_m = form.cleaned_data["height"]
    slot.save(update_fields=["height_m"])
    messages.success(request, _("The height is on record; who comes is told what the ladder is for."))
    return redirect("filter", slot.pk)


def _reading_form(slot: FilterSlot, units: str, now: datetime) -> ReadingForm:
    return ReadingForm(slot, units, today=drops_today([slot], now).get(slot.pk))


def _proposed(request: HttpRequest) -> dict[str, date]:
    """The day that a finding's link proposes for a change; nothing where it is no day."""
    try:
        return {"on": date.fromisoformat(request.GET.get("on", ""))}
    except ValueError:
        return {}


def _readings(slot: FilterSlot, units: str, carried: dict[float, str]) -> list[dict[str, Any]]:
    tz = slot.system.site.zone(Desk.the().timezone)
    return [
        {
            "taken_at": row.taken_at,
            "carried_text": carried.get(local_ordinal(row.taken_at, tz), ""),
            "drop_text": show(row.filter_drop_pa, PRESSURE, units),
            "airflow_text": show(row.airflow_m3s, AIRFLOW, units) if row.airflow_m3s else "",
        }
        for row in slot.readings.order_by("-taken_at")[:40]
    ]


def _changes(slot: FilterSlot) -> list[tuple[FilterChange, Media | None, bool]]:
    """Each change, latest first, with the medium it left in the slot and whether that is only assumed."""
    rows, medium = [], slot.first_media
    for change in slot.changes.select_related("media").order_by("changed_at"):
        stands = change.undone_at is None
        after = change.media or medium
        rows.append((change, after, change.media is None))
        medium = after if stands else medium
    return rows[::-1]


def _today(slot: FilterSlot, now: datetime) -> date:
    return clock.local_day(now, slot.system.site.zone(Desk.the().timezone))


def _render(
    request: HttpRequest,
    slot: FilterSlot,
    change_form: ChangeForm | None = None,
    reading_form: ReadingForm | None = None,
    height_form: HeightForm | None = None,
    status: int = 200,
) -> HttpResponse:
    now, units, policy = timezone.now(), units_of(request.user), Policy.the()
    today, plan = _today(slot, now), getattr(slot, "plan", None)
    media = fitted_media([slot], now)[slot.pk]
    word, shape = state_word(plan, today, policy.lead_days)
    staff = not signed_in(request).is_homeowner
    findings = say_all(plan.findings if plan else [], units) if staff else []
    told = entry_judging.in_words(entry_judging.of_slot(slot), units) if staff else []
    drawings = filter_drawings(slot, plan, now, units)
    context: dict[str, Any] = {
        "slot": slot,
        "site": slot.system.site,
        "plan": plan,
        "media": media,
        "actual": media.actual_size_in(units) if media else "",
        "explained": explain(slot, plan, today, policy, units),
        "state": word,
        "shape": shape,
        "drawings": drawings,
        "findings": findings,
        "dates_before": DateBefore.objects.filter(slot=slot)[:MOST_DATES] if staff else [],
        "told": told,
        "is_sent": SentFilter.objects.filter(slot=slot).exists() if staff else False,
        "change_form": change_form or ChangeForm(slot, today, initial=_proposed(request)),
        "reading_form": reading_form or (_reading_form(slot, units, now) if staff else None),
        "height_form": height_form or (HeightForm(slot, units) if staff else None),
        "height": "" if slot.height_m is None else show(slot.height_m, LENGTH, units),
        "meanwhile": standing([slot.pk], today).first(),
        "changes": _changes(slot),
        "readings": _readings(slot, units, drawings.carried if drawings else {}),
        "photographs": list(slot.photographs.standing()[:SHOWN_PHOTOGRAPHS]),
        "may_withdraw": signed_in(request).is_manager,
        "today": today,
    }
    return render(request, "schedules/filter.html", context, status=status)
