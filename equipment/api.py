"""The record for programs: what devices post, and sites, systems, readings and changes to read."""

from datetime import date, datetime
from typing import Any

from django.http import Http404, HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema
from pydantic import FiniteFloat, model_validator

from equipment.access import signed_in, visible_sites
from equipment.device_posts import DayPosted, ReadingPosted, take
from equipment.fan_log import fan_log
from equipment.models import Device, FilterChange, Reading, RuntimeDay, Site, System
from shared.asked_days import Day, Instant
from shared.paging import Page, Paged, page_of
from shared.units import M3S_PER_CFM, PA_PER_INWC, cfm, inwc

MOST_ROWS = 5000
router = Router()


class DayIn(Schema):
    """Fan hours of a local day."""

    day: Day
    fan_hours: FiniteFloat


class ReadingIn(Schema):
    """A drop in one of two units, with an airflow in one of two or none."""

    taken_at: Instant
    filter_slot: str = Field("", max_length=120)
    filter_drop_pa: FiniteFloat | None = None
    filter_drop_inwc: FiniteFloat | None = None
    airflow_m3s: FiniteFloat | None = None
    airflow_cfm: FiniteFloat | None = None

    @model_validator(mode="after")
    def in_one_unit(self) -> "ReadingIn":
        """Exactly one drop, at most one airflow."""
        if (self.filter_drop_pa is None) == (self.filter_drop_inwc is None):
            raise ValueError(_("give the drop once: filter_drop_pa or filter_drop_inwc"))
        if self.airflow_m3s is not None and self.airflow_cfm is not None:
            raise ValueError(_("give the airflow once: airflow_m3s or airflow_cfm"))
        return self

    @property
    def posted(self) -> ReadingPosted:
        """The same in SI."""
        drop = self.filter_drop_pa if self.filter_drop_inwc is None else inwc(self.filter_drop_inwc)
        flow = self.airflow_m3s if self.airflow_cfm is None else cfm(self.airflow_cfm)
        return ReadingPosted(self.taken_at, drop or 0.0, flow, self.filter_slot)


class BatchIn(Schema):
    """What a device has gathered since it last got through; rows may come late, out of order and twice."""

    runtime: list[DayIn] = Field(default_factory=list, max_length=MOST_ROWS)
    readings: list[ReadingIn] = Field(default_factory=list, max_length=MOST_ROWS)


class RefusedOut(Schema):
    """A row that was not taken: of which list, its place from nought, why."""

    of: str
    row: int
    why: str


class OutcomeOut(Schema):
    """How many rows are new, put a day right, were known; which were refused."""

    stored: int
    changed: int
    known: int
    refused: list[RefusedOut]


@router.post("/devices/batch", url_name="api-device-batch", response=OutcomeOut, tags=["devices"])
def device_batch(request: HttpRequest, batch: BatchIn) -> Any:
    """Store a device's batch: each row by itself, the same rows only once."""
    device = getattr(request, "device", None)
    if not isinstance(device, Device):
        raise Http404
    days = [DayPosted(one.day, one.fan_hours) for one in batch.runtime]
    return take(device, days, [one.posted for one in batch.readings], timezone.now())


class SiteOut(Schema):
    """A home."""

    id: int
    name: str
    customer: str
    street: str
    city: str
    region: str
    postcode: str
    latitude: float | None
    longitude: float | None
    timezone: str

    @staticmethod
    def resolve_customer(site: Site) -> str:
        return site.customer.name


class SystemOut(Schema):
    """A system of a home; airflow in cfm, capacity in tons, as its papers have them."""

    id: int
    name: str
    site: str
    kind: str
    blower: str
    replaced_on: date | None

    @staticmethod
    def resolve_site(system: System) -> str:
        return system.site.name


