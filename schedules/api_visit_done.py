"""How a visit went, told by a program as the visit's page takes it."""

from typing import Annotated, Any, Literal

from django.http import HttpRequest, QueryDict
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema

from equipment.access import signed_in
from equipment.models import FilterSlot, Media
from schedules import visits
from schedules.air_forms import VisitAirForm
from schedules.api_visits import MOST_PARTS, NoteIn, OneVisitOut, VisitOut
from schedules.finish import finish
from schedules.forms import LONGEST_TEXT, JobFilterForm
from schedules.models import Defect, Visit
from schedules.reading_checks import prefix_of
from schedules.visible_visits import visit_or_404
from schedules.visit_report import VisitReport
from shared.asked_days import Key
from shared.form_bodies import Faulty, Figure, Units, fault, faults_of, fill

router = Router()


class FilterDoneIn(Schema):
    """What was done at one filter: drops in in. w.c. or Pa and the airflow in cfm or L/s, by the body's units
    or with the unit written behind; ``sure`` where a figure was asked about and is so."""

    filter_slot: str = Field(max_length=120)
    changed: bool = False
    medium: str | None = Field(None, max_length=200)
    drop_before: Figure | None = None
    drop_after: Figure | None = None
    airflow: Figure | None = None
    sure: bool = False


class AirIn(Schema):
    """What was measured of a whole system after the work."""

    system: str = Field(max_length=120)
    return_static: Figure | None = None
    filter_in: Literal["in", "out"] | None = None
    supply_static: Figure | None = None
    airflow: Figure | None = None
    airflow_method: str = Field("", max_length=80)
    coil: str = Field("", max_length=20)
    blower_tap: str = Field("", max_length=40)
    sure: bool = False


class DoneIn(Schema):
    """A visit as it went: filters, tasks done by their numbers, the air side, kinds of what is not right
    there, and words."""

    units: Units = "ip"
    filters: list[FilterDoneIn] = Field(default_factory=list, max_length=MOST_PARTS)
    tasks: list[Key] = Field(default_factory=list, max_length=MOST_PARTS)
    air: list[AirIn] = Field(default_factory=list, max_length=MOST_PARTS)
    seen: list[Annotated[str, Field(max_length=16)]] = Field(
        default_factory=list, max_length=len(Defect.Kind)
    )
    findings: str = Field("", max_length=LONGEST_TEXT)
    note: str = Field("", max_length=LONGEST_TEXT)


@router.post("/visits/{pk}/arrived", url_name="api-visit-arrived", response=VisitOut, tags=["visits"])
def arrive(request: HttpRequest, pk: Key) -> Any:
    """The technician is at the door of a visit of today; told again, the first time stands."""
    return visits.arrive(visit_or_404(signed_in(request), pk), timezone.now())


@router.post("/visits/{pk}/nobody-opened", url_name="api-visit-no-access", response=VisitOut, tags=["visits"])
def nobody_opened(request: HttpRequest, pk: Key, told: NoteIn) -> Any:
    """Nobody opened: the visit ends, and the home is to be rung."""
    return visits.no_access(visit_or_404(signed_in(request), pk), told.note, timezone.now())


@router.post("/visits/{pk}/displaced", url_name="api-visit-displaced", response=VisitOut, tags=["visits"])
def displace(request: HttpRequest, pk: Key, told: NoteIn) -> Any:
    """Something urgent comes first: the visit waits for another day, and who expects it is told."""
    return visits.displace(visit_or_404(signed_in(request), pk), told.note)


@router.post("/visits/{pk}/done", url_name="api-visit-done", response=OneVisitOut, tags=["visits"])
def done(request: HttpRequest, pk: Key, told: DoneIn) -> Any:
    """Complete a visit as its page does: all of it is written down, or nothing."""
    user, now = signed_in(request), timezone.now()
    visit = visit_or_404(user, pk)
    report = VisitReport(visit, told.units, _report(visit, told))
    if not report.is_valid():
        raise Faulty([one for part in report.forms for one in faults_of(part, _place(part, told))])
    finish(visit, report.outcome(now), user, now)
    return visit_or_404(user, pk)


def _report(visit: Visit, told: DoneIn) -> QueryDict:
    """The body as the page's form would send it."""
    data = fill(QueryDict(mutable=True), {"units": told.units, "task": told.tasks, "seen": told.seen})
    fill(data, {"findings": told.findings, "note": told.note})
    mine = set(visit.jobs.filter(task__isnull=False).values_list("task", flat=True))
    if not set(told.tasks) <= mine:
        raise fault("tasks", _("Not all of these tasks are part of this visit."))
    slots = FilterSlot.objects.in_use().filter(system__site=visit.site_id)
    here = {slot.name: slot for slot in slots.filter(name__in=[one.filter_slot for one in told.filters])}
    named = Media.objects.filter(name__in=[one.medium or "" for one in told.filters])
    media = dict(named.values_list("name", "pk"))
    for place, one in enumerate(told.filters):
        if one.filter_slot not in here:
            raise fault(f"filters/{place}/filter_slot", _("No filter of that name is in use at this home."))
        if one.medium and one.medium not in media:
            raise fault(f"filters/{place}/medium", _("No medium of that name is on record."))
        values = one.dict(exclude={"filter_slot", "medium"}) | {"medium": media.get(one.medium or "")}
        fill(data, values, f"{prefix_of(here[one.filter_slot])}-")
    _fill_air(data, visit, told)
    return data


def _fill_air(data: QueryDict, visit: Visit, told: DoneIn) -> None:
    parts = [job.slot or job.task for job in visit.jobs.select_related("slot__system", "task__system")]
    systems = {part.system.name: part.system for part in parts if part}
    for place, air in enumerate(told.air):
        system = systems.get(air.system)
        if system is None:
            raise fault(f"air/{place}/system", _("This visit is of no system of that name."))
        fill(data, air.dict(exclude={"system"}), f"{prefix_of(system)}-")


def _place(part: Any, told: DoneIn) -> str:
    """Where the part of the report stands in the body."""
    if isinstance(part, JobFilterForm):
        names, list_name = [one.filter_slot for one in told.filters], "filters"
        name = part.slot.name
    elif isinstance(part, VisitAirForm):
        names, list_name, name = [one.system for one in told.air], "air", part.of.name
    else:
        return ""
    return f"{list_name}/{names.index(name)}" if name in names else list_name
