"""Visits for programs: read, booked, moved, held, called off."""

from datetime import date, datetime, time
from typing import Any

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status

from equipment.access import signed_in
from equipment.models import FilterSlot, Site
from schedules import booked, visits
from schedules.contacts import Contacts
from schedules.models import MaintenanceTask, Technician, Visit
from schedules.visible_visits import visit_or_404
from shared.asked_days import Day, Hour, Key
from shared.form_bodies import fault
from shared.paging import Page, Paged, page_of

router = Router()
MOST_PARTS = 60


class VisitOut(Schema):
    """A visit, its technician by name; ``held``: to technician and day, whatever is planned."""

    id: int
    site: str
    state: str
    day: date | None
    technician: str | None
    window_from: time | None
    window_to: time | None
    arrive_at: datetime | None
    arrived_at: datetime | None
    completed_at: datetime | None
    held: bool
    minutes: int
    wanted: str

    @staticmethod
    def resolve_site(visit: Visit) -> str:
        return visit.site.name

    @staticmethod
    def resolve_technician(visit: Visit) -> str | None:
        return visit.technician.name if visit.technician else None

    @staticmethod
    def resolve_held(visit: Visit) -> bool:
        return visit.pinned


class JobOut(Schema):
    """A filter or a task of a visit, and whether it was done; null while that is open."""

    filter_slot: str | None
    task: int | None
    what: str
    done: bool | None


class OneVisitOut(VisitOut):
    """A visit with its jobs and what was written of it."""

    jobs: list[JobOut]
    findings: str
    note: str

    @staticmethod
    def resolve_note(visit: Visit, context: dict[str, Any]) -> str:
        """As on its page: for whoever goes there about now."""
        reader = Contacts(signed_in(context["request"]), timezone.now())
        return visit.note if visit.site_id in reader else ""

    @staticmethod
    def resolve_jobs(visit: Visit) -> list[JobOut]:
        return [
            JobOut(
                filter_slot=job.slot.name if job.slot else None, task=job.task_id,
                what=job.slot.nominal_size if job.slot else str(job.task.name if job.task else ""),
                done=job.done,
            )
            for job in visit.jobs.select_related("slot", "task").order_by("pk")
        ]  # fmt: skip


class TimesOut(Schema):
    """A home whose time moved for it."""

    home: str
    was: datetime
    at: datetime


class LostOut(Schema):
    """A home that lost its time on the day, and why."""

    home: str
    why: str


class BookedOut(VisitOut):
    """The visit as booked; why it has no time on its day yet; what came of it for others of that day."""

    without_time: str
    moved: list[TimesOut]
    lost: list[LostOut]
    told_anew: list[str]

    @staticmethod
    def resolve_without_time(visit: Any) -> str:
        return str(visit.came_of_it.why)

    @staticmethod
    def resolve_moved(visit: Any) -> list[TimesOut]:
        return [TimesOut(home=one.home, was=one.was, at=one.at) for one in visit.came_of_it.moved]

    @staticmethod
    def resolve_lost(visit: Any) -> list[LostOut]:
        return [LostOut(home=left.site.name, why=why) for left, why in visit.came_of_it.lost]

    @staticmethod
    def resolve_told_anew(visit: Any) -> list[str]:
        return [one.site.name for one in visit.came_of_it.late]


class BookingIn(Schema):
    """What is booked: filters and tasks of a home, or something else that somebody is needed for, for a
    technician on a day, perhaps within hours; ``sure`` where something unusual was asked about."""

    site: str = Field(max_length=120)
    filter_slots: list[str] = Field(default_factory=list, max_length=MOST_PARTS)
    tasks: list[Key] = Field(default_factory=list, max_length=MOST_PARTS)
    technician: str | None = Field(None, max_length=120)
    day: Day | None = None
    window_from: Hour | None = None
    window_to: Hour | None = None
    wanted: str = Field("", max_length=200)
    wanted_minutes: int = Field(60, ge=5, le=480)
    wanted_skill: str = Field("", max_length=40)
    sure: bool = False


class MoveIn(Schema):
    """Whom and which day a visit is given to."""

    technician: str = Field(max_length=120)
    day: Day
    window_from: Hour | None = None
    window_to: Hour | None = None
    sure: bool = False