class ReadingOut(Schema):
    """A reading of a filter."""

    filter_slot: str
    taken_at: datetime
    filter_drop_inwc: float
    airflow_cfm: float | None

    @staticmethod
    def resolve_filter_slot(row: Reading) -> str:
        return row.slot.name

    @staticmethod
    def resolve_filter_drop_inwc(row: Reading) -> float:
        return round(row.filter_drop_pa / PA_PER_INWC, 6)

    @staticmethod
    def resolve_airflow_cfm(row: Reading) -> float | None:
        return None if row.airflow_m3s is None else round(row.airflow_m3s / M3S_PER_CFM, 6)


class ChangeOut(Schema):
    """A change of a filter that stands; ``told``: how it is known."""

    id: int
    filter_slot: str
    changed_on: date
    media: str | None
    changed_by: str
    told: str

    @staticmethod
    def resolve_filter_slot(row: FilterChange) -> str:
        return row.slot.name

    @staticmethod
    def resolve_media(row: FilterChange) -> str | None:
        return row.media.name if row.media else None


class DayOut(Schema):
    """Fan hours of a system's local day."""

    system: str
    day: date
    fan_hours: float

    @staticmethod
    def resolve_system(row: RuntimeDay) -> str:
        return row.system.name


@router.get("/sites", url_name="api-sites", response=Page[SiteOut], tags=["record"])
def sites(request: HttpRequest, paged: Paged, city: str = "") -> Any:
    """Homes, by name."""
    rows = visible_sites(signed_in(request)).select_related("customer").order_by("name", "pk")
    return page_of(rows.filter(city__icontains=city) if city else rows, paged)


@router.get("/systems", url_name="api-systems", response=Page[SystemOut], tags=["record"])
def systems(request: HttpRequest, paged: Paged, site: str = "") -> Any:
    """Systems of homes, by name."""
    rows = System.objects.filter(site__in=visible_sites(signed_in(request))).select_related("site")
    return page_of((rows.filter(site__name=site) if site else rows).order_by("name", "pk"), paged)


@router.get("/readings", url_name="api-readings", response=Page[ReadingOut], tags=["record"])
def readings(request: HttpRequest, paged: Paged, filter_slot: str = "", since: Day | None = None) -> Any:
    """Readings, the oldest first."""
    rows = Reading.objects.filter(slot__system__site__in=visible_sites(signed_in(request)))
    rows = rows.filter(slot__name=filter_slot) if filter_slot else rows
    rows = rows.filter(taken_at__date__gte=since) if since else rows
    return page_of(rows.select_related("slot").order_by("taken_at", "pk"), paged)


@router.get("/changes", url_name="api-changes", response=Page[ChangeOut], tags=["record"])
def changes(request: HttpRequest, paged: Paged, filter_slot: str = "", since: Day | None = None) -> Any:
    """Changes that stand, the oldest first."""
    seen = visible_sites(signed_in(request))
    rows = FilterChange.objects.filter(slot__system__site__in=seen, undone_at=None)
    rows = rows.filter(slot__name=filter_slot) if filter_slot else rows
    rows = rows.filter(changed_on__gte=since) if since else rows
    return page_of(rows.select_related("slot", "media").order_by("changed_at", "pk"), paged)


@router.get("/runtime", url_name="api-runtime", response=Page[DayOut], tags=["record"])
def runtime(request: HttpRequest, paged: Paged, system: str = "", since: Day | None = None) -> Any:
    """Fan hours by day, the oldest first: of a system that is named all of them, of all systems the days that
    are not folded yet (two months at least)."""
    seen = visible_sites(signed_in(request))
    if system:
        mine = System.objects.filter(site__in=seen, name=system).first()
        return page_of(_days_of(mine, since or date.min) if mine else [], paged)
    rows = RuntimeDay.objects.filter(system__site__in=seen).select_related("system")
    rows = rows.filter(day__gte=since) if since else rows
    return page_of(rows.order_by("day", "pk"), paged)


def _days_of(system: System, since: date) -> list[RuntimeDay]:
    days = sorted(fan_log([system.pk], date.max, since=since).by_day().items())
    return [RuntimeDay(system=system, day=day, fan_hours=hours) for (_system, day), hours in days]
