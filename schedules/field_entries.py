"""Entries from phones: taken once each, in the order written, and never lost.

An entry that cannot be written down as it stands is kept word for word for the desk to judge.
"""

import json
import logging
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.db import DatabaseError, IntegrityError, transaction
from django.db.models import Q
from django.http import QueryDict
from django.utils.translation import gettext as _

from equipment.models import Desk, FilterSlot, User
from equipment.record import NotRecordable, changes_made
from schedules import defects, slot_entries, visits
from schedules.bookable import NotBookable
from schedules.explain import say_day
from schedules.finish import finish
from schedules.models import FieldEntry, Technician, Visit
from schedules.phone_clock import CLOCK_SLACK, OLDEST, Pressed, hour_of
from schedules.visit_report import VisitReport, slots_named
from shared import clock

logger = logging.getLogger(__name__)


@dataclass(frozen=True)
class Sent:
    """An entry as the phone tells it; ``pressed_at`` by its own clock. ``clock_behind`` is what to add to
    that clock as measured when the entry came in, ``clock_behind_then`` as known when it was written, None
    for unknown. ``here``: its writer still stands before the form, and may be asked. ``corrects``: the desk
    has an earlier writing of it. A reading or change has a ``slot``, all else a ``visit``: keys, which may be
    of what is gone."""

    uid: UUID
    device: UUID
    number: int
    visit: int | None
    kind: str
    pressed_at: datetime
    clock_behind: timedelta
    clock_behind_then: timedelta | None = None
    here: bool = False
    corrects: bool = False
    slot: int | None = None
    fields: dict[str, list[str]] = field(default_factory=dict)

    @property
    def data(self) -> QueryDict:
        """What was typed, as a form reads it."""
        return as_form(self.fields)

    @property
    def pressed(self) -> Pressed:
        """When it was written, by its phone."""
        return Pressed(self.pressed_at, self.clock_behind, self.clock_behind_then)


@dataclass(frozen=True)
class Received:
    """What became of an entry: a state of ``FieldEntry.State``, or ``ask`` with the faults by field, where
    nothing was stored."""

    state: str
    said: str = ""
    faults: dict[str, list[str]] = field(default_factory=dict)


class _Ask(Exception):
    """Whoever stands before the form has to look at it again."""

    def __init__(self, faults: dict[str, list[str]]) -> None:
        super().__init__()
        self.faults = faults


class _ToJudge(Exception):
    """It cannot be written down as it stands."""


class _Beside(Exception):
    """Somebody else wrote of the same."""


class CannotBe(NotRecordable):
    """An entry holds what cannot be so; ``names`` are the fields that do, an empty one a whole form."""

    def __init__(self, why: str, names: list[str]) -> None:
        super().__init__(why)
        self.names = names


def as_form(fields: dict[str, list[str]]) -> QueryDict:
    """Fields of an entry as a form reads them."""
    data = QueryDict(mutable=True)
    for name, values in fields.items():
        data.setlist(name, values)
    return data


def take_all(entries: Sequence[Sent], user: User, now: datetime, units: str) -> list[Received]:
    """What became of each entry of one phone, taken in the order given; ``units`` are the reader's."""
    return [take(entry, user, now, units) for entry in entries]


def take(sent: Sent, user: User, now: datetime, units: str) -> Received:
    """Write an entry down once, whatever number of times it comes, or keep it for the desk to judge.

    Raises DatabaseError where nothing can be written; the phone keeps the entry then.
    """
    known = FieldEntry.objects.filter(uid=sent.uid).first()
    if known is not None and (known.kind, known.fields) != (sent.kind, sent.fields):
        sent = _correction(sent)
        known = FieldEntry.objects.filter(uid=sent.uid).first()
    if known is not None:
        return _answer(known)
    try:
        return _take_new(sent, user, now, units)
    except _Ask as ask:
        return Received("ask", _("Look at it once more."), ask.faults)
    except IntegrityError:
        known = FieldEntry.objects.filter(uid=sent.uid).first()
        if known is None:
            raise
        return _answer(known)