class NoteIn(Schema):
    """Why, in a few words."""

    note: str = Field("", max_length=500)


class HeldIn(Schema):
    """Whether it is held to its technician and day."""

    held: bool


@router.get("/visits", url_name="api-visits", response=Page[VisitOut], tags=["visits"])
def list_visits(
    request: HttpRequest, paged: Paged, first_day: Day | None = None, last_day: Day | None = None,
    technician: str = "", state: str = "", site: str = "",
) -> Any:  # fmt: skip
    """Visits, by day; a technician's program sees that technician's."""
    user = signed_in(request)
    rows = Visit.objects.select_related("site", "technician").order_by("day", "stop_number", "pk")
    rows = rows if user.is_manager else rows.filter(technician__user=user)
    rows = rows.filter(day__gte=first_day) if first_day else rows
    rows = rows.filter(day__lte=last_day) if last_day else rows
    rows = rows.filter(technician__name=technician) if technician else rows
    rows = rows.filter(site__name=site) if site else rows
    return page_of(rows.filter(state=state) if state else rows, paged)


@router.get("/visits/{pk}", url_name="api-visit", response=OneVisitOut, tags=["visits"])
def one_visit(request: HttpRequest, pk: Key) -> Any:
    """One visit with its jobs."""
    return visit_or_404(signed_in(request), pk)


@router.post("/visits", url_name="api-visits", response={201: BookedOut}, tags=["visits"])
def book(request: HttpRequest, asked: BookingIn) -> Any:
    """Book a visit and give it its time, as the pages do; ``sure`` where something unusual was asked."""
    return Status(201, _booked(booked.book(booking_of(asked), timezone.now())))


@router.post("/visits/{pk}/moved", url_name="api-visit-moved", response=BookedOut, tags=["visits"])
def move(request: HttpRequest, pk: Key, to: MoveIn) -> Any:
    """Give an open visit another technician, day or hours."""
    visit, technician = visit_or_404(signed_in(request), pk), _technician(to.technician)
    where = booked.Move(technician, to.day, to.window_from, to.window_to, to.sure)
    return _booked(booked.move(visit, where, timezone.now()))


@router.post("/visits/{pk}/held", url_name="api-visit-held", response=VisitOut, tags=["visits"])
def hold(request: HttpRequest, pk: Key, told: HeldIn) -> Any:
    """Hold a booked visit to its technician and day, or let it go again."""
    return visits.hold(visit_or_404(signed_in(request), pk), told.held)


@router.post("/visits/{pk}/called-off", url_name="api-visit-called-off", response=VisitOut, tags=["visits"])
def call_off(request: HttpRequest, pk: Key, told: NoteIn) -> Any:
    """Call an open visit off, as its page does; its jobs are free again."""
    return visits.cancel(visit_or_404(signed_in(request), pk), told.note)


def _booked(told: booked.Booked) -> Any:
    visit: Any = told.visit
    visit.came_of_it = told
    return visit


def booking_of(asked: BookingIn) -> visits.Booking:
    """What is asked for, of rows on record. Raises Faulty."""
    site = Site.objects.filter(name=asked.site).first()
    if site is None:
        raise fault("site", _("No home of that name is on record."))
    slots = list(FilterSlot.objects.in_use().filter(system__site=site, name__in=asked.filter_slots))
    if len(slots) < len(set(asked.filter_slots)):
        raise fault("filter_slots", _("Not all of these filters are in use at that home."))
    tasks = list(MaintenanceTask.objects.filter(system__site=site, pk__in=asked.tasks, ended_on=None))
    if len(tasks) < len(set(asked.tasks)):
        raise fault("tasks", _("Not all of these tasks are agreed on for that home."))
    technician = _technician(asked.technician) if asked.technician else None
    return visits.Booking(
        site, slots, tasks, technician, asked.day, asked.window_from, asked.window_to, asked.sure,
        " ".join(asked.wanted.split()), asked.wanted_minutes, asked.wanted_skill,
    )  # fmt: skip


def _technician(name: str) -> Technician:
    found = Technician.objects.filter(name=name, gone_on=None).first()
    if found is None:
        raise fault("technician", _("No technician of that name is on record."))
    return found
