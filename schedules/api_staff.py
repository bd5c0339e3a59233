"""Technicians for programs: who drives, when they are away, and their days put in order."""

from datetime import date, datetime, time
from typing import Any

from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, File, Router, Schema, Status, UploadedFile

from equipment.access import signed_in
from schedules import due, staff
from schedules.api_visits import LostOut
from schedules.day_order import put_in_order
from schedules.leave import booked_during, free_visits
from schedules.models import Absence, Depot, Technician
from schedules.round_forms import AbsenceForm, TechnicianForm
from schedules.technicians_sheet import LARGEST_SHEET_BYTES, import_sent
from shared.asked_days import Day, Hour, Key
from shared.form_bodies import Faulty, as_form, checked, fault
from shared.paging import Page, Paged, page_of

router = Router()


class TechnicianOut(Schema):
    """Who drives, their skills and hours; weekdays from nought, Monday."""

    id: int
    name: str
    skills: list[str]
    weekdays: list[int]
    day_starts: time
    day_ends: time
    van_room: int
    gone_on: date | None


class TechnicianIn(Schema):
    """A technician as the desk's form has one; the day begins at the depot or the place, else at the desk."""

    name: str = Field(max_length=120)
    skills: list[str] = Field(default_factory=list, max_length=50)
    weekdays: list[int] = Field(default_factory=lambda: [0, 1, 2, 3, 4], max_length=7)
    day_starts: Hour = time(8)
    day_ends: Hour = time(17)
    van_room: int = 25
    depot: str | None = Field(None, max_length=120)
    start_latitude: float | None = None
    start_longitude: float | None = None


class SheetOut(Schema):
    """What came of a sheet, in words."""

    said: list[str]


class GoneOut(Schema):
    """Since when they are gone, and how many booked visits want another technician."""

    name: str
    gone_on: date
    waiting: int


class AbsenceOut(Schema):
    """Days without work, of somebody or of the whole desk."""

    id: int
    technician: str | None
    first_day: date
    last_day: date
    why: str
    withdrawn_at: datetime | None

    @staticmethod
    def resolve_technician(row: Absence) -> str | None:
        return row.technician.name if row.technician else None


class AwayOut(AbsenceOut):
    """The same, and how many visits are booked then."""

    booked: int

    @staticmethod
    def resolve_booked(row: Absence) -> int:
        return booked_during(row).count()


class AbsenceIn(Schema):
    """Leave of a technician, or without one a day off for all."""

    technician: str | None = Field(None, max_length=120)
    first_day: Day
    last_day: Day
    why: str = Field("", max_length=120)


class FreedOut(Schema):
    """How many visits wait for another day."""

    freed: int


class DayIn(Schema):
    """Whose day."""

    technician: str = Field(max_length=120)
    day: Day


class PlaceOut(Schema):
    """A stop of a day in order."""

    visit: int
    stop_number: int | None
    arrive_at: datetime | None
    leave_at: datetime | None


class DayOut(Schema):
    """A day in order; what does not fit and why; who was told other hours."""

    stops: list[PlaceOut]
    left_out: list[LostOut]
    told_anew: list[str]


@router.get("/technicians", url_name="api-technicians", response=Page[TechnicianOut], tags=["staff"])
def technicians(request: HttpRequest, paged: Paged, gone: bool = False) -> Any:
    """Technicians who are there, or who left, by name."""
    return page_of(Technician.objects.filter(gone_on__isnull=not gone).order_by("name", "pk"), paged)


@router.post("/technicians", url_name="api-technicians", response={201: TechnicianOut}, tags=["staff"])
def add(request: HttpRequest, told: TechnicianIn) -> Any:
    """Put a technician on record."""
    return Status(201, _written(told, None))


@router.post("/technicians/{pk}", url_name="api-technician", response=TechnicianOut, tags=["staff"])
def change(request: HttpRequest, pk: Key, told: TechnicianIn) -> Any:
    """Write all of a technician anew."""
    return _written(told, get_object_or_404(Technician, pk=pk))


def _written(told: TechnicianIn, row: Technician | None) -> Technician:
    values = told.dict(exclude={"skills", "depot"}) | {"skills_text": ",".join(told.skills)}
    if told.depot:
        depot = Depot.objects.filter(name=told.depot, closed_on=None).first()
        if depot is None:
            raise fault("depot", _("No depot of that name is open."))
        values["depot"] = depot.pk
    form = TechnicianForm(as_form(values), instance=row)
    checked(form, names={"skills_text": "skills"})
    return form.save()


