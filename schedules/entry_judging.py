"""Entries that could not be written down as they came: what a manager makes of them."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from equipment.models import Desk, FilterSlot, User
from equipment.record import NotRecordable
from schedules import defects, due, slot_entries, visits
from schedules.bookable import NotBookable
from schedules.field_entries import CannotBe, as_form, changed_already, read_as_told, what_it_says
from schedules.models import FieldEntry, Photograph, Visit
from schedules.visit_report import VisitReport
from shared import clock


def waiting() -> "list[FieldEntry]":
    """The entries that nobody has judged, the oldest first: what could not be taken as it came, and what was
    taken though it would have been asked about."""
    return list(
        FieldEntry.objects.waiting()
        .select_related("user", "visit__site__customer", "slot__system__site__customer")
        .order_by("received_at", "pk")
    )


def in_words(rows: Iterable[FieldEntry], units: str) -> list[tuple[FieldEntry, list[tuple[str, str]]]]:
    """Each entry with what it says, label and text; its photographs are at hand."""
    told = list(rows)
    found: dict[UUID | None, list[Photograph]] = {}
    if told:
        for one in Photograph.objects.standing().filter(entry__in=[row.uid for row in told]):
            found.setdefault(one.entry, []).append(one)
    for row in told:
        row.photographs = found.get(row.uid, [])
    return [(row, what_it_says(row, units)) for row in told]


def beside(visit: Visit, units: str) -> list[tuple[FieldEntry, list[tuple[str, str]]]]:
    """What else was told of a visit than what was written down of it, and what of that was asked about."""
    rows = visit.entries.exclude(state=FieldEntry.State.TAKEN, why="").select_related(
        "user", "visit", "judged_by"
    )
    return in_words(rows, units)


def of_slot(slot: FilterSlot) -> list[FieldEntry]:
    """Entries that tell of the slot and did not simply become its record, without a question."""
    here = Q(visit__site=slot.system.site_id) | Q(slot=slot)
    rows = FieldEntry.objects.filter(here).exclude(state=FieldEntry.State.TAKEN, why="")
    start = f"slot{slot.pk}-"
    told = rows.select_related("user", "visit", "slot__system__site").order_by("-at")
    return [
        row for row in told if row.slot_id == slot.pk or any(name.startswith(start) for name in row.fields)
    ]


def leave(row: FieldEntry, user: User, now: datetime) -> None:
    """It stays as it was written, and counts for nothing; what was taken stands, and was looked at."""
    _judge(row, FieldEntry.Judged.SEEN if row.counts else FieldEntry.Judged.LEFT, user, now)


def count(row: FieldEntry, user: User, now: datetime, units: str, *, other_day: bool = False) -> str:
    """Write down what of it was not written yet: the whole visit while it can be completed, else its changes,
    readings, air side, tasks and words; at its other hour where that is meant. What could not be taken over,
    in a sentence.

    Raises NotRecordable where nothing of it can be written, and then changes nothing.
    """
    if row.counts:
        raise NotRecordable(_("It was written down as it came."))
    with transaction.atomic():
        if other_day and row.other_at is not None:
            row.at, row.other_at = row.other_at, row.at
            row.save(update_fields=["at", "other_at"])
        if row.kind in slot_entries.KINDS:
            slot_entries.count(row, units)
            _judge(row, FieldEntry.Judged.COUNTED, user, now)
            return ""
        visit = Visit.objects.select_for_update().filter(pk=row.visit_id or 0).first()
        if visit is None:
            raise NotRecordable(_("Its visit is not on record any more: write it on the filter's page."))
        left = ""
        if row.kind == FieldEntry.Kind.ARRIVED:
            visit.arrived_at = visit.arrived_at or row.at
            visit.save(update_fields=["arrived_at"])
        elif row.kind == FieldEntry.Kind.DISPLACED:
            _displace(visit, row)
        elif row.kind == FieldEntry.Kind.NO_ACCESS:
            visits.no_access(visit, as_form(row.fields).get("note", "")[:500], row.at)
        else:
            left = _count_completed(row, visit, now, units)
        _judge(row, FieldEntry.Judged.COUNTED, user, now)
    return left


def _displace(visit: Visit, row: FieldEntry) -> None:
    try:
        visits.displace(visit, as_form(row.fields).get("note", "")[:500])
    except NotBookable as error:
        raise NotRecordable(str(error)) from None


def _count_completed(row: FieldEntry, visit: Visit, now: datetime, units: str) -> str:
    report, without = _what_can_be(visit, row, units)
    left = _count_report(row, visit, report, now)
    return " ".join(part for part in (left, without) if part)


def _what_can_be(visit: Visit, row: FieldEntry, units: str) -> tuple[VisitReport, str]:
    """The report without the fields that cannot be so, and which these are, in a sentence. Raises CannotBe
    where nothing is left without them."""
    try:
        return read_as_told(visit, row.fields, units)[0], ""
    except CannotBe as fault:
        if "" in fault.names:
            raise
        rest = {name: values for name, values in row.fields.items() if name not in fault.names}
        bad = {name: values for name, values in row.fields.items() if name in (*fault.names, "units")}
        told = VisitReport(visit, units, as_form(bad), retired_too=True).in_words()
        report, _asked = read_as_told(visit, rest, units)
        said = "; ".join(f"{label} {text}" for label, text in told)
        return report, _("Left out, as it cannot be so: %(said)s.") % {"said": said}


def _count_report(row: FieldEntry, visit: Visit, report: VisitReport, now: datetime) -> str:
    outcome = report.outcome(row.at)
    if row.left_slots is not None:
        mine = [done for done in outcome.filters if done.slot.pk in row.left_slots]
        if not mine:
            raise NotRecordable(_("Nothing of it is left to be written: its filter is not on record here."))
        return _add(
            visit, replace(outcome, filters=mine, air=[], tasks_done=[], findings="", note=""), row, now
        )
    if visit.state == Visit.State.NO_ACCESS:
        visits.open_again(visit)
    if visit.is_open:
        twice = changed_already(visit, outcome, now)
        outcome.filters = [done for done in outcome.filters if done.slot not in twice]
        visits.bring_forward(visit, clock.local_day(row.at, Desk.the().zone))
        visits.complete(visit, outcome, row.user, now)
        visits.mark_jobs(visit.jobs.filter(slot__in=twice), done=True)
        return _said_twice(twice)
    return _add(visit, outcome, row, now)


def _add(visit: Visit, outcome: visits.Outcome, row: FieldEntry, now: datetime) -> str:
    """Add to a visit that is over; which changes stand already."""
    twice = changed_already(visit, outcome, now)
    for done in outcome.filters:
        # Of the filter that is in there now: the one before it is somebody else's record by now.
        drop = done.drop_after_pa if done.changed else done.drop_before_pa
        if done.slot in twice and drop is not None:
            visits.write_reading(done.slot, row.at, drop, done.airflow_m3s, row.user, now)
    rest = [done for done in outcome.filters if done.slot not in twice]
    visits.write_down(visit, replace(outcome, filters=rest), row.user, now)
    for name in ("findings", "note"):
        said = [getattr(visit, name), getattr(outcome, name)]
        setattr(visit, name, "\n".join(dict.fromkeys(part for part in said if part)))
    visit.save(update_fields=["findings", "note"])
    defects.note(visit, outcome.seen, row.at, row.user)
    due.replan(now, FilterSlot.objects.filter(system__site=visit.site_id))
    return _said_twice(twice)


def _said_twice(slots: list[FilterSlot]) -> str:
    places = ", ".join(slot.location or slot.name for slot in slots)
    return _("The change is on record already: %(places)s.") % {"places": places} if slots else ""


def _judge(row: FieldEntry, judged: str, user: User, now: datetime) -> None:
    """Only the first judgement stands. Raises NotRecordable for a second one."""
    open_row = FieldEntry.objects.waiting().filter(pk=row.pk)
    if not open_row.update(judged=judged, judged_at=now, judged_by=user):
        raise NotRecordable(_("Somebody has judged it meanwhile."))
