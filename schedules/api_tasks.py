"""Tasks beside filters, for programs: what is agreed on, and agreed on anew."""

from datetime import date
from typing import Any, Literal

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status

from equipment.models import System
from schedules import due, tasks_due
from schedules.api_record import homes_for
from schedules.forms import TaskForm
from schedules.models import MaintenanceTask
from shared.asked_days import Day
from shared.form_bodies import Figure, Units, as_form, checked, fault
from shared.paging import Page, Paged, page_of

router = Router()


class TaskOut(Schema):
    """Work that returns, beside filters."""

    id: int
    site: str
    system: str
    name: str
    due_on: date | None
    last_done_on: date | None
    minutes: int
    skill: str

    @staticmethod
    def resolve_site(task: MaintenanceTask) -> str:
        return task.system.site.name

    @staticmethod
    def resolve_system(task: MaintenanceTask) -> str:
        return task.system.name


class TaskIn(Schema):
    """A task of a system, back after days, fan hours or so many visits a year."""

    system: str = Field(max_length=120)
    name: str = Field(max_length=120)
    interval_days: int | None = Field(None, ge=1, le=100_000)
    interval_fan_hours: float | None = Field(None, gt=0, le=1e7)
    visits_a_year: int | None = Field(None, ge=1, le=12)
    season: Literal["any", "spring", "autumn"] = "any"
    minutes: int = Field(45, ge=1, le=10_000)
    skill: str = Field("", max_length=40)
    last_done_on: Day | None = None
    least_outdoors: Figure | None = None
    checklist: list[str] = Field(default_factory=list, max_length=100)
    units: Units = "ip"


@router.get("/tasks", url_name="api-tasks", response=Page[TaskOut], tags=["dates"])
def tasks(request: HttpRequest, paged: Paged, due_until: Day | None = None, site: str = "") -> Any:
    """Tasks agreed on, the earliest first."""
    seen = homes_for(request, site)
    rows = MaintenanceTask.objects.filter(system__site__in=seen, ended_on=None)
    rows = rows.filter(due_on__lte=due_until) if due_until else rows
    rows = rows.filter(system__site__name=site) if site else rows
    return page_of(rows.select_related("system__site").order_by("due_on", "pk"), paged)


@router.post("/tasks", url_name="api-tasks", response={201: TaskOut}, tags=["dates"])
def agree(request: HttpRequest, told: TaskIn) -> Any:
    """Put an agreed task on record; it is done at a visit that it is part of."""
    system = System.objects.filter(name=told.system, replaced_on=None).first()
    if system is None:
        raise fault("system", _("No system of that name is in use."))
    values = told.dict(exclude={"system", "checklist", "units"})
    points = "\n".join(told.checklist)
    form = TaskForm(told.units, as_form(values | {"system": system.pk, "checklist_text": points}))
    checked(form)
    today = due.today(timezone.now())
    return Status(201, tasks_due.agree(form.save(commit=False), points, today))
