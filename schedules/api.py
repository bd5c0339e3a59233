"""Dates and visits for programs: filters with their plans, what is booked, and the writes of the pages."""

from datetime import date, time
from typing import Any

from django.http import Http404, HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status
from ninja.errors import HttpError

from equipment.access import signed_in, visible_sites
from equipment.api import ReadingIn, ReadingOut
from equipment.models import FilterChange, FilterSlot, Media, Reading, Site, User
from equipment.record import NotRecordable, Told, record_change, record_reading
from schedules import due, visits
from schedules.bookable import NotBookable
from schedules.models import MaintenanceTask, Plan, Technician, Visit
from shared.asked_days import Day, Hour, Key
from shared.paging import Page, Paged, page_of
from shared.units import PA_PER_INWC

router = Router()
CANNOT = 422


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


class VisitOut(Schema):
    """A visit, its technician by name."""

    id: int
    site: str
    state: str
    day: date | None
    technician: str | None
    window_from: time | None
    window_to: time | None
    minutes: int
    wanted: str

    @staticmethod
    def resolve_site(visit: Visit) -> str:
        return visit.site.name

    @staticmethod
    def resolve_technician(visit: Visit) -> str | None:
        return visit.technician.name if visit.technician else None


class ChangeIn(Schema):
    """A change of a filter on a day; without a medium the same went in again."""

    changed_on: Day
    media: str | None = Field(None, max_length=200)


class BookingIn(Schema):
    """What is booked: filters and tasks of a home, for a technician on a day, perhaps within hours."""

    site: str = Field(max_length=120)
    filter_slots: list[str] = Field(default_factory=list, max_length=60)
    tasks: list[Key] = Field(default_factory=list, max_length=60)
    technician: str | None = Field(None, max_length=120)
    day: Day | None = None
    window_from: Hour | None = None
    window_to: Hour | None = None
    wanted: str = Field("", max_length=200)
    sure: bool = False


def _in_use(request: HttpRequest) -> Any:
    rows = FilterSlot.objects.in_use().filter(system__site__in=visible_sites(signed_in(request)))
    return rows.select_related("system__site__customer", "plan")


@router.get("/filters", url_name="api-filters", response=Page[FilterOut], tags=["dates"])
def filters(
    request: HttpRequest, paged: Paged, due_until: Day | None = None, site: str = "", changed_by: str = ""
) -> Any:
    """Filters in use, the earliest date first, those without one last."""
    rows = _in_use(request)
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
    media = _media(told.media)
    try:
        record_change(slot, told.changed_on, media, _told(user), now)
    except NotRecordable as error:
        raise HttpError(CANNOT, str(error)) from None
    visits.drop_done([slot.pk])
    due.replan(now, FilterSlot.objects.filter(pk=slot.pk))
    return Status(201, _slot(request, name))


def _told(user: User) -> Told:
    if user.is_homeowner:
        return Told(FilterChange.Told.OCCUPANT, FilterSlot.ChangedBy.OCCUPANT, user)
    return Told(FilterChange.Told.TECHNICIAN, FilterSlot.ChangedBy.TECHNICIAN, user)


def _media(name: str | None) -> Media | None:
    if not name:
        return None
    found = Media.objects.filter(name=name).first()
    if found is None:
        raise HttpError(CANNOT, _("No medium of that name is on record."))
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
    try:
        stored = record_reading(row, now)
    except NotRecordable as error:
        raise HttpError(CANNOT, str(error)) from None
    due.replan(now, FilterSlot.objects.filter(pk=slot.pk))
    return Status(201, stored)


def _slot(request: HttpRequest, name: str) -> FilterSlot:
    found: FilterSlot | None = _in_use(request).filter(name=name).first()
    if found is None:
        raise Http404
    return found


@router.get("/visits", url_name="api-visits", response=Page[VisitOut], tags=["visits"])
def list_visits(
    request: HttpRequest, paged: Paged, first_day: Day | None = None, last_day: Day | None = None,
    technician: str = "", state: str = "",
) -> Any:  # fmt: skip
    """Visits, by day; a technician's program sees that technician's."""
    user = signed_in(request)
    rows = Visit.objects.select_related("site", "technician").order_by("day", "stop_number", "pk")
    rows = rows if user.is_manager else rows.filter(technician__user=user)
    rows = rows.filter(day__gte=first_day) if first_day else rows
    rows = rows.filter(day__lte=last_day) if last_day else rows
    rows = rows.filter(technician__name=technician) if technician else rows
    return page_of(rows.filter(state=state) if state else rows, paged)


@router.post("/visits", url_name="api-visits", response={201: VisitOut}, tags=["visits"])
def book(request: HttpRequest, asked: BookingIn) -> Any:
    """Book a visit as the pages do, with the same refusals; ``sure`` where something unusual was asked."""
    try:
        return Status(201, visits.book(_booking(asked), timezone.now()))
    except NotBookable as error:
        raise HttpError(CANNOT, str(error)) from None


def _booking(asked: BookingIn) -> visits.Booking:
    site = Site.objects.filter(name=asked.site).first()
    slots = list(FilterSlot.objects.in_use().filter(system__site=site, name__in=asked.filter_slots))
    tasks = list(MaintenanceTask.objects.filter(system__site=site, pk__in=asked.tasks, ended_on=None))
    technician = Technician.objects.filter(name=asked.technician).first() if asked.technician else None
    if site is None or len(slots) < len(set(asked.filter_slots)) or len(tasks) < len(set(asked.tasks)):
        raise HttpError(CANNOT, _("No home of that name, or not all of these filters and tasks are its own."))
    if asked.technician and technician is None:
        raise HttpError(CANNOT, _("No technician of that name is on record."))
    return visits.Booking(
        site,
        slots,
        tasks,
        technician,
        asked.day,
        asked.window_from,
        asked.window_to,
        asked.sure,
        asked.wanted,
    )
