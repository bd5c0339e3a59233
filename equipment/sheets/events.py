"""readings.csv and changes.csv: what happened; a stored event is never overwritten."""

from collections.abc import Callable, Container, Hashable, Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from simple_history.utils import bulk_create_with_history

from equipment.models import FilterChange, FilterSlot, Media, Reading
from equipment.sheets import columns as c
from equipment.sheets.ahead import Ahead
from equipment.sheets.columns import Column
from equipment.sheets.context import Import, batches
from equipment.sheets.faults import Refused
from equipment.sheets.other_size import OtherSizes
from equipment.sheets.same import differences
from equipment.sheets.table import Cells, Row, Sheet
from shared import clock

READINGS = (
    Column("filter_slot", c.name, required=True),
    Column("taken_at", c.instant, required=True),
    Column("filter_drop_inwc", c.static(), required=True),
    Column("airflow_cfm", c.airflow()),
)
CHANGES = (
    Column("filter_slot", c.name, required=True),
    Column("changed_on", c.day_or_instant, required=True),
    Column("media", c.name),
    Column("changed_by", c.one_of("occupant", "technician")),
)


_COLUMN_OF = {
    "filter_drop_pa": "filter_drop_inwc",
    "airflow_m3s": "airflow_cfm",
    "changed_on": "changed_on",
    "media_id": "media",
    "changed_by": "changed_by",
}


@dataclass(frozen=True)
class Event:
    """A row on its way to the record."""

    line: int
    slot: int
    at: datetime
    fields: Row
    typed: dict[str, str]


class ShownTwice:
    """Local times of one sheet that the clocks show twice; the first is taken, and that is said once."""

    def __init__(self, sheet: Sheet, column: str) -> None:
        self.sheet = sheet
        self.column = column
        self.lines: list[int] = []

    def note(self, cells: Cells, zone: str) -> None:
        """Remember the row if its time has no offset and is shown twice in the zone."""
        value = cells.values[self.column]
        if isinstance(value, datetime) and not value.tzinfo and clock.repeated(value, clock.zone(zone)):
            self.lines.append(cells.line)

    def remark(self) -> None:
        """Say how many there were, and on which line the first."""
        if self.lines:
            rows = f"{len(self.lines)} rows (the first on line {self.lines[0]})"
            self.sheet.report.remark(
                f"{self.sheet.name}: {self.column} of {rows} is shown twice as the clocks go back; "
                "the earlier is taken, write an offset to say otherwise"
            )


def load_readings(sheet: Sheet, run: Import) -> None:
    """Store readings.csv."""

    def fields(row: Row, zone: str, at: datetime) -> Row:
        return {"filter_drop_pa": row["filter_drop_inwc"], "airflow_m3s": row.get("airflow_cfm")}

    _load(sheet, run, _Reader(Reading, "taken_at", "taken_at", fields))


def load_changes(sheet: Sheet, run: Import) -> None:
    """Store changes.csv."""
    media = {name: (pk, size) for name, pk, size in Media.objects.values_list("name", "pk", "nominal_size")}
    sizes = dict(FilterSlot.objects.values_list("pk", "nominal_size"))
    other = OtherSizes(sheet)

    def fields(row: Row, zone: str, at: datetime) -> Row:
        day = row["changed_on"]
        return {
            "changed_on": clock.local_day(at, clock.zone(zone)) if isinstance(day, datetime) else day,
            "media_id": media.get(row.get("media") or "", (None,))[0],
            "changed_by": row.get("changed_by") or "",
        }

    def taken(event: Event) -> None:
        name = event.typed.get("media")
        if name:
            other.note(event.line, name, media[name][1], event.typed["filter_slot"], sizes[event.slot])

    _load(sheet, run, _Reader(FilterChange, "changed_on", "changed_at", fields, media, taken))
    other.remark()


@dataclass(frozen=True)
class _Reader:
    """How the rows of a sheet become events: model, column and field of the time, the other fields; which
    media may be named, and what is to be told of each event that is taken."""

    model: Any
    at_column: str
    at_field: str
    fields: Callable[[Row, str, datetime], Row]
    media: Container[str] = ()
    taken: Callable[[Event], None] = lambda event: None


