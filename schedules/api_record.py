"""The record for programs: homes, systems, readings, changes and fan hours, to read. A list that names none
of them holds the homes of ``contacts.listed_sites``.
"""

from datetime import date
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest
from django.utils import timezone
from ninja import Router, Schema

from equipment.access import signed_in, visible_sites
from equipment.api import ReadingOut
from equipment.fan_log import fan_log
from equipment.models import FilterChange, Reading, RuntimeDay, Site, System
from schedules.contacts import listed_sites
from shared.asked_days import Day
from shared.paging import Page, Paged, page_of

router = Router()


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


def homes_for(request: HttpRequest, named: str = "") -> QuerySet[Site]:
    """The homes that whoever asks may read of: of one asked for by name, or by a part of it, any that they
    see."""
    user = signed_in(request)
    return visible_sites(user) if named else listed_sites(user, timezone.now())


@router.get("/sites", url_name="api-sites", response=Page[SiteOut], tags=["record"])
def sites(request: HttpRequest, paged: Paged, city: str = "") -> Any:
    """Homes, by name."""
    rows = homes_for(request).select_related("customer").order_by("name", "pk")
    return page_of(rows.filter(city__icontains=city) if city else rows, paged)


@router.get("/systems", url_name="api-systems", response=Page[SystemOut], tags=["record"])
def systems(request: HttpRequest, paged: Paged, site: str = "") -> Any:
    """Systems of homes, by name."""
    rows = System.objects.filter(site__in=homes_for(request, site)).select_related("site")
    return page_of((rows.filter(site__name=site) if site else rows).order_by("name", "pk"), paged)


@router.get("/readings", url_name="api-readings", response=Page[ReadingOut], tags=["record"])
def readings(request: HttpRequest, paged: Paged, filter_slot: str = "", since: Day | None = None) -> Any:
    """Readings, the oldest first."""
    rows = Reading.objects.filter(slot__system__site__in=homes_for(request, filter_slot))
    rows = rows.filter(slot__name=filter_slot) if filter_slot else rows
    rows = rows.filter(taken_at__date__gte=since) if since else rows
    return page_of(rows.select_related("slot").order_by("taken_at", "pk"), paged)


@router.get("/changes", url_name="api-changes", response=Page[ChangeOut], tags=["record"])
def changes(request: HttpRequest, paged: Paged, filter_slot: str = "", since: Day | None = None) -> Any:
    """Changes that stand, the oldest first."""
    seen = homes_for(request, filter_slot)
    rows = FilterChange.objects.filter(slot__system__site__in=seen, undone_at=None)
    rows = rows.filter(slot__name=filter_slot) if filter_slot else rows
    rows = rows.filter(changed_on__gte=since) if since else rows
    return page_of(rows.select_related("slot", "media").order_by("changed_at", "pk"), paged)


@router.get("/runtime", url_name="api-runtime", response=Page[DayOut], tags=["record"])
def runtime(request: HttpRequest, paged: Paged, system: str = "", since: Day | None = None) -> Any:
    """Fan hours by day, the oldest first: of a system that is named all of them, of all systems the days that
    are not folded yet (two months at least)."""
    seen = homes_for(request, system)
    if system:
        mine = System.objects.filter(site__in=seen, name=system).first()
        return page_of(_days_of(mine, since or date.min) if mine else [], paged)
    rows = RuntimeDay.objects.filter(system__site__in=seen).select_related("system")
    rows = rows.filter(day__gte=since) if since else rows
    return page_of(rows.order_by("day", "pk"), paged)


def _days_of(system: System, since: date) -> list[RuntimeDay]:
    days = sorted(fan_log([system.pk], date.max, since=since).by_day().items())
    return [RuntimeDay(system=system, day=day, fan_hours=hours) for (_system, day), hours in days]
