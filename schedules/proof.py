"""What was done at a home, as it stands on record: changes, readings, visits, work, air measured, filters in
for a while and defects, known from whom, and when it was written down. What was taken back and what was put
right stay, and are told as such.
"""

from collections.abc import Iterator
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from equipment.models import Desk, FilterChange, FilterSlot, Media, Reading, Site
from schedules import done_besides, done_by_desk
from schedules.done_entry import Entry, written
from schedules.explain import say_day
from schedules.household_acts import alike, place_of
from schedules.models import TaskDone, Visit
from shared import clock
from shared.units import PRESSURE, show


def done_at(
    site: Site, units: str, first: date | None = None, last: date | None = None, *, to_managers: bool = False
) -> list[Entry]:
    """Everything done at the home from ``first`` to ``last`` (None: whenever), newest first;
    ``to_managers`` with what the desk itself wrote down of it."""
    zone, where = site.zone(Desk.the().timezone), _places(site)
    entries = [
        *_changes(site, zone, where),
        *_readings(site, zone, where, units),
        *_visits(site, zone),
        *_tasks(site),
        *done_besides.air(site, zone, units),
        *done_besides.meanwhiles(site, zone, where),
        *done_besides.defects(site, zone),
    ]
    if to_managers:
        parts = (done_by_desk.roles, done_by_desk.hours, done_by_desk.dust)
        entries += [row for part in parts for row in part(site, zone)]
    inside = [row for row in entries if (first or date.min) <= row.day <= (last or date.max)]
    return sorted(inside, key=lambda row: (row.day, row.where, row.what), reverse=True)


def _places(site: Site) -> dict[int, str]:
    """Where each filter of the home is, those out of use too; with its code where that is not enough."""
    slots = list(FilterSlot.objects.filter(system__site=site))
    same = alike(slots)
    return {slot.pk: place_of(slot, same) for slot in slots}


def _changes(site: Site, zone: ZoneInfo, where: dict[int, str]) -> Iterator[Entry]:
    rows = FilterChange.objects.filter(slot__system__site=site)
    before = _changes_before(site)
    for row in rows.select_related("slot", "media", "recorded_by__person").order_by("changed_at"):
        now = _change_words(row.changed_on, _filter(row.slot.nominal_size, row.media), row.told)
        was = [words for words in before.get(row.pk, []) if words != now]
        said = _("Filter changed: %(what)s") % {"what": _filter(row.slot.nominal_size, row.media)}
        if was:
            said += _(" (put right; before: %(drops)s)") % {"drops": "; ".join(was)}
        yield Entry(
            row.changed_on,
            where[row.slot_id],
            said,
            row.get_told_display(),
            written(row.recorded_at, row.recorded_by, zone),
            clock.local_day(row.undone_at, zone) if row.undone_at else None,
        )


def _changes_before(site: Site) -> dict[int, list[str]]:
    """Of each change everything that it ever said on record, oldest first."""
    found: dict[int, list[str]] = {}
    rows = FilterChange.history.filter(slot__system__site=site).select_related("slot", "media")
    for row in rows.order_by("history_date", "history_id"):
        words = _change_words(row.changed_on, _filter(row.slot.nominal_size, row.media), row.told)
        told = found.setdefault(row.id, [])
        if words not in told:
            told.append(words)
    return found


def _change_words(day: date, what: str, told: str) -> str:
    return f"{say_day(day)}, {what}, {FilterChange.Told(told).label}"


def _filter(size: str, media: Media | None) -> str:
    named = f"{media.name}, MERV {media.merv}" if media else ""
    return named if size in named else ", ".join(filter(None, (size, named)))


def _readings(site: Site, zone: ZoneInfo, where: dict[int, str], units: str) -> Iterator[Entry]:
    rows = Reading.objects.filter(slot__system__site=site)
    before = _put_right(site)
    for row in rows.select_related("taken_by__person").order_by("taken_at"):
        said = _("Pressure drop read: %(drop)s") % {"drop": show(row.filter_drop_pa, PRESSURE, units)}
        was = [
            show(value, PRESSURE, units) for value in before.get(row.pk, []) if value != row.filter_drop_pa
        ]
        if was:
            said += _(" (put right; before: %(drops)s)") % {"drops": ", ".join(was)}
        yield Entry(
            clock.local_day(row.taken_at, zone),
            where[row.slot_id],
            said,
            _("told by a person") if row.taken_by else _("from a sheet or a device"),
            written(row.recorded_at, row.taken_by, zone),
        )


def _put_right(site: Site) -> dict[int, list[float]]:
    """Of each reading every drop that it ever had on record, oldest first."""
    found: dict[int, list[float]] = {}
    rows = Reading.history.filter(slot__system__site=site).order_by("history_date", "history_id")
    for pk, drop in rows.values_list("id", "filter_drop_pa"):
        told = found.setdefault(pk, [])
        if drop not in told:
            told.append(drop)
    return found


def _visits(site: Site, zone: ZoneInfo) -> Iterator[Entry]:
    states = (Visit.State.COMPLETED, Visit.State.NO_ACCESS)
    rows = Visit.objects.filter(site=site, state__in=states, completed_at__isnull=False)
    told = _told_on(site)
    for row in rows.select_related("technician"):
        assert row.completed_at is not None  # noqa: S101
        came = row.state == Visit.State.COMPLETED
        said = _("Visit completed") if came else _("Visit: nobody opened")
        yield Entry(
            clock.local_day(row.completed_at, zone),
            "",
            f"{said}: {row.findings}" if row.findings else said,
            str(row.technician or ""),
            written(told.get(row.pk, row.completed_at), None, zone),
        )


def _told_on(site: Site) -> dict[int, datetime]:
    """When the record first said of each visit that it was over, whatever hour was told then."""
    over = Visit.history.filter(site=site, state__in=(Visit.State.COMPLETED, Visit.State.NO_ACCESS))
    told = over.order_by("-history_date", "-history_id").values_list("id", "history_date")
    return dict(told)


def _tasks(site: Site) -> Iterator[Entry]:
    rows = TaskDone.objects.filter(task__system__site=site).select_related(
        "task__system", "visit__technician"
    )
    for row in rows:
        who = str(row.visit.technician or "") if row.visit else ""
        said = f"{row.task.name}: {row.note}" if row.note else row.task.name
        yield Entry(row.done_on, row.task.system.name, said, who, "")
