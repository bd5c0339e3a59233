"""What the rows of installed.csv change of slots, systems, sites and people, told at their lines."""

from collections.abc import Callable
from typing import Any

from equipment.sheets.context import Import
from equipment.sheets.table import Cells, Row
from equipment.sheets.tally import Difference

# Brings the stored row of a name to the fields, having noted what that changes.
Note = Callable[[str, Any, Row], None]
_SHEET = "installed.csv"


def nothing_noted(name: str, row: Any, fields: Row) -> None:
    """Bring the row to the fields."""
    for field, value in fields.items():
        setattr(row, field, value)


class Noted:
    """The rows of one batch, and the tally that they are noted in."""

    def __init__(self, run: Import, said: list[Cells]) -> None:
        self._tally = run.tally
        self._said = said

    def of(self, key: str, cells_of: Callable[[Any], dict[str, str]]) -> Note:
        """A note of the rows that ``key`` names, whose cells ``cells_of`` writes."""

        def note(name: str, row: Any, fields: Row) -> None:
            self._tally.note((key, name, [(field, getattr(row, field)) for field in fields]))
            if self._tally.full:
                self._tally.more = True
                return nothing_noted(name, row, fields)
            before = cells_of(row)
            nothing_noted(name, row, fields)
            for column, cell in cells_of(row).items():
                if cell != before[column]:
                    line = self._line(key, name, column)
                    self._tally.differ(Difference(_SHEET, line, column, before[column], cell))
            return None

        return note

    def _line(self, key: str, name: str, column: str) -> int:
        """The first line of the name that says something of the column, else its first line."""
        lines = [cells for cells in self._said if cells.values[key] == name]
        return next((cells.line for cells in lines if cells.typed.get(column)), lines[0].line)

    def count(self, touched: list[str], stored: set[str]) -> None:
        """Count the rows: ``touched`` are new or changed, and new whose slot is not among ``stored``."""
        new = [name for name in touched if name not in stored]
        changed, same = len(touched) - len(new), len(self._said) - len(touched)
        self._tally.count(_SHEET, new=len(new), changed=changed, same=same)
        self._tally.note(new)
