"""Rounds of several days for programs: asked for, watched, stopped, taken over."""

from datetime import date, datetime, time
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Router, Schema, Status

from equipment.access import signed_in
from equipment.models import Desk
from schedules import due, round_runs
from schedules.background_runs import ask_to_stop
from schedules.models import RoundPlan, SeasonPlan
from schedules.round_changes import changed_since
from schedules.round_files import geojson, gpx
from schedules.round_forms import AskForm
from shared.asked_days import Day, Key
from shared.form_bodies import as_form, checked, fault
from shared.paging import Page, Paged, page_of

router = Router()
_TYPES = {"geojson": "application/geo+json", "gpx": "application/gpx+xml"}


class RunOut(Schema):
    """A plan that is worked out behind: how far it is, from nought to one, and why it failed."""

    id: int
    state: str
    progress: float
    why: str
    asked_at: datetime
    ended_at: datetime | None


class RoundPlanOut(RunOut):
    """A plan of several days' rounds."""

    first_day: date
    last_day: date
    seconds: int
    may_move: bool
    season_plan: int | None

    @staticmethod
    def resolve_season_plan(plan: RoundPlan) -> int | None:
        return plan.season_id


class StopOut(Schema):
    """A stop of a proposed round: what it changes (new, day, moved, hour, kept), and why this day."""

    number: int
    home: str
    customer: str
    visit: int | None
    arrive: time
    leave: time
    change: str
    was: str
    why: str


class RoundOut(Schema):
    """A technician's proposed round of a day."""

    technician: str
    day: date
    depart: time
    back: time
    stops: list[StopOut]


class LeftOut(Schema):
    """A home that finds no place, and why; ``must``: it cannot wait."""

    home: str
    why: str
    must: bool


class WhyOut(Schema):
    """A home and why it is otherwise."""

    home: str
    why: str


class TakenOut(Schema):
    """What taking a plan over came to."""

    booked: int
    moved: int
    refused: list[WhyOut]


class OneRoundPlanOut(RoundPlanOut):
    """A plan with what it proposes, what has changed on record since, and what taking it over came to."""

    rounds: list[RoundOut]
    left: list[LeftOut]
    no_start: list[str]
    changed: list[WhyOut]
    taken: TakenOut | None

    @staticmethod
    def resolve_rounds(plan: RoundPlan) -> list[RoundOut]:
        return [_round(day) for day in plan.proposal.get("days", [])]

    @staticmethod
    def resolve_left(plan: RoundPlan) -> list[LeftOut]:
        return [LeftOut(**row) for row in plan.proposal.get("left", [])]

    @staticmethod
    def resolve_no_start(plan: RoundPlan) -> list[str]:
        return list(plan.proposal.get("no_start", []))

    @staticmethod
    def resolve_changed(plan: RoundPlan) -> list[WhyOut]:
        waits = plan.state in (RoundPlan.State.READY, RoundPlan.State.STOPPED)
        return [WhyOut(home=home, why=why) for home, why in (changed_since(plan) if waits else [])]

    @staticmethod
    def resolve_taken(plan: RoundPlan) -> TakenOut | None:
        return _taken(**plan.outcome) if plan.outcome else None


def _round(day: dict[str, Any]) -> RoundOut:
    stops = [StopOut(**stop) for stop in day["stops"]]
    told = {name: day[name] for name in ("day", "depart", "back")}
    return RoundOut(technician=day["name"], stops=stops, **told)


class RoundsIn(Schema):
    """Which days, how many seconds to search, whether booked visits may move where nobody was told; of a
    season's plan where its homes are meant."""

    first_day: Day
    last_day: Day
    seconds: int = 30
    may_move: bool = False
    season_plan: Key | None = None


@router.get("/rounds", url_name="api-rounds", response=Page[RoundPlanOut], tags=["plans"])
def rounds(request: HttpRequest, paged: Paged, state: str = "") -> Any:
    """Plans of rounds, the newest first."""
    rows = RoundPlan.objects.defer("proposal").order_by("-pk")
    return page_of(rows.filter(state=state) if state else rows, paged)


@router.post("/rounds", url_name="api-rounds", response={201: RoundPlanOut}, tags=["plans"])
def ask_for_rounds(request: HttpRequest, told: RoundsIn) -> Any:
    """Ask for a plan of rounds; it is worked out behind, look at it again."""
    now = timezone.now()
    form = AskForm(due.today(now), as_form(told.dict(exclude={"season_plan"})))
    checked(form)
    plan = form.plan()
    plan.asked_by = signed_in(request)
    if told.season_plan is not None:
        plan.season = SeasonPlan.objects.filter(pk=told.season_plan).first()
        if plan.season is None:
            raise fault("season_plan", _("No season's plan of that number is on record."))
    return Status(201, round_runs.ask_for(plan, now))


@router.get("/rounds/{pk}", url_name="api-round", response=OneRoundPlanOut, tags=["plans"])
def one_round_plan(request: HttpRequest, pk: Key) -> Any:
    """One plan of rounds: how far it is, or what it proposes."""
    return get_object_or_404(RoundPlan, pk=pk)


@router.post("/rounds/{pk}/stopped", url_name="api-round-stopped", response=RoundPlanOut, tags=["plans"])
def stop_rounds(request: HttpRequest, pk: Key) -> Any:
    """Stop it; the best found so far is kept."""
    ask_to_stop(get_object_or_404(RoundPlan, pk=pk), timezone.now())
    return get_object_or_404(RoundPlan, pk=pk)


@router.post("/rounds/{pk}/taken", url_name="api-round-taken", response=TakenOut, tags=["plans"])
def take(request: HttpRequest, pk: Key) -> Any:
    """Book what it proposes, home by home; what has changed since is left and named."""
    plan = get_object_or_404(RoundPlan, pk=pk)
    return _taken(**vars(round_runs.take_over(plan, signed_in(request), timezone.now())))


def _taken(booked: int, moved: int, refused: list[Any], **_more: Any) -> TakenOut:
    return TakenOut(booked=booked, moved=moved, refused=[WhyOut(home=home, why=why) for home, why in refused])


@router.get("/rounds/{pk}/rounds.{kind}", url_name="api-round-file", tags=["plans"], openapi_extra={
    "responses": {200: {"description": "OK", "content": {
        kind: {"schema": {"type": "string", "format": "binary"}} for kind in _TYPES.values()
    }}},
})  # fmt: skip
def round_file(request: HttpRequest, pk: Key, kind: str) -> Any:
    """The proposed rounds as GeoJSON or GPX."""
    plan = get_object_or_404(RoundPlan, pk=pk)
    if kind not in _TYPES or not plan.proposal.get("days"):
        raise Http404
    body = geojson(plan.proposal) if kind == "geojson" else gpx(plan.proposal, Desk.the().zone)
    return HttpResponse(body, content_type=_TYPES[kind])
