"""Homes where nobody opened: how often, and what still waits there."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Q

from equipment.models import FilterChange, FilterSlot, Site
from schedules.models import Visit

# Older ones are told by the due dates alone.
_RECENT = timedelta(days=45)


@dataclass(frozen=True)
class ShutDoor:
    """The last visit to a home that ended at its door, how many in a row did, and the filters it was for."""

    visit: Visit
    times: int
    slots: list[FilterSlot]

    @property
    def site(self) -> Site:
        """The home."""
        return self.visit.site


def shut_doors(now: datetime) -> list[ShutDoor]:
    """Homes whose last visit found nobody and for which none is open; a fixed number of queries."""
    open_there = Count("site__visits", filter=Q(site__visits__state__in=Visit.OPEN))
    rows = (
        Visit.objects.filter(
            state=Visit.State.NO_ACCESS,
            completed_at__gte=now - _RECENT,
            site__customer__gone_on=None,
            site__vacant_since=None,
        )
        .annotate(open_there=open_there)
        .filter(open_there=0)
        .select_related("site__customer")
        .prefetch_related("jobs__slot__system__site", "jobs__slot__plan")
        .order_by("completed_at", "pk")
    )
    last = {visit.site_id: visit for visit in rows}
    ended = Visit.objects.filter(
        site__in=last, state__in=(Visit.State.COMPLETED, Visit.State.NO_ACCESS), completed_at__isnull=False
    )
    in_a_row: dict[int, int] = {}
    for site, state in ended.order_by("completed_at", "pk").values_list("site", "state"):
        in_a_row[site] = in_a_row.get(site, 0) + 1 if state == Visit.State.NO_ACCESS else 0
    doors = [
        ShutDoor(visit, in_a_row[site], [job.slot for job in visit.jobs.all() if job.slot])
        for site, visit in last.items()
        if in_a_row.get(site)
    ]
    changes = FilterChange.objects.filter(slot__in=[slot.pk for door in doors for slot in door.slots])
    changed = dict(changes.filter(undone_at=None).order_by("changed_at").values_list("slot", "changed_at"))
    return [door for door in doors if _waits(door, changed)]


def tries_at(sites: Iterable[int]) -> dict[int, list[Visit]]:
    """The visits since the last completed one that found nobody, by site, the newest first; one query."""
    ended = Visit.objects.filter(
        site__in=list(sites),
        state__in=(Visit.State.COMPLETED, Visit.State.NO_ACCESS),
        completed_at__isnull=False,
    )
    found: dict[int, list[Visit]] = {}
    for visit in ended.select_related("technician").order_by("completed_at", "pk"):
        if visit.state == Visit.State.COMPLETED:
            found.pop(visit.site_id, None)
        else:
            found.setdefault(visit.site_id, []).insert(0, visit)
    return found


def _waits(door: ShutDoor, changed: dict[int, datetime]) -> bool:
    """Whether something is left to be done there: not where the household changed all filters since."""
    since = door.visit.completed_at
    if since is None or not door.slots or door.visit.wanted or any(j.task_id for j in door.visit.jobs.all()):
        return True
    return any(slot.pk not in changed or changed[slot.pk] < since for slot in door.slots)