def _load(sheet: Sheet, run: Import, reader: _Reader) -> None:
    model, at_field = reader.model, reader.at_field
    seen: dict[tuple[int, datetime], Row] = {}
    for batch in batches(_events(sheet, run, reader)):
        stored = _stored(model, at_field, batch)
        fresh = []
        for event in batch:
            earlier = seen.setdefault((event.slot, event.at), event.fields)
            if earlier is not event.fields:
                if earlier != event.fields:
                    sheet.dispute.found((event.slot, event.at), event.line)
                run.tally.count(sheet.name, same=1)
                continue
            reader.taken(event)
            row = stored.get((event.slot, event.at))
            if row is None:
                fresh.append(model(slot_id=event.slot, **{at_field: event.at}, **event.fields))
                run.tally.count(sheet.name, new=1)
                run.tally.note((sheet.name, event.line))
            elif not _refuted(sheet, event, row):
                run.tally.count(sheet.name, same=1)
        if fresh:
            bulk_create_with_history(fresh, model, batch_size=500)
        run.slots |= {row.slot_id for row in fresh}
        run.changed(sheet.name, len(fresh))
        run.progress(sheet.name, run.report.rows[sheet.name])


def _refuted(sheet: Sheet, event: Event, row: Any) -> bool:
    """Whether cells say other than the stored event; each is a fault."""
    others = differences(row, _said(event.fields))
    for field in others:
        column = _COLUMN_OF[field]
        reason = "is already stored with another value; a stored event is not overwritten"
        sheet.refuse(event.line, column, event.typed[column], reason)
    return bool(others)


def _events(sheet: Sheet, run: Import, reader: _Reader) -> Iterator[Event]:
    at_column = reader.at_column
    slots = {
        name: (pk, zone or run.desk_zone)
        for name, pk, zone in FilterSlot.objects.values_list("name", "pk", "system__site__timezone")
    }
    twice, ahead = ShownTwice(sheet, at_column), Ahead(sheet, run, at_column)
    strangers: dict[Hashable, Row] = {}
    for cells in sheet.rows(every=True):
        name = cells.values.get("filter_slot")
        # What nobody knows has no zone either; then its times are merely told apart.
        slot, zone = slots.get(name or "", (None, "UTC"))
        if name and slot is None:
            sheet.refuse(cells.line, "filter_slot", name, sheet.report.unknown("filter slot", name))
        known = _names_known_medium(sheet, cells, reader.media)
        at = _instant(sheet, cells, at_column, zone, ahead)
        if at is None or not known or not cells.good:
            continue
        fields = reader.fields(cells.values, zone, at)
        if sheet.disputed((slot or name, at), cells, at_column):
            continue
        if slot is None:
            if strangers.setdefault((name, at), fields) != fields:
                sheet.dispute.found((name, at), cells.line)
            continue
        twice.note(cells, zone)
        ahead.note(_day_of(cells.values[at_column]), cells.line)
        yield Event(cells.line, slot, at, fields, cells.typed)
    twice.remark()
    ahead.remark()


def _instant(sheet: Sheet, cells: Cells, column: str, zone: str, ahead: Ahead) -> datetime | None:
    """When the row's event was; None, with the fault noted, where it cannot have been then."""
    typed = cells.values.get(column)
    if typed is None:
        return None
    try:
        at = c.at_instant(typed, zone)
        ahead.check(_day_of(typed))
    except Refused as refused:
        sheet.refuse(cells.line, column, cells.typed[column], str(refused))
        return None
    return at


def _names_known_medium(sheet: Sheet, cells: Cells, media: Container[str]) -> bool:
    name = cells.values.get("media")
    if name is None or name in media:
        return True
    sheet.refuse(cells.line, "media", name, sheet.report.unknown("medium", name))
    return False


def _day_of(value: date | datetime) -> date:
    return value.date() if isinstance(value, datetime) else value


def _said(fields: Row) -> Row:
    return {name: value for name, value in fields.items() if value not in (None, "")}


def _stored(model: Any, at_field: str, batch: list[Event]) -> dict[tuple[int, datetime], Any]:
    times = [event.at for event in batch]
    rows = model.objects.filter(
        slot__in={event.slot for event in batch}, **{f"{at_field}__range": (min(times), max(times))}
    )
    if model is FilterChange:
        rows = rows.filter(undone_at=None)
    return {(row.slot_id, getattr(row, at_field)): row for row in rows}
