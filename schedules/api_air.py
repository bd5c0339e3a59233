"""The air side by program: what was measured of a system, its papers and ducts, and how high a filter is."""

from datetime import datetime
from typing import Any, Literal

from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema

from equipment.access import signed_in
from equipment.models import AirRecord, FilterSlot, System
from schedules import air_changes
from schedules.air_forms import MOST_RETURNS, AirForm, PapersForm
from schedules.api_record import homes_for
from schedules.reading_form import HeightForm
from shared.asked_days import Key
from shared.form_bodies import Figure, Units, as_form, checked, fault
from shared.paging import Page, Paged, page_of
from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC

router = Router()
MOST_SLOTS = 60


class AirRecordOut(Schema):
    """What was measured of a system at one moment; statics and drop in in. w.c., airflow in cfm."""

    id: int
    system: str
    measured_at: datetime
    airflow_cfm: float | None
    return_static_inwc: float | None
    supply_static_inwc: float | None
    filter_drop_inwc: float | None
    airflow_method: str
    blower_tap: str
    coil: str

    @staticmethod
    def resolve_system(row: AirRecord) -> str:
        return row.system.name

    @staticmethod
    def resolve_airflow_cfm(row: AirRecord) -> float | None:
        return None if row.airflow_m3s is None else round(row.airflow_m3s / M3S_PER_CFM, 6)

    @staticmethod
    def resolve_return_static_inwc(row: AirRecord) -> float | None:
        return _inwc(row.return_static_pa)

    @staticmethod
    def resolve_supply_static_inwc(row: AirRecord) -> float | None:
        return _inwc(row.supply_static_pa)

    @staticmethod
    def resolve_filter_drop_inwc(row: AirRecord) -> float | None:
        return _inwc(row.filter_drop_pa)


def _inwc(pascal: float | None) -> float | None:
    return None if pascal is None else round(pascal / PA_PER_INWC, 6)


class MeasuredIn(Schema):
    """What is measured now; ``filter_in``: where the return static was read, with the filter in or out."""

    units: Units = "ip"
    filter_drop: Figure | None = None
    return_static: Figure | None = None
    filter_in: Literal["in", "out"] | None = None
    supply_static: Figure | None = None
    airflow: Figure | None = None
    airflow_method: str = Field("", max_length=80)
    coil: str = Field("", max_length=20)
    blower_tap: str = Field("", max_length=40)
    sure: bool = False


class SlotPapersIn(Schema):
    """A filter's own limit and the opening behind its grille; left out it stays, empty text takes it away."""

    filter_slot: str = Field(max_length=120)
    limit: Figure | None = None
    opening_short: Figure | None = None
    opening_long: Figure | None = None


class DuctIn(Schema):
    """A return duct; ``kind``: nothing for sheet metal, else the share by which a flexible one is pressed."""

    diameter: Figure
    length: Figure | None = None
    kind: str = Field("", max_length=10)


class PapersIn(Schema):
    """What a system's papers and ducts say. What is left out stays; an empty text takes it away; ``ducts``
    are told all together."""

    units: Units = "ip"
    kind: str | None = Field(None, max_length=20)
    blower: str | None = Field(None, max_length=20)
    blower_table: str | None = Field(None, max_length=2000)
    capacity: Figure | None = None
    design_airflow: Figure | None = None
    airflow_floor: Figure | None = None
    rated_static: Figure | None = None
    return_budget: Figure | None = None
    altitude: Figure | None = None
    filters: list[SlotPapersIn] = Field(default_factory=list, max_length=MOST_SLOTS)
    ducts: list[DuctIn] | None = Field(None, max_length=MOST_RETURNS)
    sure: bool = False


class PapersOut(Schema):
    """What was written down of a system."""

    id: int
    name: str
    kind: str
    blower: str


class TakenBackOut(Schema):
    """A measurement that counts no more."""

    id: int
    taken_back: bool


class HeightIn(Schema):
    """How high above the floor, in feet or metres by ``units``; empty text: not known."""

    units: Units = "ip"
    height: Figure


class HeightOut(Schema):
    """How high a filter is above the floor."""

    filter_slot: str
    height_ft: float | None


