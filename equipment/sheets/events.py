"""readings.csv and changes.csv: what happened; a stored event is never overwritten."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from simple_history.utils import bulk_create_with_history

from equipment.models import FilterChange, FilterSlot, Media, Reading
from equipment.sheets import columns as c
from equipment.sheets.columns import Column
from equipment.sheets.context import STILL_TO_COME, Import, batches
from equipment.sheets.faults import Refused
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

    _load(sheet, run, Reading, "taken_at", fields)


def load_changes(sheet: Sheet, run: Import) -> None:
    """Store changes.csv."""
    media = dict(Media.objects.values_list("name", "pk"))

    def fields(row: Row, zone: str, at: datetime) -> Row:
        if row.get("media") is not None and row["media"] not in media:
            raise Refused(sheet.report.unknown("medium", row["media"]))
        day = row["changed_on"]
        return {
            "changed_on": clock.local_day(at, clock.zone(zone)) if isinstance(day, datetime) else day,
            "media_id": media.get(row.get("media") or ""),
            "changed_by": row.get("changed_by") or "",
        }

    _load(sheet, run, FilterChange, "changed_on", fields)


def _load(sheet: Sheet, run: Import, model: Any, at_column: str, fields_of: Any) -> None:
    at_field = "taken_at" if model is Reading else "changed_at"
    seen: dict[tuple[int, datetime], Row] = {}
    for batch in batches(_events(sheet, run, at_column, fields_of)):
        stored = _stored(model, at_field, batch)
        fresh = []
        for event in batch:
            earlier = seen.setdefault((event.slot, event.at), event.fields)
            if earlier is not event.fields:
                if earlier != event.fields:
                    sheet.dispute.found((event.slot, event.at), event.line)
                continue
            row = stored.get((event.slot, event.at))
            if row is None:
                fresh.append(model(slot_id=event.slot, **{at_field: event.at}, **event.fields))
            else:
                _hold_to_stored(sheet, event, row)
        if fresh:
            bulk_create_with_history(fresh, model, batch_size=500)
        run.slots |= {row.slot_id for row in fresh}
        run.changed(sheet.name, len(fresh))
        run.progress(sheet.name, run.report.rows[sheet.name])


def _hold_to_stored(sheet: Sheet, event: Event, row: Any) -> None:
    """A fault for every cell that says other than the stored event."""
    for field in differences(row, _said(event.fields)):
        column = _COLUMN_OF[field]
        reason = "is already stored with another value; a stored event is not overwritten"
        sheet.refuse(event.line, column, event.typed[column], reason)


def _events(sheet: Sheet, run: Import, at_column: str, fields_of: Any) -> Iterator[Event]:
    slots = {
        name: (pk, zone or run.desk_zone)
        for name, pk, zone in FilterSlot.objects.values_list("name", "pk", "system__site__timezone")
    }
    twice = ShownTwice(sheet, at_column)
    last_day = run.last_day()
    for cells in sheet.rows():
        name = cells.values["filter_slot"]
        if name not in slots:
            sheet.refuse(cells.line, "filter_slot", name, sheet.report.unknown("filter slot", name))
            continue
        slot, zone = slots[name]
        column = at_column
        try:
            at = c.at_instant(cells.values[at_column], zone)
            if _day_of(cells.values[at_column]) > last_day:
                raise Refused(STILL_TO_COME)
            column = "media"
            fields = fields_of(cells.values, zone, at)
        except Refused as refused:
            sheet.refuse(cells.line, column, cells.typed[column], str(refused))
            continue
        if sheet.disputed((slot, at), cells, at_column):
            continue
        twice.note(cells, zone)
        yield Event(cells.line, slot, at, fields, cells.typed)
    twice.remark()


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
