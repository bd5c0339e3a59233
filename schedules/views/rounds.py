"""Plans of several days' rounds: asked for, watched, looked at, taken over."""

from datetime import date, time
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import formats, timezone
from django.utils.formats import time_format
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.access import signed_in, units_of
from equipment.fields import whole_number
from equipment.models import Desk
from schedules import due, round_runs, visits
from schedules.background_runs import NotPlannable, ask_to_stop
from schedules.models import RoundPlan, SeasonPlan, Visit
from schedules.proposal import WORTH_SAYING
from schedules.round_changes import changed_since
from schedules.round_files import geojson, gpx
from schedules.round_forms import AskForm
from schedules.round_map import map_data, one_round, one_stop
from shared.charts import route_sketch
from shared.units import ROAD_LENGTH, show

_TYPES = {"geojson": "application/geo+json", "gpx": "application/gpx+xml"}


def page(request: HttpRequest) -> HttpResponse:
    """The plans so far, and the form that asks for one."""
    now, status = timezone.now(), 200
    form = AskForm(due.today(now), request.POST or None)
    if request.method == "POST":
        if form.is_valid():
            plan = form.plan()
            plan.asked_by = signed_in(request)
            plan.season = SeasonPlan.objects.filter(pk=whole_number(request.POST.get("season"))).first()
            try:
                round_runs.ask_for(plan, now)
            except NotPlannable as error:
                form.add_error(None, str(error))
            else:
                return redirect("round", plan.pk)
        status = 422
    context = {"form": form, "plans": RoundPlan.objects.select_related("asked_by")[:20]}
    return render(request, "schedules/rounds.html", context, status=status)


def one(request: HttpRequest, pk: int) -> HttpResponse:
    """One plan: how far it is, or what it proposes."""
    plan = get_object_or_404(RoundPlan, pk=pk)
    name = "schedules/parts/round_state.html" if request.headers.get("HX-Request") else "schedules/round.html"
    context = {
        "plan": plan,
        "title": title(plan),
        "days": (days := [_day(day) for day in plan.proposal.get("days", [])]),
        "map": _map(days),
    }
    response = render(request, name, context | _rest(plan, units_of(request.user)))
    if request.headers.get("HX-Request") and plan.state != request.GET.get("was"):
        # Heading and buttons are another's now: the whole page has more to show than this part of it.
        response["HX-Refresh"] = "true"
    return response


def _rest(plan: RoundPlan, units: str) -> dict[str, Any]:
    left = plan.proposal.get("left", [])
    days = plan.proposal.get("days", [])
    stops = [stop for day in days for stop in day["stops"]]
    can_take = plan.state in (RoundPlan.State.READY, RoundPlan.State.STOPPED) and bool(stops)
    return {
        "left": [{**row, "first": _date(row["first"]), "last": _date(row["last"])} for row in left],
        "no_start": plan.proposal.get("no_start", []),
        "reckoned": plan.proposal.get("reckoned", ""),
        "percent": round(plan.progress * 100),
        "hours": round(plan.proposal.get("travel_s", 0) / 3600, 1),
        "way": show(float(plan.proposal.get("travel_m", 0)), ROAD_LENGTH, units),
        "changes": {
            kind: sum(stop["change"] == kind for stop in stops)
            for kind in ("new", "day", "moved", "hour", "kept")
        },
        "can_take": can_take,
        "changed": changed_since(plan) if can_take else [],
        "outcome": plan.outcome,
    }


def title(plan: RoundPlan) -> str:
    """Where the plan stands, as a sentence."""
    if plan.state == RoundPlan.State.WAITING:
        return _("The plan waits to be worked out")
    if plan.state == RoundPlan.State.RUNNING:
        return _("The plan is being worked out")
    if plan.state == RoundPlan.State.FAILED:
        return _("The plan could not be worked out")
    days = plan.proposal.get("days", [])
    if plan.outcome:
        return _taken_title(plan.outcome)
    if not plan.proposal:
        return _("The plan was called off before it was worked out")
    if not plan.proposal.get("van_days", 1):
        return _("Nobody works on these days")
    stops = sum(len(day["stops"]) for day in days)
    left = plan.proposal.get("left", [])
    late = sum(row["must"] for row in left)
    if not stops and not late:
        return _("Nothing is to be driven on these days")
    said = ngettext("%(n)d stop", "%(n)d stops", stops) % {"n": stops}
    rounds = ngettext("in %(n)d round", "in %(n)d rounds", len(days)) % {"n": len(days)}
    if late:
        text = ngettext(
            "%(said)s; %(n)d home that must be served finds no place",
            "%(said)s; %(n)d homes that must be served find no place",
            late,
        )
        return text % {"said": f"{said} {rounds}", "n": late}
    return _("%(said)s; every home that must be served has its place") % {"said": f"{said} {rounds}"}


