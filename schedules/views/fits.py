"""Which filters of a slot's size will do there."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import formats, timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.access import signed_in, slot_or_404, units_of
from equipment.curves import media_with_curves
from equipment.fitted import fitted_media
from equipment.meanwhile import fit_for_a_while, standing
from equipment.models import FilterSlot, Media
from equipment.record import NotRecordable, told_by
from equipment.verdict import Answer
from schedules import due
from schedules.air_path import PathShown, shown_path
from schedules.explain import say_day
from schedules.fit_question import slot_air
from schedules.household_acts import local_today
from schedules.what_fits import Candidate, also_media, candidates, of_another_size, place_in_order
from schedules.what_fits import for_a_while as may_for_a_while
from schedules.while_form import WhileForm
from shared.units import AIRFLOW, PRESSURE, VELOCITY, show

# Further apart than this, face velocity is shown at the blower's airflow too. Own choice.
VELOCITY_TOLD_APART = 0.05
# Verdict: the shape drawn beside its word.
SHAPES = {"fits": "clean", "fits_with_care": "due", "ask": "open", "refuse": "past"}
SORTS: dict[str, Callable[[Candidate], int]] = {
    "days": lambda one: -(one.days or 0),
    "merv": lambda one: -one.media.merv,
    "on_hand": lambda one: -(one.media.on_hand or 0),
}


def page(request: HttpRequest, pk: int) -> HttpResponse:
    """Every medium of the slot's size with its verdict; sorted by what matters to the asker."""
    return _render(request, slot_or_404(signed_in(request), pk))


def for_a_while(request: HttpRequest, pk: int) -> HttpResponse:
    """Fit another filter than usual until a day: a finer one for smoke, another while one is short."""
    user, now = signed_in(request), timezone.now()
    slot = slot_or_404(user, pk)
    found = candidates(slot, fitted_media([slot], now)[slot.pk], now, units_of(user))
    form = WhileForm(may_for_a_while(found), local_today(slot.system.site, now), request.POST)
    if form.is_valid():
        told = told_by(user, slot)
        try:
            row = fit_for_a_while(slot, form.asked(), told, now)
        except NotRecordable as error:
            form.add_error(None, str(error))
        else:
            due.replan(now, FilterSlot.objects.filter(pk=slot.pk))
            said = _("On record until %(day)s, to be looked at by %(look)s.")
            messages.success(request, said % {"day": say_day(row.ends_on), "look": say_day(row.look_on)})
            return redirect("filter", pk)
    return _render(request, slot, form, status=422)


def _render(
    request: HttpRequest, slot: FilterSlot, while_form: WhileForm | None = None, status: int = 200
) -> HttpResponse:
    user, now = signed_in(request), timezone.now()
    units = units_of(user)
    fitted = fitted_media([slot], now)[slot.pk]
    also = "" if user.is_homeowner else request.GET.get("also", "").replace("\0", "").strip()[:80]
    found = candidates(slot, fitted, now, units, also)
    sort = request.GET.get("sort", "")
    if sort in SORTS:
        found.sort(key=lambda one: (place_in_order(one), SORTS[sort](one)))
    good = sum(one.will_do for one in found)
    context = {
        "slot": slot,
        "site": slot.system.site,
        "rows": [_row(one, units, none_good=not good) for one in found],
        "title": _title(good, len(found), bool(also)),
        "path": None if user.is_homeowner else _path(slot, fitted, units),
        "sort": sort if sort in SORTS else "",
        "also": also,
        "also_found": bool(also) and also_media(also),
        "also_differs": "" if also_media(also) else of_another_size(slot, also, units),
        "all_asked": bool(found) and all(one.answer.verdict == "ask" for one in found),
        "meanwhile": standing([slot.pk], local_today(slot.system.site, now)).first(),
    }
    if not user.is_homeowner:
        context["while_form"] = while_form or WhileForm(
            may_for_a_while(found), local_today(slot.system.site, now)
        )
    return render(request, "schedules/fits.html", context, status=status)


def _path(slot: FilterSlot, fitted: Media | None, units: str) -> PathShown | None:
    if fitted is None:
        return None
    curve = media_with_curves([fitted.pk])[fitted.pk].curve
    return shown_path(slot, getattr(slot, "plan", None), curve, slot_air(slot).share, units)


def _title(good: int, count: int, also: bool) -> str:
    if not count:
        return _("No filter of this size is on record")
    if also:
        return _("%(good)s of these %(n)s filters will do here") % {"good": good, "n": count}
    text = ngettext(
        "%(good)s of the %(n)s filter of this size will do here",
        "%(good)s of the %(n)s filters of this size will do here",
        count,
    )
    return text % {"good": good, "n": count}


def _row(one: Candidate, units: str, *, none_good: bool) -> dict[str, Any]:
    answer = one.answer
    return {
        "one": one,
        "word": word(one),
        "shape": _shape(one),
        "sentence": sentence(one, none_good=none_good),
        "why": " ".join([_ended(answer.why), *_starving(one, units)]),
        "velocity": show(answer.face_velocity_ms, VELOCITY, units),
        "velocity_there": _velocity_there(answer, units),
        "clean": show(answer.clean_drop_pa, PRESSURE, units),
        "airflow": show(answer.airflow_m3s, AIRFLOW, units),
        "loss": loss(answer.airflow_loss_percent),
        "changes": _changes(one),
        "loss_at_limit": loss(one.loss_at_limit_percent),
        "left": show(answer.drop_left_pa, PRESSURE, units),
        "limit": show(one.limit_pa, PRESSURE, units),
    }


