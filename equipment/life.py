"""Life events: people move, houses stand empty, systems are replaced. Nothing is deleted."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import QuerySet
from simple_history.utils import bulk_update_with_history

from equipment.models import FilterSlot, LifeEvent, Person, Site, SiteRole, System, User
from equipment.record import NotRecordable, stamp_site


@dataclass(frozen=True)
class Happening:
    """An event to record: what, when, and the part of the site it touches."""

    kind: str
    on: date
    note: str = ""
    system: System | None = None
    slot: FilterSlot | None = None
    person: Person | None = None


def record_event(site: Site, happening: Happening, user: User | None, now: datetime) -> LifeEvent:
    """Write the event down and carry it out on the record, both or neither.

    Raises NotRecordable where the event names no system, slot or person that it needs.
    """
    with transaction.atomic():
        _CARRY_OUT[happening.kind](site, happening)
        event = LifeEvent.objects.create(
            site=site,
            kind=happening.kind,
            on=happening.on,
            note=happening.note,
            system=happening.system,
            slot=happening.slot,
            person=happening.person,
            recorded_by=user,
        )
        stamp_site(site.pk, now)
    return event


def end_roles(roles: QuerySet[SiteRole], on: date) -> None:
    """End those of the roles that have not ended, each with its history."""
    rows = list(roles.filter(until=None))
    for row in rows:
        row.until = on
    bulk_update_with_history(rows, SiteRole, ["until"])


def _moved_out(site: Site, happening: Happening) -> None:
    if happening.person is None:
        raise NotRecordable("say who moved out")
    end_roles(SiteRole.objects.filter(site=site, person=happening.person), happening.on)


def _vacant(site: Site, happening: Happening) -> None:
    site.vacant_since = happening.on
    site.save(update_fields=["vacant_since"])


def _lived_in(site: Site, happening: Happening) -> None:
    site.vacant_since = None
    site.save(update_fields=["vacant_since"])


def _system_replaced(site: Site, happening: Happening) -> None:
    if happening.system is None:
        raise NotRecordable("say which system was replaced")
    happening.system.replaced_on = happening.on
    happening.system.save(update_fields=["replaced_on"])


def _slot_retired(site: Site, happening: Happening) -> None:
    if happening.slot is None:
        raise NotRecordable("say which filter slot was retired")
    happening.slot.retired_on = happening.on
    happening.slot.save(update_fields=["retired_on"])


def _customer_gone(site: Site, happening: Happening) -> None:
    site.customer.gone_on = happening.on
    site.customer.save(update_fields=["gone_on"])


_CARRY_OUT: dict[str, Callable[[Site, Happening], None]] = {
    LifeEvent.Kind.MOVED_OUT.value: _moved_out,
    LifeEvent.Kind.VACANT.value: _vacant,
    LifeEvent.Kind.LIVED_IN.value: _lived_in,
    LifeEvent.Kind.SYSTEM_REPLACED.value: _system_replaced,
    LifeEvent.Kind.SLOT_RETIRED.value: _slot_retired,
    LifeEvent.Kind.CUSTOMER_GONE.value: _customer_gone,
}