def _taken_title(outcome: dict[str, Any]) -> str:
    said = _("Taken over: %(booked)d booked, %(moved)d moved") % outcome
    left = len(outcome["refused"])
    if not left:
        return said
    text = ngettext("%(said)s; %(n)d home left as it was", "%(said)s; %(n)d homes left as they were", left)
    return text % {"said": said, "n": left}


def _date(iso: str) -> date:
    return date.fromisoformat(iso)


def _day(day: dict[str, Any]) -> dict[str, Any]:
    stops = [
        {
            **stop,
            "arrive": time.fromisoformat(stop["arrive"]),
            "leave": time.fromisoformat(stop["leave"]),
            "minutes_way": round(stop["way_s"] / 60),
            "late_percent": round(100 * stop["late"]) if stop["late"] >= WORTH_SAYING else None,
            "change_word": _changes()[stop["change"]],
        }
        for stop in day["stops"]
    ]
    places = [tuple(stop["place"]) for stop in stops]
    said = _("%(n)d stops, north up") % {"n": len(stops)}
    return {
        **day,
        "stops": stops,
        "day": _date(day["day"]),
        "key": f"round-{day['day']}-{slugify(day['name'])}",
        "depart": time.fromisoformat(day["depart"]),
        "back": time.fromisoformat(day["back"]),
        "drawing": route_sketch(_("The round"), said, tuple(day["start"]), places),
    }


def _map(days: list[dict[str, Any]]) -> dict[str, Any]:
    """The rounds for the map, and the days and rounds to choose from."""
    rounds = [
        one_round(
            day["key"], formats.date_format(day["day"], "l j F Y"), day["name"], day["start"],
            [_map_stop(stop) for stop in day["stops"]],
        )
        for day in days
        if day["stops"]
    ]  # fmt: skip
    return map_data(rounds) if rounds else {}


def _map_stop(stop: dict[str, Any]) -> dict[str, Any]:
    hours = f"{time_format(stop['arrive'], 'H:i')}–{time_format(stop['leave'], 'H:i')}"
    page = reverse("visit", args=[stop["visit"]]) if stop["visit"] else reverse("site", args=[stop["site"]])
    return one_stop(stop["number"], stop["place"], f"{stop['customer']}, {stop['home']}", hours, page)


def _changes() -> dict[str, str]:
    return {
        "new": _("new"),
        "day": _("waited for a day"),
        "moved": _("moves here"),
        "hour": _("at another hour"),
        "kept": _("as booked"),
    }


def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Stop a plan that waits or is being worked out."""
    ask_to_stop(get_object_or_404(RoundPlan, pk=pk), timezone.now())
    return redirect("round", pk)


def take(request: HttpRequest, pk: int) -> HttpResponse:
    """Book what the plan proposes."""
    plan = get_object_or_404(RoundPlan, pk=pk)
    try:
        taken = round_runs.take_over(plan, signed_in(request), timezone.now())
    except NotPlannable as error:
        messages.error(request, str(error))
        return redirect("round", pk)
    text = ngettext("%(n)d visit is booked", "%(n)d visits are booked", taken.booked) % {"n": taken.booked}
    moved = ngettext("%(n)d moved.", "%(n)d moved.", taken.moved) % {"n": taken.moved}
    messages.success(request, f"{text}, {moved}")
    for home, why in taken.refused:
        messages.warning(request, f"{home}: {why}")
    return redirect("visits")


def file(request: HttpRequest, pk: int, kind: str) -> HttpResponse:
    """The rounds as GeoJSON or GPX."""
    plan = get_object_or_404(RoundPlan, pk=pk)
    if kind not in _TYPES or not plan.proposal.get("days"):
        raise Http404
    body = geojson(plan.proposal) if kind == "geojson" else gpx(plan.proposal, Desk.the().zone)
    response = HttpResponse(
        body, content_type=f"application/{'geo+json' if kind == 'geojson' else 'gpx+xml'}"
    )
    response["Content-Disposition"] = f'attachment; filename="rounds-{plan.first_day}.{kind}"'
    return response


def hold(request: HttpRequest, pk: int) -> HttpResponse:
    """Hold a booked visit to its technician and day, or let it go again."""
    visits.hold(get_object_or_404(Visit, pk=pk, state__in=Visit.ON_A_DAY), request.POST.get("held") == "1")
    return redirect("visit", pk)