@router.post("/technicians-sheet", url_name="api-technicians-sheet", response={201: SheetOut}, tags=["staff"])
def from_sheet(request: HttpRequest, sheet: File[UploadedFile]) -> Any:
    """Add and change technicians by name, from a CSV file of at most a megabyte: all rows, or none and every
    fault."""
    if (sheet.size or 0) > LARGEST_SHEET_BYTES:
        raise fault("sheet", _("Choose a CSV file of at most a megabyte."))
    report = import_sent(sheet.read())
    if report.faults:
        raise Faulty(
            [{"at": f"body/sheet/{one.line}/{one.column}", "why": str(one)} for one in report.faults]
        )
    return Status(201, {"said": report.lines()})


@router.post("/technicians/{pk}/gone", url_name="api-technician-gone", response=GoneOut, tags=["staff"])
def gone(request: HttpRequest, pk: Key) -> Any:
    """A technician leaves; visits of days to come stay on record and want somebody else."""
    row = get_object_or_404(Technician, pk=pk, gone_on=None)
    waiting = staff.leaves(row, timezone.now())
    return {"name": row.name, "gone_on": row.gone_on, "waiting": waiting}


@router.post("/technicians/{pk}/back", url_name="api-technician-back", response=TechnicianOut, tags=["staff"])
def back(request: HttpRequest, pk: Key) -> Any:
    """Who had left works here again."""
    row = get_object_or_404(Technician.objects.exclude(gone_on=None), pk=pk)
    staff.returns(row)
    return row


@router.get("/absences", url_name="api-absences", response=Page[AbsenceOut], tags=["staff"])
def absences(request: HttpRequest, paged: Paged, technician: str = "") -> Any:
    """Days without work that are not over, the first first."""
    rows = Absence.objects.filter(withdrawn_at=None, last_day__gte=due.today(timezone.now()))
    rows = rows.filter(technician__name=technician) if technician else rows
    return page_of(rows.select_related("technician").order_by("first_day", "pk"), paged)


@router.post("/absences", url_name="api-absences", response={201: AwayOut}, tags=["staff"])
def away(request: HttpRequest, told: AbsenceIn) -> Any:
    """Write leave down, or a day off for all; how many visits are booked then is told."""
    values = told.dict(exclude={"technician"})
    if told.technician:
        values["technician"] = _technician(told.technician).pk
    form = AbsenceForm(due.today(timezone.now()), as_form(values))
    checked(form)
    return Status(201, form.save())


@router.post("/absences/{pk}/visits-freed", url_name="api-absence-freed", response=FreedOut, tags=["staff"])
def free(request: HttpRequest, pk: Key) -> Any:
    """Let the visits of days without work wait for another day."""
    return FreedOut(freed=free_visits(get_object_or_404(Absence, pk=pk, withdrawn_at=None)))


@router.post(
    "/absences/{pk}/withdrawn", url_name="api-absence-withdrawn", response=AbsenceOut, tags=["staff"]
)
def withdraw(request: HttpRequest, pk: Key) -> Any:
    """Take leave back."""
    row = get_object_or_404(Absence.objects.select_related("technician"), pk=pk)
    staff.take_back(row, timezone.now())
    row.refresh_from_db(fields=["withdrawn_at"])
    return row


@router.post("/days/ordered", url_name="api-day-ordered", response=DayOut, tags=["visits"])
def order(request: HttpRequest, told: DayIn) -> Any:
    """Put a technician's day in order; a technician's program its own."""
    who, user = _technician(told.technician), signed_in(request)
    if not user.is_manager and who.user_id != user.pk:
        raise Http404
    plan = put_in_order(who, told.day, timezone.now())
    stops = [
        PlaceOut(visit=one.pk, stop_number=one.stop_number, arrive_at=one.arrive_at, leave_at=one.leave_at)
        for one in plan.visits
    ]
    left = [LostOut(home=one.site.name, why=why) for one, why in plan.left_out]
    return DayOut(stops=stops, left_out=left, told_anew=[one.site.name for one in plan.broken])


def _technician(name: str) -> Technician:
    found = Technician.objects.filter(name=name, gone_on=None).first()
    if found is None:
        raise fault("technician", _("No technician of that name is on record."))
    return found
