"""What is measured of a system's air side and what its papers say, written down; the dates follow."""

from datetime import datetime

from django.db import transaction
from django.utils.translation import gettext as _

from equipment.commissioning import Measured, carry_again, record_air, take_back
from equipment.models import AirRecord, FilterSlot, System, User
from equipment.record import NotRecordable, stamp_site
from schedules import due
from schedules.air_forms import PapersForm


def slots_of(system: System) -> list[FilterSlot]:
    """The system's filters in use, by name."""
    rows = FilterSlot.objects.in_use().filter(system=system)
    return list(rows.select_related("plan").order_by("name"))


def measure(system: System, told: Measured, user: User, now: datetime) -> None:
    """Write today's measurements down. Raises NotRecordable, also where there is no figure."""
    if not told.of_the_system and told.filter_drop_pa is None:
        raise NotRecordable(_("Write at least one figure down."))
    record_air(system, told, now, user, now)
    due.replan(now, FilterSlot.objects.filter(system=system))


def withdraw(row: AirRecord, now: datetime) -> None:
    """Take a measurement back that was none."""
    take_back(row, now)
    due.replan(now, FilterSlot.objects.filter(system=row.system_id))


def write_papers(form: PapersForm, now: datetime) -> None:
    """Store what a valid form says of papers and ducts."""
    system = form.system
    form.apply_to(system)
    carry_again(system)
    with transaction.atomic():
        system.save()
        system.site.save(update_fields=["altitude_m"])
        for slot in form.slots:
            slot.save(update_fields=["opening_short_m", "opening_long_m", "limit_drop_pa"])
        stamp_site(system.site_id, now)
    due.replan(now, FilterSlot.objects.filter(system=system))