def _correction(sent: Sent) -> Sent:
    """The same for what was changed on the phone after it had reached the desk unheard: an entry of its own,
    whose id is the same however often it comes."""
    uid = uuid5(sent.uid, json.dumps([sent.kind, sent.fields], sort_keys=True))
    return replace(sent, uid=uid, here=False, corrects=True)


def _take_new(sent: Sent, user: User, now: datetime, units: str) -> Received:
    with transaction.atomic():
        row = _row(sent, user, now)
        try:
            with transaction.atomic():
                row.why = _write(row, sent, user, now, units)
        except _Ask:
            raise
        except _Beside as beside:
            row.state, row.why = FieldEntry.State.BESIDE, str(beside)
        except (_ToJudge, NotRecordable) as reason:
            row.state, row.why = FieldEntry.State.TO_JUDGE, str(reason)
        except DatabaseError:
            raise
        except Exception:
            # One entry that trips the desk must not hold up those behind it.
            logger.exception("entry %s could not be written down", sent.uid)
            row.state, row.why = FieldEntry.State.TO_JUDGE, _("The desk could not read it.")
        if row.state != FieldEntry.State.TAKEN and row.visit is not None:
            defects.note_pressing(row.visit, sent.fields.get("seen", []), row.at, user)
        row.save(update_fields=["state", "why", "left_slots"])
    return _answer(row)


def _row(sent: Sent, user: User, now: datetime) -> FieldEntry:
    """The entry's row, made before anything is done: a second one of its kind ends here."""
    visit = Visit.objects.select_related("site").filter(pk=sent.visit or 0).first()
    hour = hour_of(sent.pressed, now, *_planned(visit))
    return FieldEntry.objects.create(
        uid=sent.uid,
        device=sent.device,
        number=sent.number,
        user=user,
        visit=visit,
        visit_number=sent.visit,
        slot=FilterSlot.objects.filter(pk=sent.slot or 0).first(),
        slot_number=sent.slot,
        kind=sent.kind,
        fields=sent.fields,
        pressed_at=sent.pressed_at,
        at=hour.at,
        other_at=hour.other,
        received_at=now,
    )


def _planned(visit: Visit | None) -> tuple[date | None, ZoneInfo]:
    """The day that an entry of a visit is most likely of, and the zone of its days."""
    zone = Desk.the().timezone
    return (visit.day, visit.site.zone(zone)) if visit else (None, ZoneInfo(zone))


def _answer(row: FieldEntry) -> Received:
    return Received(row.state, row.why)


def _write(row: FieldEntry, sent: Sent, user: User, now: datetime, units: str) -> str:
    """Do what the entry says; what is worth a word about it."""
    if sent.corrects:
        raise _Beside(_("It had come before, and was corrected on the phone since."))
    doubt = _doubt_clock(row, sent, now)
    told = (
        _of_slot(row, sent, units)
        if sent.kind in slot_entries.KINDS
        else _of_visit(row, sent, user, now, units)
    )
    return " ".join(part for part in (doubt, told) if part)


def _of_visit(row: FieldEntry, sent: Sent, user: User, now: datetime, units: str) -> str:
    visit = Visit.objects.select_for_update().filter(pk=sent.visit or 0).first()
    if visit is None:
        raise _ToJudge(_("Its visit is not on record any more."))
    if not is_theirs(visit, user):
        raise _ToJudge(_("Its visit was never theirs."))
    if sent.kind == FieldEntry.Kind.ARRIVED:
        return _arrived(visit, row, user)
    if sent.kind == FieldEntry.Kind.NO_ACCESS:
        return _no_access(visit, row, sent)
    if sent.kind == FieldEntry.Kind.DISPLACED:
        return _displaced(visit, row, sent)
    return _completed(visit, row, sent, now, units)


