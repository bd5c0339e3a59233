"""The rows behind the lives of some slots, in a fixed number of queries and with little made of each."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date, datetime
from typing import NamedTuple, TypeVar

from django.db import models

from equipment import bulk_read
from equipment.models import Customer, FilterChange, FilterSlot, Reading, Site, Station, System

Row = TypeVar("Row", bound=models.Model)


class Change(NamedTuple):
    """One change on record that was not taken back."""

    slot_id: int
    changed_on: date
    changed_at: datetime
    media_id: int | None


# Instant, drop in Pa, airflow in m3/s or None.
Read = tuple[datetime, float, float | None]


def slots_of(system_ids: Sequence[int]) -> list[FilterSlot]:
    """The slots of some systems by name, each with its system, site, customer and station at hand.

    What many slots share is one object: joined to each slot it would cost more than the slots. The slots come
    first: what is read after their stamps is at least as new as these, and what is newer is planned again.
    """
    slots = bulk_read.objects(bulk_read.among(FilterSlot.objects.order_by("name"), "system_id", system_ids))
    systems = _by_key(System, system_ids)
    sites = _by_key(Site, {system.site_id for system in systems.values()})
    customers = _by_key(Customer, {site.customer_id for site in sites.values()})
    stations = _by_key(Station, {site.station_id for site in sites.values() if site.station_id})
    for site in sites.values():
        site.customer = customers[site.customer_id]
        site.station = stations[site.station_id] if site.station_id else None
    for system in systems.values():
        system.site = sites[system.site_id]
    kept = [slot for slot in slots if slot.system_id in systems]
    for slot in kept:
        slot.system = systems[slot.system_id]
    return kept


def systems_of_home(slot: FilterSlot) -> list[int]:
    """The systems of a slot's home, whose slots hear of each other's dust."""
    return list(System.objects.filter(site=slot.system.site_id).order_by("pk").values_list("pk", flat=True))


def _by_key(model: type[Row], keys: Iterable[int]) -> dict[int, Row]:
    rows = bulk_read.among(model._default_manager.order_by(), "id", keys)
    return {row.pk: row for row in bulk_read.objects(rows)}


def changes_of(slot_ids: Iterable[int], as_of: date) -> dict[int, list[Change]]:
    """Each slot's changes up to the day, the first one first."""
    rows = bulk_read.among(
        FilterChange.objects.filter(undone_at=None, changed_on__lte=as_of), "slot_id", slot_ids
    )
    found: dict[int, list[Change]] = defaultdict(list)
    told = rows.order_by("changed_at").values_list("slot_id", "changed_on", "changed_at", "media_id")
    for row in bulk_read.tuples(told):
        found[row[0]].append(Change(*row))
    return found


def readings_of(slot_ids: Iterable[int]) -> dict[int, list[Read]]:
    """Each slot's readings, the first one first."""
    rows = bulk_read.among(Reading.objects.order_by("taken_at"), "slot_id", slot_ids)
    found: dict[int, list[Read]] = defaultdict(list)
    told = rows.values_list("slot_id", "taken_at", "filter_drop_pa", "airflow_m3s")
    for slot, at, drop, airflow in bulk_read.tuples(told):
        found[slot].append((at, drop, airflow))
    return found
