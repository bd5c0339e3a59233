"""Plans of whole seasons for programs: asked for, watched, read, stopped."""

from datetime import date
from typing import Any

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from ninja import Router, Schema, Status

from equipment.access import signed_in
from schedules import due, season_runs
from schedules.api_rounds import RunOut, WhyOut
from schedules.background_runs import ask_to_stop
from schedules.models import SeasonPlan, SeasonTrip
from schedules.season_plan_form import SeasonAskForm
from shared.asked_days import Day, Key
from shared.form_bodies import as_form, checked
from shared.paging import Page, Paged, page_of

router = Router()


class SeasonPlanOut(RunOut):
    """A plan of a whole season."""

    first_day: date
    weeks: int
    seconds: int


class SeasonWeekOut(Schema):
    """A week of it: stops that have it, how many late, minutes at homes, on the road and there in all, homes
    without a place; ``done``: its rounds are worked out."""

    monday: date
    done: bool
    homes: int
    late: int
    home_minutes: int
    road_minutes: int
    there_minutes: int
    left: list[WhyOut]


class OneSeasonPlanOut(SeasonPlanOut):
    """A season's plan with its weeks."""

    told: list[SeasonWeekOut]


class SeasonTripOut(Schema):
    """A home of a season's plan: its week from nought, and the day and technician that its rounds gave it."""

    site: str
    week: int
    day: date | None
    technician: str | None
    minutes: int
    first_day: date
    last_day: date

    @staticmethod
    def resolve_site(row: SeasonTrip) -> str:
        return row.site.name

    @staticmethod
    def resolve_technician(row: SeasonTrip) -> str | None:
        return row.technician.name if row.technician else None


class SeasonPlanIn(Schema):
    """From which Monday, how many weeks, how many seconds to search each week's rounds."""

    first_day: Day
    weeks: int = 12
    seconds: int = 10


@router.get("/season-plans", url_name="api-season-plans", response=Page[SeasonPlanOut], tags=["plans"])
def season_plans(request: HttpRequest, paged: Paged, state: str = "") -> Any:
    """Plans of seasons, the newest first."""
    rows = SeasonPlan.objects.defer("told").order_by("-pk")
    return page_of(rows.filter(state=state) if state else rows, paged)


@router.post("/season-plans", url_name="api-season-plans", response={201: SeasonPlanOut}, tags=["plans"])
def ask_for_season(request: HttpRequest, told: SeasonPlanIn) -> Any:
    """Ask for a plan of a season; it is worked out behind, look at it again."""
    now = timezone.now()
    form = SeasonAskForm(due.today(now), as_form(told.dict()))
    checked(form)
    plan = form.plan()
    plan.asked_by = signed_in(request)
    return Status(201, season_runs.ask_for(plan, now))


@router.get("/season-plans/{pk}", url_name="api-season-plan", response=OneSeasonPlanOut, tags=["plans"])
def one_season_plan(request: HttpRequest, pk: Key) -> Any:
    """One season's plan: how far it is, and its weeks."""
    return get_object_or_404(SeasonPlan, pk=pk)


@router.get(
    "/season-plans/{pk}/trips", url_name="api-season-trips", response=Page[SeasonTripOut], tags=["plans"]
)
def season_trips(request: HttpRequest, paged: Paged, pk: Key, week: int | None = None) -> Any:
    """The homes of a season's plan, by week and day."""
    rows = get_object_or_404(SeasonPlan, pk=pk).trips.select_related("site", "technician")
    rows = rows.filter(week=week) if week is not None and 0 <= week < 1000 else rows
    return page_of(rows.order_by("week", "day", "technician__name", "pk"), paged)


@router.post(
    "/season-plans/{pk}/stopped", url_name="api-season-plan-stopped", response=SeasonPlanOut, tags=["plans"]
)
def stop_season(request: HttpRequest, pk: Key) -> Any:
    """Stop it; the weeks worked out so far are kept."""
    ask_to_stop(get_object_or_404(SeasonPlan, pk=pk), timezone.now())
    return get_object_or_404(SeasonPlan, pk=pk)
