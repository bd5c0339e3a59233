"""A CSV file as rows of parsed cells, every fault noted with its line and column."""

import csv
import io
from collections.abc import Hashable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from equipment.sheets.columns import Column
from equipment.sheets.dispute import Dispute
from equipment.sheets.faults import Refused, Report
from equipment.sheets.odd_units import OddUnits
from shared.cells import unmarked

Row = dict[str, Any]
_SPREADSHEET = "a spreadsheet program's own format"
_OTHER_ENCODINGS = {
    b"\xff\xfe": "UTF-16",
    b"\xfe\xff": "UTF-16",
    b"PK": _SPREADSHEET,
    b"\xd0\xcf": _SPREADSHEET,
}


@dataclass(frozen=True)
class Cells:
    """A good row: its line, what its columns hold (None where unknown), the cells as typed.

    ``whole`` is the row as read, with the cells of unknown columns. An apostrophe that only kept a
    spreadsheet from running a cell is off ``typed``.
    """

    good: ClassVar[bool] = True
    line: int
    values: Row
    typed: dict[str, str]
    whole: list[str]


class Spoiled(Cells):
    """A row with cells that were refused: its values are those of the other columns alone."""

    good = False


class Sheet:
    """One sheet of a directory."""

    def __init__(self, path: Path, columns: tuple[Column, ...], report: Report) -> None:
        self.path = path
        self.name = path.name
        self.columns = columns
        self.report = report
        self.dispute = Dispute()
        self.header: list[str] = []
        self._every = False
        self._odd = OddUnits(column.name for column in columns)

    def rows(self, *, every: bool = False) -> Iterator[Cells]:
        """The good rows, in order, in bounded memory; with ``every`` also those with refused cells, Spoiled,
        for what else is wrong with them."""
        self._every = every
        self.report.rows[self.name] = 0
        with self.path.open("rb") as raw:
            if self._is_something_else(raw):
                return
            # Undecodable bytes come through as lone surrogates, so that their line can be named.
            decoded = io.TextIOWrapper(raw, encoding="utf-8-sig", errors="surrogateescape", newline="")
            yield from self._parsed(csv.reader(decoded, strict=True))

    def refuse(self, line: int, column: str, value: object, reason: str) -> None:
        """Note a fault that only the wider record shows."""
        self.report.fault(self.name, line, column, value, reason)

    def disputed(self, key: Hashable, cells: Cells, column: str) -> bool:
        """Whether rows contradict each other over ``key``; then this one is refused, at ``column``."""
        other = self.dispute.other(key, cells.line) if self.dispute else 0
        if other:
            reason = f"stands twice in this file with other values, see line {other}; neither row is taken"
            self.refuse(cells.line, column, cells.typed[column], reason)
        return bool(other)

    def _is_something_else(self, raw: io.BufferedReader) -> bool:
        start = raw.peek(2)[:2]
        # Western text in UTF-16 without a mark has every other byte nought.
        other = _OTHER_ENCODINGS.get(start) or ("UTF-16" if len(start) == 2 and 0 in start else "")
        if other:
            self.refuse(1, "", "", f"the file is {other}; save it as CSV in UTF-8")
        return bool(other)

    def _parsed(self, reader: Any) -> Iterator[Cells]:
        wanted: list[tuple[int, Column]] | None = None
        width = 0
        while True:
            line = reader.line_num + 1
            try:
                cells = next(reader)
            except StopIteration:
                break
            except csv.Error as error:
                self.refuse(line, "", "", f"cannot be read as CSV: {error}")
                if wanted is None:
                    return
                continue
            if wanted is None:
                self.header = cells
                wanted, width = self._header(cells), len(cells)
                if wanted is None:
                    return
            elif any(cells):
                self.report.rows[self.name] += 1
                row = self._row(line, cells, wanted, width)
                if row is not None:
                    yield row
        if wanted is None:
            self.refuse(1, "", "", "the file is empty; it needs a header row")
        self._odd.remark(self.name, self.report.remark)

    def _header(self, cells: list[str]) -> list[tuple[int, Column]] | None:
        names = [cell.strip().lower() for cell in cells]
        known = {column.name: column for column in self.columns}
        faults_before = len(self.report.faults)
        if len(names) == 1 and (";" in names[0] or "\t" in names[0]):
            self.refuse(1, "", "", "the columns must be parted by commas")
            return None
        for name in sorted({name for name in names if name in known and names.count(name) > 1}):
            self.refuse(1, name, name, "the column stands twice")
        for column in self.columns:
            if column.required and column.name not in names:
                self.refuse(1, column.name, "", "the column is missing")
        unknown = [name for name in names if name and name not in known]
        if unknown:
            self.report.remark(f"{self.name}: columns not known and ignored: {', '.join(unknown)}")
        if len(self.report.faults) > faults_before:
            return None
        return [(place, known[name]) for place, name in enumerate(names) if name in known]

    def _row(self, line: int, cells: list[str], wanted: list[tuple[int, Column]], width: int) -> Cells | None:
        if len(cells) < width or any(cells[width:]):
            self.refuse(line, "", "", f"the row has {len(cells)} cells where the header has {width}")
            self.set_aside(
                {column.name: _typed(cells[place]) for place, column in wanted if place < len(cells)}
            )
            return None
        values: Row = {}
        typed: dict[str, str] = {}
        good = True
        for place, column in wanted:
            cell = typed[column.name] = _typed(cells[place])
            try:
                values[column.name] = self._cell(cell, column)
            except Refused as refused:
                self.refuse(line, column.name, cell, str(refused))
                good = False
        if good:
            self._odd.note(line, values, typed)
        else:
            self.set_aside(typed)
            return Spoiled(line, values, typed, cells) if self._every else None
        return Cells(line, values, typed, cells)

    def set_aside(self, typed: dict[str, str]) -> None:
        """Remember what a refused row would have named, for the faults of sheets that refer to it."""
        self.report.refused |= {(c.names, typed[c.name]) for c in self.columns if c.names and c.name in typed}

    @staticmethod
    def _cell(cell: str, column: Column) -> object:
        if not cell:
            if column.required:
                raise Refused("must not be empty")
            return None
        if not cell.isascii() and any("\udc80" <= character <= "\udcff" for character in cell):
            raise Refused("is not UTF-8; save the file as CSV in UTF-8")
        return column.parse(cell)


def _typed(cell: str) -> str:
    return unmarked(cell.strip())
