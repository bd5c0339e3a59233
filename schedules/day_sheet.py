"""What a technician reads on the day, stop by stop: dangers, filters, what the meter should show."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import OuterRef, Subquery
from django.utils import formats
from django.utils.translation import gettext as _

from equipment.models import Desk, FilterSlot, Person, Reading
from schedules import defects, due
from schedules.drop_today import drops_today
from schedules.emails import FilterLine, filter_lines
from schedules.explain import say_day
from schedules.finding_words import Said, say_all
from schedules.models import Technician, Visit
from schedules.no_access import tries_at
from schedules.stop_cautions import access_notes_of, cautions_of
from schedules.visit_notices import readers_of, told_by_visit
from schedules.visit_promises import Promise, still_true
from shared import clock
from shared.units import PRESSURE, show


@dataclass(frozen=True)
class FilterHere:
    """A filter of a stop: what goes in, what was read last, what should be read today, the limit."""

    line: FilterLine
    last: str
    today: str
    limit: str
    findings: list[Said]

    @property
    def slot(self) -> FilterSlot:
        """Its slot."""
        return self.line.slot


@dataclass(frozen=True)
class Stop:
    """One visit of the day; ``told`` is the hours that the household expects, empty where it was told none.

    ``tries`` are the visits before it that found nobody; ``access`` is how to get in, ``shut`` whether notes
    exist that are not shown on this day.
    """

    visit: Visit
    told: str
    cautions: list[str]
    access: list[str]
    shut: bool
    filters: list[FilterHere]
    advice: list[defects.Advice]
    tries: list[Visit]
    person: Person | None


@dataclass(frozen=True)
class Reader:
    """Who reads the sheet: units, and whether notes about the way in are shown on any day."""

    units: str
    reads_all: bool = False


def stops_of(technician: Technician, on: date) -> list[Visit]:
    """The day's visits in their order, those without a place in it last."""
    rows = (
        Visit.objects.filter(technician=technician, day=on)
        .exclude(state=Visit.State.CANCELLED)
        .select_related("site__customer", "technician")
        .prefetch_related(
            "jobs__slot__system__site", "jobs__slot__plan", "jobs__slot__first_media", "jobs__task"
        )
    )
    return sorted(rows, key=_place_in_day)


def _place_in_day(visit: Visit) -> tuple[bool, float, int]:
    """What is over by when it was over, then what is to come in its order, then what has no place."""
    if not visit.is_open and visit.completed_at:
        return (False, -1 / visit.completed_at.timestamp(), visit.pk)
    return (visit.stop_number is None, float(visit.stop_number or 0), visit.pk)


def sheet(visits: Sequence[Visit], now: datetime, reader: Reader) -> list[Stop]:
    """The stops with all that is to be known at each; a fixed number of queries, however many."""
    slots = [job.slot for visit in visits if visit.is_open for job in visit.jobs.all() if job.slot]
    here = _filters(slots, now, reader.units)
    sites = [visit.site_id for visit in visits]
    told, people = told_by_visit({visit.pk for visit in visits}), readers_of(sites)
    tries = tries_at(sites)
    seen, today, zone = defects.open_at(sites), due.today(now), Desk.the().zone
    found = []
    for visit in visits:
        access = access_notes_of(visit, today, reads_all=reader.reads_all)
        every = access_notes_of(visit, today, reads_all=True)
        found.append(
            Stop(
                visit=visit,
                told=_told_hours(visit, told.get(visit.pk), zone),
                cautions=cautions_of(visit, reader.units),
                access=access,
                shut=bool(every) and not access and visit.is_open,
                filters=[here[job.slot_id] for job in visit.jobs.all() if job.slot_id in here],
                advice=[defects.advice_on(row.kind) for row in seen.get(visit.site_id, [])],
                tries=[one for one in tries.get(visit.site_id, []) if one.pk != visit.pk and visit.is_open],
                person=people.get(visit.site_id),
            )
        )
    return found


def _told_hours(visit: Visit, told: Promise | None, zone: ZoneInfo) -> str:
    """Such as ``9:00–11:00``; empty where nothing was told, or what was told holds no more."""
    if told is None or not visit.is_open or told.first is None or told.last is None:
        return ""
    if not still_true(told, visit, zone):
        return ""
    return "–".join(formats.date_format(at.astimezone(zone), "H:i") for at in (told.first, told.last))


def _filters(slots: Sequence[FilterSlot], now: datetime, units: str) -> dict[int, FilterHere]:
    lines, spans, last = filter_lines(list(slots), now, units), drops_today(slots, now), _last_read(slots)
    desk_zone = Desk.the().timezone
    found = {}
    for line in lines:
        slot, read, span = line.slot, last.get(line.slot.pk), spans.get(line.slot.pk)
        plan = getattr(slot, "plan", None)
        findings = say_all(plan.findings, units) if plan else []
        found[slot.pk] = FilterHere(
            line=line,
            last=_say_reading(read, slot.system.site.zone(desk_zone), units) if read else "",
            today=span.say(units) if span else "",
            limit=show(plan.limit_drop_pa, PRESSURE, units) if plan and plan.limit_drop_pa else "",
            findings=[said for said in findings if said.present],
        )
    return found


def _say_reading(read: Reading, zone: ZoneInfo, units: str) -> str:
    said = {"day": say_day(clock.local_day(read.taken_at, zone))}
    return _("%(drop)s on %(day)s") % {**said, "drop": show(read.filter_drop_pa, PRESSURE, units)}


def _last_read(slots: Sequence[FilterSlot]) -> dict[int, Reading]:
    """The newest reading of each slot; one query."""
    newest = Reading.objects.filter(slot=OuterRef("slot")).order_by("-taken_at").values("pk")[:1]
    rows = Reading.objects.filter(slot__in=[slot.pk for slot in slots], pk=Subquery(newest))
    return {row.slot_id: row for row in rows}