def _doubt_clock(row: FieldEntry, sent: Sent, now: datetime) -> str:
    """Raise where the hour of an entry cannot be so: long ago, or before what the same phone wrote first; and
    where a clock that was set in between leaves its day open. A word where the visit's day decided."""
    planned, zone = _planned(row.visit)
    hour = hour_of(sent.pressed, now, planned, zone)
    one, other = (say_day(clock.local_day(at, zone)) if at else "" for at in (hour.at, hour.other))
    if hour.at < now - OLDEST:
        raise _ToJudge(_("The phone's clock gave %(day)s for it.") % {"day": one})
    # What may have been written at another hour says nothing of those after it.
    before = FieldEntry.objects.filter(device=row.device, number__lt=row.number, other_at=None)
    earlier = before.order_by("-number").first()
    if earlier is not None and row.at < earlier.at - CLOCK_SLACK:
        raise _ToJudge(_("The phone's clock went back between this entry and the one before it."))
    said = {"one": one, "other": other}
    if not hour.sure:
        raise _ToJudge(_("The phone's clock was set meanwhile: it is of %(one)s or of %(other)s.") % said)
    if not other:
        return ""
    return (
        _("The phone's clock was set meanwhile: by the visit's day it is of %(one)s, not of %(other)s.")
        % said
    )


def _of_slot(row: FieldEntry, sent: Sent, units: str) -> str:
    """A reading or a change of one filter."""
    slot = FilterSlot.objects.select_related("system__site").filter(pk=sent.slot or 0).first()
    if slot is None or slot_entries.is_gone(slot):
        raise _ToJudge(_("Its filter is not on record any more."))
    form, asked = slot_entries.form_of(row, slot, units), ""
    if sent.here and not form.is_valid():
        raise _Ask(slot_entries.faults(form))
    if not sent.here:
        form, asked = slot_entries.as_told(row, slot, units)
    if not sent.here and slot_entries.told_already(slot, form, row.received_at):
        raise _Beside(_("Somebody else told of a change of that day or a later one."))
    try:
        slot_entries.write(row, slot, form)
    except NotRecordable as error:
        if sent.here:
            raise _Ask({next(iter(form.fields)): [str(error)]}) from None
        raise
    return _taken_though(asked)


def _taken_though(asked: str) -> str:
    return _("Asked about, and taken as it is: %(asked)s") % {"asked": asked} if asked else ""


def is_theirs(visit: Visit, user: User) -> bool:
    """Whether the visit is theirs, or was until somebody gave it to another while they had no signal."""
    if user.is_manager:
        return True
    technician = Technician.objects.filter(user=user).first()
    if technician is None:
        return False
    return visit.technician_id == technician.pk or visit.history.filter(technician=technician.pk).exists()


def _over(visit: Visit) -> bool:
    """Whether somebody wrote of its end; what was called off may still have been done."""
    return visit.state in (Visit.State.COMPLETED, Visit.State.NO_ACCESS)


def _refuse_over(visit: Visit, row: FieldEntry) -> None:
    if not _over(visit):
        return
    written = Q(state=FieldEntry.State.TAKEN) | Q(judged=FieldEntry.Judged.COUNTED)
    ends = visit.entries.filter(written).exclude(kind=FieldEntry.Kind.ARRIVED)
    last = ends.exclude(pk=row.pk).order_by("received_at").last()
    wrote = last.user if last else getattr(visit.history.first(), "history_user", None)
    said = {"state": visit.get_state_display(), "who": wrote or _("the desk")}
    raise _Beside(_("The visit was “%(state)s” already, by %(who)s.") % said)


def _arrived(visit: Visit, row: FieldEntry, user: User) -> str:
    """The first time at the door stands; of a visit that is over, or somebody else's now, nothing more has to
    be known."""
    if visit.arrived_at is not None or _over(visit):
        return ""
    if visit.technician is None or visit.technician.user_id != user.pk:
        return _("The visit is somebody else's by now.")
    visits.arrive(visit, row.at)
    return ""


def _no_access(visit: Visit, row: FieldEntry, sent: Sent) -> str:
    _refuse_over(visit, row)
    reopened = _reopen(visit)
    visits.no_access(visit, _note_of(sent.data), row.at)
    return reopened


def _note_of(data: QueryDict) -> str:
    return data.get("note", "").replace("\0", "")[:500]


def _displaced(visit: Visit, row: FieldEntry, sent: Sent) -> str:
    """Only a visit that still has its day can lose it."""
    _refuse_over(visit, row)
    try:
        visits.displace(visit, _note_of(sent.data))
    except NotBookable as error:
        raise _ToJudge(str(error)) from None
    return ""


