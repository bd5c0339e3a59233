"""Where vans start, how fast roads are, and what suits a home, for programs."""

from datetime import date, time
from typing import Annotated, Any

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status

from equipment.access import signed_in, site_or_404
from schedules import home_changes, slow_hours, staff
from schedules.models import Depot, HomeHours, Policy, Technician
from schedules.round_forms import DepotForm, HomeHoursForm, RoadsForm
from shared.asked_days import Hour, Key
from shared.form_bodies import Figure, Units, as_form, checked, fault
from shared.paging import Page, Paged, page_of
from shared.units import ROAD_SPEED, from_si

router = Router()
_WEEK = 7


class DepotOut(Schema):
    """A branch that vans start from and return to."""

    id: int
    name: str
    street: str
    latitude: float
    longitude: float
    closed_on: date | None


class DepotIn(Schema):
    """The same, as it is written down."""

    name: str = Field(max_length=120)
    street: str = Field("", max_length=200)
    latitude: float
    longitude: float


class ClosedOut(Schema):
    """A branch given up, and who starts at the desk from now on."""

    id: int
    name: str
    closed_on: date
    start_at_the_desk: list[str]


class RoadsOut(Schema):
    """The mean speed, the slow hours from Monday to Friday with their share of it in percent, and how many
    days ahead a household is told of a visit that it did not ask for; as observed, what ways and stays take
    of what was reckoned."""

    speed_mph: float
    slow_hours: list[str]
    visit_notice_days: int
    ways_observed: int
    way_factor: float
    stays_observed: int
    stay_factor: float


class RoadsIn(Schema):
    """What is left out stays. The speed in mph or km/h by ``units``, or with its unit behind it; slow hours
    such as ``7:00-9:00 80``."""

    units: Units = "ip"
    speed: Figure | None = None
    slow_hours: list[Annotated[str, Field(max_length=40)]] | None = Field(None, max_length=24)
    visit_notice_days: int | None = None


class HoursOut(Schema):
    """The days (from nought, Monday; none: any) and hours that suit a home, and who is not to come there."""

    weekdays: list[int]
    not_before: time | None
    not_after: time | None
    not_by: list[str]


class HoursIn(Schema):
    """All of it, written anew."""

    weekdays: list[int] = Field(default_factory=list, max_length=_WEEK)
    not_before: Hour | None = None
    not_after: Hour | None = None
    not_by: list[Annotated[str, Field(max_length=120)]] = Field(default_factory=list, max_length=200)


@router.get("/depots", url_name="api-depots", response=Page[DepotOut], tags=["staff"])
def depots(request: HttpRequest, paged: Paged, closed: bool = False) -> Any:
    """Branches that are open, or that were closed, by name."""
    return page_of(Depot.objects.filter(closed_on__isnull=not closed).order_by("name", "pk"), paged)


@router.post("/depots", url_name="api-depots", response={201: DepotOut}, tags=["staff"])
def open_depot(request: HttpRequest, told: DepotIn) -> Any:
    """Put a branch on record."""
    return Status(201, _depot(told, None))


@router.post("/depots/{pk}", url_name="api-depot", response=DepotOut, tags=["staff"])
def change_depot(request: HttpRequest, pk: Key, told: DepotIn) -> Any:
    """Write all of a branch anew."""
    return _depot(told, get_object_or_404(Depot, pk=pk, closed_on=None))


def _depot(told: DepotIn, row: Depot | None) -> Any:
    form = DepotForm(as_form(told.dict()), instance=row)
    checked(form)
    return form.save()


@router.post("/depots/{pk}/closed", url_name="api-depot-closed", response=ClosedOut, tags=["staff"])
def close_depot(request: HttpRequest, pk: Key) -> Any:
    """A branch is given up; who started there starts at the desk, and is named."""
    row = get_object_or_404(Depot, pk=pk, closed_on=None)
    names = staff.close_depot(row, timezone.now())
    return {"id": row.pk, "name": row.name, "closed_on": row.closed_on, "start_at_the_desk": names}


@router.get("/roads", url_name="api-roads", response=RoadsOut, tags=["staff"])
def roads(request: HttpRequest) -> Any:
    """How fast the roads are, as routes are reckoned with."""
    return _roads(Policy.the())


@router.post("/roads", url_name="api-roads", response=RoadsOut, tags=["staff"])
def set_roads(request: HttpRequest, told: RoadsIn) -> Any:
    """Set how fast the roads are."""
    policy = Policy.the()
    stands = RoadsForm(policy, told.units).initial
    values = told.dict(exclude={"units", "slow_hours"}, exclude_none=True)
    if told.slow_hours is not None:
        values["slow_hours"] = "\n".join(told.slow_hours)
    form = RoadsForm(policy, told.units, as_form({**stands, **values}))
    checked(form)
    form.save()
    return _roads(Policy.the())


def _roads(policy: Policy) -> dict[str, Any]:
    return {
        "speed_mph": round(from_si(policy.road_speed_ms, "mile / hour", ROAD_SPEED), 3),
        "slow_hours": slow_hours.write(policy.slow_hours).splitlines(),
        "visit_notice_days": policy.visit_notice_days,
        "ways_observed": policy.ways_observed, "way_factor": policy.way_factor,
        "stays_observed": policy.stays_observed, "stay_factor": policy.stay_factor,
    }  # fmt: skip


@router.get("/sites/{pk}/hours", url_name="api-home-hours", response=HoursOut, tags=["record"])
def hours(request: HttpRequest, pk: Key) -> Any:
    """What suits a home; nothing of it on record: any day and hour, anybody."""
    return _hours(home_changes.hours_of(site_or_404(signed_in(request), pk)))


@router.post("/sites/{pk}/hours", url_name="api-home-hours", response=HoursOut, tags=["record"])
def set_hours(request: HttpRequest, pk: Key, told: HoursIn) -> Any:
    """Write down what suits a home; plans keep to it."""
    row = home_changes.hours_of(site_or_404(signed_in(request), pk))
    here = dict(Technician.objects.filter(gone_on=None).values_list("name", "pk"))
    if not set(told.not_by) <= here.keys():
        raise fault("not_by", _("No technician of that name is on record."))
    values = told.dict(exclude={"not_by"}) | {"not_by": [here[name] for name in told.not_by]}
    form = HomeHoursForm(as_form(values), instance=row)
    checked(form)
    return _hours(form.save())


def _hours(row: HomeHours) -> dict[str, Any]:
    not_by = list(row.not_by.order_by("name").values_list("name", flat=True)) if row.pk else []
    return {
        "weekdays": row.weekdays, "not_before": row.not_before, "not_after": row.not_after, "not_by": not_by,
    }  # fmt: skip
