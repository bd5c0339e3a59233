"""What a run over the sheets changes: how many rows of each, the first cells, and a mark of all of them."""

from collections import defaultdict
from dataclasses import dataclass, field, replace
from hashlib import sha256

from shared.cells import unmarked

SHOWN = 100


@dataclass(frozen=True)
class Difference:
    """One cell that says other than the record: where it stands, what is on record, what it would be."""

    sheet: str
    line: int
    column: str
    before: str
    after: str


@dataclass(frozen=True)
class Rows:
    """How many rows of a sheet are new, change something, or say what is on record already."""

    new: int = 0
    changed: int = 0
    same: int = 0


@dataclass
class Tally:
    """Rows by sheet, the first hundred differences, and whether there are more.

    ``mark`` tells two runs apart that would change other rows, or change them from another value.
    """

    rows: dict[str, Rows] = field(default_factory=lambda: defaultdict(Rows))
    differences: list[Difference] = field(default_factory=list)
    more: bool = False
    mark: bytes = b""

    def copy(self) -> "Tally":
        """One that goes its own way from here."""
        rows = defaultdict(Rows, self.rows)
        return replace(self, rows=rows, differences=[*self.differences])

    def count(self, sheet: str, *, new: int = 0, changed: int = 0, same: int = 0) -> None:
        """Add rows of a sheet."""
        so_far = self.rows[sheet]
        self.rows[sheet] = Rows(so_far.new + new, so_far.changed + changed, so_far.same + same)

    def differ(self, difference: Difference) -> None:
        """Note a cell that says other than the record."""
        self.note(difference)
        if self.full:
            self.more = True
        else:
            before, after = unmarked(difference.before), unmarked(difference.after)
            self.differences.append(replace(difference, before=before, after=after))

    @property
    def full(self) -> bool:
        """Whether as many differences are kept as are shown."""
        return len(self.differences) >= SHOWN

    def differ_in(self, sheet: str, line: int, before: dict[str, str], after: dict[str, str]) -> None:
        """Note every cell of a row that says other than the record."""
        for column, cell in after.items():
            if cell != before[column]:
                self.differ(Difference(sheet, line, column, before[column], cell))

    def note(self, what: object) -> None:
        """Let the mark depend on ``what``, and on all that was noted before."""
        self.mark = sha256(self.mark + repr(what).encode("utf-8", "backslashreplace")).digest()