def _completed(visit: Visit, row: FieldEntry, sent: Sent, now: datetime, units: str) -> str:
    said = [_came_home(visit, row)]
    _refuse_over(visit, row)
    said.append(_reopen(visit))
    report, asked = _read(visit, sent, units)
    said.append(_taken_though(" ".join(asked)))
    outcome = report.outcome(row.at)
    twice = changed_already(visit, outcome, now)
    outcome.filters = [done for done in outcome.filters if done.slot not in twice]
    try:
        finish(visit, outcome, row.user, now)
    except NotRecordable as error:
        if sent.here:
            raise _Ask({"": [str(error)]}) from None
        raise
    visits.mark_jobs(visit.jobs.filter(slot__in=twice), done=True)
    return _what_is_left(row, report, twice, said)


def _came_home(visit: Visit, row: FieldEntry) -> str:
    """Nobody had opened, and then somebody came home: the visit is open again."""
    shut = visit.state == Visit.State.NO_ACCESS and visit.completed_at is not None
    if not shut or visit.completed_at is None or row.at < visit.completed_at:
        return ""
    visits.open_again(visit)
    return _("Nobody had opened before.")


def _what_is_left(row: FieldEntry, report: VisitReport, twice: list[FilterSlot], said: list[str]) -> str:
    """The words about a completed entry; its state where a part of it was not counted."""
    if twice:
        row.state = FieldEntry.State.BESIDE
        places = ", ".join(slot.location or slot.name for slot in twice)
        said.append(_("Somebody else told of a change on that day: %(places)s.") % {"places": places})
    gone = slots_named(row.fields) - {form.slot.pk for form in report.filters}
    if twice or gone:
        row.left_slots = [*(slot.pk for slot in twice), *sorted(gone)]
    if gone:
        row.state = FieldEntry.State.TO_JUDGE
        said.append(_("It also tells of a filter that is not on record at this home any more."))
    return " ".join(part for part in said if part)


def _reopen(visit: Visit) -> str:
    """What was called off meanwhile was done all the same."""
    if visit.state != Visit.State.CANCELLED:
        return ""
    visit.state = Visit.State.DUE
    return _("It had been called off meanwhile.")


def _read(visit: Visit, sent: Sent, units: str) -> tuple[VisitReport, list[str]]:
    """The report, and what would have been asked had its writer still stood there."""
    if not sent.here:
        return read_as_told(visit, sent.fields, units)
    report = VisitReport(visit, units, sent.data)
    if not report.is_valid():
        raise _Ask(report.faults())
    return report, []


def read_as_told(visit: Visit, fields: dict[str, list[str]], units: str) -> tuple[VisitReport, list[str]]:
    """A report of which nobody can be asked any more, and what would have been asked; what is merely unusual
    is taken. Raises CannotBe where it cannot be so."""
    report = VisitReport(visit, units, as_form(fields))
    if report.is_valid():
        return report, []
    asked = [fault for faults in report.faults().values() for fault in faults]
    sure = as_form(fields)
    for part in report.forms:
        if "sure" in part.fields:
            sure[part.add_prefix("sure")] = "on"
    again = VisitReport(visit, units, sure)
    if not again.is_valid():
        raise CannotBe(" ".join(asked), [name for name, faults in again.faults().items() if faults])
    return again, asked


def changed_already(visit: Visit, outcome: visits.Outcome, now: datetime) -> list[FilterSlot]:
    """The filters told as changed of which by ``now`` a change of that day or a later one stood."""
    day = clock.local_day(outcome.at, visit.site.zone(Desk.the().timezone))
    changed = [done.slot for done in outcome.filters if done.changed]
    return [slot for slot in changed if changes_made(slot, now).filter(changed_on__gte=day).exists()]


def what_it_says(row: FieldEntry, units: str) -> list[tuple[str, Any]]:
    """An entry's fields in words, label and text."""
    if row.kind in slot_entries.KINDS:
        return slot_entries.in_words(row, units)
    data = as_form(row.fields)
    if row.kind != FieldEntry.Kind.COMPLETED or row.visit is None:
        note = data.get("note", "")
        return [(_("Note"), note)] if note else []
    return VisitReport(row.visit, units, data, retired_too=True).in_words()