@router.get("/air-records", url_name="api-air-records", response=Page[AirRecordOut], tags=["air side"])
def air_records(request: HttpRequest, paged: Paged, system: str = "") -> Any:
    """What was measured of systems, the newest first."""
    rows = AirRecord.objects.filter(system__site__in=homes_for(request, system))
    rows = rows.select_related("system").order_by("-measured_at", "-pk")
    return page_of(rows.filter(system__name=system) if system else rows, paged)


@router.post("/systems/{pk}/measured", url_name="api-air-measured", response=PapersOut, tags=["air side"])
def measured(request: HttpRequest, pk: Key, told: MeasuredIn) -> Any:
    """Write down what is measured of a system now; limits and dates follow."""
    system = _system(pk)
    form = AirForm(system, told.units, as_form(told.dict(exclude={"units"})))
    checked(form)
    air_changes.measure(system, form.measured(), signed_in(request), timezone.now())
    return system


@router.post(
    "/air-records/{pk}/taken-back", url_name="api-air-withdrawn", response=TakenBackOut, tags=["air side"]
)
def withdrawn(request: HttpRequest, pk: Key) -> Any:
    """Take a measurement back that was none; what was measured before counts again."""
    row = get_object_or_404(AirRecord.objects.select_related("system"), pk=pk)
    air_changes.withdraw(row, timezone.now())
    return TakenBackOut(id=pk, taken_back=True)


@router.post("/systems/{pk}/papers", url_name="api-air-papers", response=PapersOut, tags=["air side"])
def papers(request: HttpRequest, pk: Key, told: PapersIn) -> Any:
    """Write down what a system's papers say and its ducts measure; limits and dates follow."""
    system = _system(pk)
    slots = air_changes.slots_of(system)
    # The page sends every field as it stands, and so what is left out here.
    values: dict[str, Any] = dict(PapersForm(told.units, system, slots).initial)
    values.update(told.dict(exclude={"units", "filters", "ducts"}, exclude_none=True))
    places = {**_filters(told, slots, values), **_ducts(told, values)}
    form = PapersForm(told.units, system, slots, as_form(values))
    checked(form, names=places)
    air_changes.write_papers(form, timezone.now())
    return system


def _filters(told: PapersIn, slots: list[FilterSlot], values: dict[str, Any]) -> dict[str, str]:
    """Put what is told of filters into the form's values; where each of its fields stands in the body."""
    keys, places = {slot.name: slot.pk for slot in slots}, {}
    for place, one in enumerate(told.filters):
        key = keys.get(one.filter_slot)
        if key is None:
            raise fault(f"filters/{place}/filter_slot", _("No filter of that name is in use there."))
        fields = {"limit": f"limit{key}"}
        fields |= {f"opening_{side}": f"opening{key}_{side}" for side in ("short", "long")}
        for name, field in fields.items():
            places[field] = f"filters/{place}/{name}"
            if getattr(one, name) is not None:
                values[field] = getattr(one, name)
    return places


def _ducts(told: PapersIn, values: dict[str, Any]) -> dict[str, str]:
    """The same of all return ducts together."""
    places: dict[str, str] = {}
    if told.ducts is None:
        return places
    values.update({name: "" for name in values if name.startswith("duct")})
    for place, duct in enumerate(told.ducts):
        for name in ("diameter", "length", "kind"):
            field = f"duct{place + 1}_{name}"
            places[field], values[field] = f"ducts/{place}/{name}", getattr(duct, name)
    return places


@router.post("/filters/{name}/height", url_name="api-filter-height", response=HeightOut, tags=["record"])
def height(request: HttpRequest, name: str, told: HeightIn) -> Any:
    """Write down how high above the floor a filter is."""
    slot = FilterSlot.objects.in_use().filter(name=name).first()
    if slot is None:
        raise Http404
    form = HeightForm(slot, told.units, as_form(told.dict(exclude={"units"})))
    slot.height_m = checked(form)["height"]
    slot.save(update_fields=["height_m"])
    high = None if slot.height_m is None else round(slot.height_m / METRE_PER_INCH / 12, 3)
    return HeightOut(filter_slot=name, height_ft=high)


def _system(pk: int) -> System:
    return get_object_or_404(System.objects.select_related("site__customer"), pk=pk)
