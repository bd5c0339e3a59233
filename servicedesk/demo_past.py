"""The demo's visits of the past year: whoever changed a filter was there."""

from collections.abc import Iterable, Iterator
from datetime import date, datetime, timedelta
from itertools import groupby
from zlib import crc32

from equipment.models import Desk, FilterChange, FilterSlot
from schedules.models import Technician, Visit, VisitJob
from shared import clock

_BACK_DAYS, _FIRST_HOUR = 330, 8.7
_EVERY_NTH_SHUT = 13
Group = list[FilterChange]


def add_past(today: date) -> int:
    """Store the visits at which technicians changed filters; how many."""
    changes = FilterChange.objects.filter(
        changed_by=FilterSlot.ChangedBy.TECHNICIAN,
        undone_at=None,
        changed_on__range=(today - timedelta(days=_BACK_DAYS), today - timedelta(days=1)),
    ).select_related("slot__system")
    rows = changes.order_by("changed_on", "slot__system__site", "slot")
    staff = list(Technician.objects.order_by("name"))
    made = 0
    for day, of_day in groupby(rows, lambda row: row.changed_on):
        made += _round(day, list(_by_site(of_day)), staff[day.toordinal() % len(staff)], made)
    return made


def _by_site(changes: Iterable[FilterChange]) -> Iterator[Group]:
    for _site, some in groupby(changes, lambda row: row.slot.system.site_id):
        yield list(some)


def _round(day: date, homes: list[Group], who: Technician, made: int) -> int:
    """The stops of one day, one after the other."""
    at = clock.start_of_day(day, Desk.the().zone) + timedelta(hours=_FIRST_HOUR)
    for number, changes in enumerate(homes):
        chance = _chance(changes[0])
        arrives = at + timedelta(minutes=12 + chance % 14)
        at = arrives + timedelta(minutes=14 + 9 * len(changes) + chance % 11)
        _visit(changes, Visit(day=day, technician=who, arrived_at=arrives, completed_at=at))
        if (made + number) % _EVERY_NTH_SHUT == _EVERY_NTH_SHUT - 1:
            _shut(changes, who, arrives - timedelta(days=1), day - timedelta(days=1))
    return len(homes)


def _visit(changes: Group, visit: Visit) -> None:
    visit.site_id, visit.state = changes[0].slot.system.site_id, Visit.State.COMPLETED
    visit.save()
    VisitJob.objects.bulk_create([VisitJob(visit=visit, slot=row.slot, done=True) for row in changes])


def _shut(changes: Group, who: Technician, at: datetime, day: date) -> None:
    visit = Visit.objects.create(
        site_id=changes[0].slot.system.site_id, state=Visit.State.NO_ACCESS, day=day, technician=who,
        arrived_at=at, completed_at=at + timedelta(minutes=5),
    )  # fmt: skip
    VisitJob.objects.bulk_create([VisitJob(visit=visit, slot=row.slot) for row in changes])


def _chance(change: FilterChange) -> int:
    return crc32(f"{change.slot.name} {change.changed_on}".encode())
