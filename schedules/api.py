"""Dates for programs: filters with their plans, and changes and readings written down as the pages do."""

from datetime import date
from typing import Any, Literal

from django.http import Http404, HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status

from equipment.access import signed_in
from equipment.api import ReadingIn, ReadingOut
from equipment.models import FilterSlot, Media, Reading
from equipment.record import record_change, record_reading, told_by
from schedules import due, visits
from schedules.api_record import homes_for
from schedules.models import Plan
from shared.asked_days import Day
from shared.form_bodies import fault
from shared.paging import Page, Paged, page_of
from shared.units import PA_PER_INWC

router = Router()


class PlanOut(Schema):
    """A filter's date and what it rests on; drops at design airflow in in. w.c."""

    due_on: date | None
    reason: str
    p10_on: date | None
    p50_on: date | None
    p90_on: date | None
    in_there_since: date | None
    drop_now_inwc: float | None
    limit_drop_inwc: float | None
    run_hours: float | None


class FilterOut(Schema):
    """A filter slot in use, with its plan."""

    filter_slot: str
    system: str
    site: str
    customer: str
    location: str
    nominal_size: str
    changed_by: str
    plan: PlanOut | None

    @staticmethod
    def resolve_filter_slot(slot: FilterSlot) -> str:
        return slot.name

    @staticmethod
    def resolve_system(slot: FilterSlot) -> str:
        return slot.system.name

    @staticmethod
    def resolve_site(slot: FilterSlot) -> str:
        return slot.system.site.name

    @staticmethod
    def resolve_customer(slot: FilterSlot) -> str:
        return slot.system.site.customer.name

    @staticmethod
    def resolve_plan(slot: FilterSlot) -> PlanOut | None:
        plan: Plan | None = getattr(slot, "plan", None)
        if plan is None:
            return None
        return PlanOut(
            due_on=plan.due_on, reason=plan.reason, p10_on=plan.p10_on, p50_on=plan.p50_on,
            p90_on=plan.p90_on, in_there_since=plan.life_began_on, drop_now_inwc=_inwc(plan.drop_now_pa),
            limit_drop_inwc=_inwc(plan.limit_drop_pa), run_hours=plan.run_hours,
        )  # fmt: skip


def _inwc(pascal: float | None) -> float | None:
    return None if pascal is None else round(pascal / PA_PER_INWC, 4)


class ChangeIn(Schema):
    """A change of a filter on a day; without a medium the same went in again. ``changed_by`` says who did it,
    where that is another than usual here."""

    changed_on: Day
    media: str | None = Field(None, max_length=200)
    changed_by: Literal["occupant", "technician"] | None = None


def _in_use(request: HttpRequest, named: str) -> Any:
    rows = FilterSlot.objects.in_use().filter(system__site__in=homes_for(request, named))
    return rows.select_related("system__site__customer", "plan")


@router.get("/filters", url_name="api-filters", response=Page[FilterOut], tags=["dates"])
def filters(
    request: HttpRequest, paged: Paged, due_until: Day | None = None, site: str = "", changed_by: str = ""
) -> Any:
    """Filters in use, the earliest date first, those without one last."""
    rows = _in_use(request, site)
    rows = rows.filter(plan__due_on__lte=due_until) if due_until else rows
    rows = rows.filter(system__site__name=site) if site else rows
    rows = rows.filter(changed_by=changed_by) if changed_by else rows
    return page_of(rows.order_by("plan__due_on", "name", "pk"), paged)


@router.get("/filters/{name}", url_name="api-filter", response=FilterOut, tags=["dates"])
def filter_of(request: HttpRequest, name: str) -> Any:
    """One filter."""
    return _slot(request, name)


@router.post(
    "/filters/{name}/changes", url_name="api-filter-changes", response={201: FilterOut}, tags=["dates"]
)
def change(request: HttpRequest, name: str, told: ChangeIn) -> Any:
    """Write a change down; the filter with its new date."""
    slot, now, user = _slot(request, name), timezone.now(), signed_in(request)
    by = told_by(user, slot, by_program=True, changed_by=told.changed_by or "")
    record_change(slot, told.changed_on, _media(told.media), by, now)
    visits.drop_done([slot.pk])
    due.replan(now, FilterSlot.objects.filter(pk=slot.pk))
    return Status(201, _slot(request, name))


def _media(name: str | None) -> Media | None:
    if not name:
        return None
    found = Media.objects.filter(name=name).first()
    if found is None:
        raise fault("media", _("No medium of that name is on record."))
    return found


@router.post(
    "/filters/{name}/readings", url_name="api-filter-readings", response={201: ReadingOut}, tags=["dates"]
)
def reading(request: HttpRequest, name: str, told: ReadingIn) -> Any:
    """Write a reading down."""
    slot, now, posted = _slot(request, name), timezone.now(), told.posted
    row = Reading(
        slot=slot, taken_at=posted.taken_at, filter_drop_pa=posted.filter_drop_pa,
        airflow_m3s=posted.airflow_m3s, taken_by=signed_in(request),
    )  # fmt: skip
    stored = record_reading(row, now)
    due.replan(now, FilterSlot.objects.filter(pk=slot.pk))
    return Status(201, stored)


def _slot(request: HttpRequest, name: str) -> FilterSlot:
    found: FilterSlot | None = _in_use(request, name).filter(name=name).first()
    if found is None:
        raise Http404
    return found
