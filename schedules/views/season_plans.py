"""Plans of a season: asked for, watched, looked at week by week."""

from datetime import date, timedelta
from itertools import groupby
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.access import signed_in
from schedules import due, season_runs
from schedules.background_runs import NotPlannable, ask_to_stop
from schedules.models import SeasonPlan, SeasonTrip
from schedules.season_plan_form import SeasonAskForm
from schedules.season_words import hours

# Rounds are planned so many weeks ahead from here; those farther off will change till then.
WEEKS_TO_ROUNDS = 3
# So many homes without a place are named a week; all of them are counted.
MOST_NAMED = 200


def page(request: HttpRequest) -> HttpResponse:
    """The plans so far, and the form that asks for one."""
    now, status = timezone.now(), 200
    form = SeasonAskForm(due.today(now), request.POST or None)
    if request.method == "POST":
        if form.is_valid():
            plan = form.plan()
            plan.asked_by = signed_in(request)
            try:
                season_runs.ask_for(plan, now)
            except NotPlannable as error:
                form.add_error(None, str(error))
            else:
                return redirect("season-plan", plan.pk)
        status = 422
    rows = SeasonPlan.objects.select_related("asked_by").defer("told")[:20]
    return render(request, "schedules/season_plans.html", {"form": form, "plans": rows}, status=status)


def one(request: HttpRequest, pk: int) -> HttpResponse:
    """One plan: how far it is, its weeks, and one of them day by day."""
    plan = get_object_or_404(SeasonPlan, pk=pk)
    part = request.headers.get("HX-Request")
    name = "schedules/parts/season_plan_state.html" if part else "schedules/season_plan.html"
    weeks = [_week(told, at) for at, told in enumerate(plan.told)]
    chosen = _chosen(request.GET.get("week"), len(weeks))
    context = {
        "plan": plan,
        "title": title(plan),
        "percent": round(plan.progress * 100),
        "weeks": weeks,
        "all": _all(plan.told),
        "reckoned": next((told["reckoned"] for told in plan.told if told["reckoned"]), ""),
        "now": None if chosen is None else _detail(plan, weeks[chosen], chosen, due.today(timezone.now())),
    }
    response = render(request, name, context)
    if part and (plan.state != request.GET.get("was") or str(_done(plan)) != request.GET.get("done")):
        # The whole page has more to show than this part of it: another state, one more week.
        response["HX-Refresh"] = "true"
    return response


def stop(request: HttpRequest, pk: int) -> HttpResponse:
    """Stop a plan that waits or is being worked out."""
    ask_to_stop(get_object_or_404(SeasonPlan, pk=pk), timezone.now())
    return redirect("season-plan", pk)


def title(plan: SeasonPlan) -> str:
    """Where the plan stands, as a sentence."""
    done = _done(plan)
    if plan.state == SeasonPlan.State.WAITING:
        return _("The season waits to be worked out")
    if plan.state == SeasonPlan.State.RUNNING:
        return _("The season is being worked out: %(done)d of %(all)d weeks") % {
            "done": done, "all": plan.weeks
        }  # fmt: skip
    if plan.state == SeasonPlan.State.FAILED:
        return _("The season could not be worked out")
    if not plan.told:
        return _("The season was called off before it was worked out")
    if done < plan.weeks:
        return _("The season was stopped after %(done)d of %(all)d weeks") % {"done": done, "all": plan.weeks}
    return _ready_title(plan)


def _ready_title(plan: SeasonPlan) -> str:
    homes, left = _sum(plan.told, "homes"), sum(len(told["left"]) for told in plan.told)
    if not _sum(plan.told, "there_minutes"):
        return _("Nobody works in these weeks")
    if not homes and not left:
        return _("Nothing is to be visited in these weeks")
    said = ngettext("%(n)s stop has its week", "%(n)s stops have their weeks", homes)
    said = said % {"n": number_format(homes, use_l10n=True, force_grouping=True)}
    if left:
        text = ngettext("%(said)s; %(n)d finds no place", "%(said)s; %(n)d find no place", left)
        return text % {"said": said, "n": left}
    overdue = sum(row.get("overdue", 0) for row in plan.told)
    late = _sum(plan.told, "late") - overdue
    told = {"said": said, "n": late, "old": overdue}
    if late and overdue:
        return _("%(said)s: %(old)d overdue already, %(n)d more late") % told
    if late:
        return ngettext("%(said)s, %(n)d of them late", "%(said)s, %(n)d of them late", late) % told
    if overdue:
        return _("%(said)s: %(old)d overdue already, all others within their windows") % told
    return _("%(said)s, all within their windows") % told


def _done(plan: SeasonPlan) -> int:
    return sum(told["done"] for told in plan.told)


def _sum(told: list[dict[str, Any]], key: str) -> int:
    return sum(row[key] for row in told)


def _all(told: list[dict[str, Any]]) -> dict[str, Any]:
    done = [row for row in told if row["done"]]
    keys = ("homes", "home_minutes", "road_minutes", "there_minutes", "dealt_minutes")
    return {
        **_hours({key: _sum(done, key) for key in keys}),
        **{key: _sum(told, key) for key in ("homes", "late", "stayed", "moved", "done")},
        "left": sum(len(row["left"]) for row in told),
        "known_before": any(row["stayed"] or row["moved"] for row in told),
    }


def _hours(told: dict[str, Any]) -> dict[str, Any]:
    there, used = told["there_minutes"], told["home_minutes"] + told["road_minutes"]
    return {
        "at_homes": hours(told["home_minutes"]),
        "on_the_road": hours(told["road_minutes"]),
        "a_home": number_format(round(told["road_minutes"] / told["homes"], 1), 1) if told["homes"] else "–",
        "there": hours(there),
        "held": hours(max(0, there - told["dealt_minutes"])),
        "share": round(100 * used / there) if there else None,
    }


def _week(told: dict[str, Any], at: int) -> dict[str, Any]:
    return {**told, **_hours(told), "at": at, "monday": date.fromisoformat(told["monday"])}


def _chosen(asked: str | None, count: int) -> int | None:
    """The week asked for by its number from nought, else the first; None where there is none."""
    at = int(asked) if asked and asked.isdecimal() and len(asked) < 4 else 0
    return min(at, count - 1) if count else None


def _detail(plan: SeasonPlan, week: dict[str, Any], at: int, today: date) -> dict[str, Any]:
    """A week by day and technician."""
    rows = plan.trips.filter(week=at).select_related("site__customer", "technician")
    rows = rows.order_by("day", "technician__name", "technician", "pk")
    placed = [row for row in rows if row.day]
    monday = week["monday"]
    return {
        **week,
        "sunday": monday + timedelta(days=6),
        "days": [
            {"day": day, "people": _people(mine)} for day, mine in groupby(placed, key=lambda row: row.day)
        ],
        "named": week["left"][:MOST_NAMED],
        "unnamed": max(0, len(week["left"]) - MOST_NAMED),
        "can_ask": week["done"] and today < monday <= today + WEEKS_TO_ROUNDS * timedelta(weeks=1),
    }


def _people(rows: Any) -> list[dict[str, Any]]:
    found = []
    for who, group in groupby(rows, key=lambda row: row.technician):
        mine: list[SeasonTrip] = list(group)
        found.append({"who": who, "minutes": sum(row.minutes for row in mine), "trips": mine})
    return [{**row, "hours": hours(row["minutes"])} for row in found]