def _shape(one: Candidate) -> str:
    if one.full_at_once:
        return "past"
    return SHAPES["fits_with_care" if one.starves_when_full else one.answer.verdict]


def _velocity_there(answer: Answer, units: str) -> str:
    """The face velocity at the airflow that the blower moves, where that is not about design's."""
    there, velocity = answer.velocity_there_ms, answer.face_velocity_ms
    if there is None or velocity is None or abs(there / velocity - 1) < VELOCITY_TOLD_APART:
        return ""
    return show(there, VELOCITY, units)


def _ended(why: str) -> str:
    """The reason as a sentence with one stop, whether or not it ends with an abbreviation's."""
    return f"{why[:1].upper()}{why[1:].removesuffix('.')}."


def _starving(one: Candidate, units: str) -> list[str]:
    """For the technician: how little air it lets through when full."""
    if not one.starves_when_full:
        return []
    said = _("At its limit %(flow)s would pass, less than the floor of %(floor)s: set an earlier limit.")
    flows = {"flow": one.airflow_at_limit_m3s, "floor": one.floor_m3s}
    return [said % {name: show(value, AIRFLOW, units) for name, value in flows.items()}]


def _changes(one: Candidate) -> str:
    """How often a year it is changed, or washed."""
    a_year = one.changes_a_year
    if a_year is None:
        return ""
    many = 1 if round(a_year, 1) == 1 else 2
    said = ngettext("%(n)s change", "%(n)s changes", many)
    if one.media.kind == Media.Kind.WASHABLE:
        said = ngettext("%(n)s wash", "%(n)s washes", many)
    return said % {"n": formats.number_format(round(a_year, 1), 1)}


def loss(percent: float | None) -> str:
    """Percent of the design airflow that is missing, in words; empty for unknown."""
    if percent is None:
        return ""
    if abs(percent) < 0.05:
        return _("as designed")
    said = _("%(n)s %% below design") if percent > 0 else _("%(n)s %% above design")
    return said % {"n": formats.number_format(round(abs(percent), 1), 1)}


def words() -> dict[str, str]:
    """The verdicts as people say them."""
    return {
        "fits": _("fits"),
        "fits_with_care": _("fits with care"),
        "ask": _("too little known"),
        "refuse": _("does not fit"),
    }


def word(one: Candidate) -> str:
    """The verdict in a word or three."""
    if one.full_at_once:
        return _("full too soon")
    # What starves the coil before it is full is never simply fine.
    return words()["fits_with_care" if one.starves_when_full else one.answer.verdict]


def _lasts(days: int | None) -> str:
    """How long a filter lasts, in the unit that its length asks for."""
    if days is None:
        return _("how long it lasts here cannot be said yet")
    if days < 2 * 7:
        return ngettext("it lasts about %(n)s day here", "it lasts about %(n)s days here", days) % {"n": days}
    return _("it lasts about %(n)s weeks here") % {"n": round(days / 7)}


def sentence(one: Candidate, *, none_good: bool = False) -> str:
    """The verdict in one sentence that a household understands; ``none_good`` says that no other passes."""
    if one.answer.gap:
        return _("Its frame does not suit the opening here: have a technician look at it.")
    if one.answer.wrong_size:
        return _("It is of another size than its place and does not belong there.")
    if one.full_at_once:
        days = max(one.days or 1, 1)
        few = ngettext(
            "It lets enough air through while it is clean, but dust would fill it within %(n)s day here.",
            "It lets enough air through while it is clean, but dust would fill it within %(n)s days here.",
            days,
        )
        return few % {"n": days}
    if one.starves_when_full:
        return _(
            "It will do while it is fresh, but before it is full too little air would pass: a technician has "
            "to set an earlier date."
        )
    stays = one.answer.verdict == "refuse" and (one.fitted or none_good)
    if stays and not (one.answer.low_airflow or one.answer.ducts_over):
        return _(
            "By what is on record it holds back more air than this system can spare: leave the usual one in "
            "meanwhile, and call us."
        )
    return _spoken(one.answer) % {"lasts": _lasts(one.days)}


def _spoken(answer: Answer) -> str:
    """The verdict with a place for how long the filter lasts, where it may go in."""
    if answer.verdict in ("ask", "refuse") and answer.low_airflow:
        return _(
            "Too little air moves here, whatever the filter: leave the usual one in and have a technician "
            "find the cause."
        )
    if answer.verdict == "refuse" and answer.ducts_over:
        return _(
            "No filter cures this: the ducts alone take more than the system can spare. Leave the usual one "
            "in and call us."
        )
    if answer.verdict == "refuse":
        return _("Please do not fit it: it would hold back more air than this system can spare.")
    if answer.verdict == "ask":
        return _("A technician has to measure here before anybody can say.")
    if answer.guessed:
        return _(
            "By what is on record it will do, but not all of your system has been measured yet: ask the "
            "technician to measure at the next visit; %(lasts)s."
        )
    if answer.verdict == "fits":
        return _("Your system has the pressure to spare for it; %(lasts)s.")
    return _("It will do, but leaves little to spare: keep to the date; %(lasts)s.")
