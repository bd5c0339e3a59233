"""technicians.csv: who drives, from where and when; all rows or none."""

import re
import tempfile
from collections.abc import Callable
from datetime import time
from pathlib import Path
from typing import Any

from django.db import transaction

from equipment.sheets import columns as c
from equipment.sheets.columns import Column
from equipment.sheets.faults import Refused, Report
from equipment.sheets.table import Cells, Sheet
from schedules.models import Depot, Technician
from schedules.models.technician import monday_to_friday
from schedules.round_forms import MOST_ROOM, NOWHERE

LARGEST_SHEET_BYTES = 1_000_000
_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _hour(cell: str) -> time:
    """A time of day."""
    if not re.fullmatch(r"\d{1,2}:\d{2}", cell):
        raise Refused("is not a time such as 08:00")
    try:
        return time.fromisoformat(cell.zfill(5))
    except ValueError:
        raise Refused("is a time that no clock shows") from None


def _words(cell: str) -> list[str]:
    """Words, parted by blanks, commas or semicolons."""
    return sorted({word for word in re.split(r"[\s,;]+", cell.lower()) if word})


def _skills(cell: str) -> list[str]:
    """Skills, parted by commas or semicolons as on the page: one may be of two words."""
    parts = (" ".join(part.split()) for part in re.split(r"[,;]", cell.lower()))
    return sorted({part for part in parts if part})


def _weekdays(cell: str) -> list[int]:
    """Days of the week by their first three letters."""
    found = [word[:3] for word in _words(cell)]
    wrong = [word for word in found if word not in _DAYS]
    if wrong:
        raise Refused(f"“{wrong[0]}” is no day; write days such as mon tue wed")
    return sorted(_DAYS.index(word) for word in set(found))


TECHNICIANS = (
    Column("name", c.name, required=True),
    Column("skills", _skills),
    Column("latitude", c.number(-90, 90, "degrees")),
    Column("longitude", c.number(-180, 180, "degrees")),
    Column("depot", c.name),
    Column("day_starts", _hour),
    Column("day_ends", _hour),
    Column("weekdays", _weekdays),
    Column("van_room", c.whole(1, MOST_ROOM)),
)
_FIELDS: dict[str, tuple[str, Callable[[], Any]]] = {
    "skills": ("skills", list),
    "latitude": ("start_latitude", lambda: None),
    "longitude": ("start_longitude", lambda: None),
    "day_starts": ("day_starts", lambda: time(8)),
    "day_ends": ("day_ends", lambda: time(17)),
    "weekdays": ("weekdays", monday_to_friday),
    "van_room": ("van_room", lambda: 40),
}


def import_sent(sheet: bytes) -> Report:
    """The same as ``import_technicians``, of a file that somebody sent."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "technicians.csv"
        path.write_bytes(sheet)
        return import_technicians(path)


def import_technicians(path: Path) -> Report:
    """Add and change technicians by name; an empty cell leaves what is stored, or the usual for somebody new.

    With one fault nothing is stored. Raises OSError where the file cannot be read.
    """
    report = Report()
    sheet = Sheet(path, TECHNICIANS, report)
    with transaction.atomic():
        depots = {depot.name: depot for depot in Depot.objects.filter(closed_on=None)}
        stored = {who.name.casefold(): who for who in Technician.objects.all()}
        seen: dict[str, int] = {}
        changed = sum(_store(sheet, cells, depots, stored, seen) for cells in sheet.rows())
        report.changed[sheet.name] = changed
        report.stored = not report.faults
        if report.faults:
            transaction.set_rollback(True)
    return report


def _store(
    sheet: Sheet, cells: Cells, depots: dict[str, Depot], stored: dict[str, Technician], seen: dict[str, int]
) -> bool:
    """Store one row; whether that changed anything."""
    name, values = cells.values["name"], cells.values
    if name.casefold() in seen:
        sheet.refuse(cells.line, "name", name, f"stands twice in this file, see line {seen[name.casefold()]}")
        return False
    seen[name.casefold()] = cells.line
    who = stored.get(name.casefold()) or Technician(name=name)
    if who.gone_on:
        sheet.refuse(cells.line, "name", name, "no longer works here by the record; bring them back first")
        return False
    before = [getattr(who, field) for field, _usual in _FIELDS.values()] + [who.depot_id]
    for column, (field, usual) in _FIELDS.items():
        if values.get(column) is not None:
            setattr(who, field, values[column])
        elif who.pk is None:
            setattr(who, field, usual())
    depot = values.get("depot")
    if depot is not None and depot not in depots:
        sheet.refuse(cells.line, "depot", depot, "no depot of this name is known")
        return False
    who.depot = depots[depot] if depot else who.depot
    if not _can_be(sheet, cells, who):
        return False
    new = who.pk is None
    who.save()
    return new or before != [getattr(who, field) for field, _usual in _FIELDS.values()] + [who.depot_id]


def _can_be(sheet: Sheet, cells: Cells, who: Technician) -> bool:
    if who.day_ends <= who.day_starts:
        ends = cells.typed.get("day_ends", "")
        sheet.refuse(cells.line, "day_ends", ends, "the day ends before it begins")
        return False
    if (who.start_latitude is None) != (who.start_longitude is None):
        sheet.refuse(cells.line, "latitude", "", "a place needs both latitude and longitude")
        return False
    place = (who.start_latitude, who.start_longitude)
    if None not in place and all(abs(part or 0.0) < NOWHERE for part in place):
        typed = cells.typed.get("latitude", "")
        sheet.refuse(cells.line, "latitude", typed, "that is in the sea, where missing figures lead")
        return False
    return True
