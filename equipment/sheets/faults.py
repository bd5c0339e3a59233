"""What is wrong with a sheet, said so that the person who typed it finds the place."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256

from equipment.sheets.tally import Tally

# A reason may quote the cell, and a cell may be a whole book.
_LONGEST = 300


@dataclass(frozen=True)
class Fault:
    """One fault: sheet, line (1 is the header), column, the value found and why it is refused."""

    sheet: str
    line: int
    column: str
    value: str
    reason: str

    def __str__(self) -> str:
        place = f"{self.sheet} line {self.line}"
        if self.column:
            shown = self.value if len(self.value) <= 60 else self.value[:57] + "..."
            place += f", {self.column} “{shown}”"
        return f"{place}: {self.reason}"


class Refused(ValueError):
    """A value that cannot be stored; the message is the reason in plain words."""


def printable(text: str) -> str:
    """``text`` with bytes that were no UTF-8, line ends and other unseen characters written out, so that any
    terminal and page can show it on one line."""
    if text.isprintable():
        return text
    return "".join(
        character if character.isprintable() else character.encode("unicode_escape").decode()
        for character in text
    )


@dataclass
class Report:
    """What an import found and did, sheet by sheet."""

    faults: list[Fault] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    changed: dict[str, int] = field(default_factory=dict)
    stored: bool = False
    refused: set[tuple[str, str]] = field(default_factory=set)
    tally: Tally = field(default_factory=Tally)

    def fault(self, sheet: str, line: int, column: str, value: object, reason: str) -> None:
        """Note a fault."""
        shown = "" if value is None else printable(str(value))
        why = printable(reason)
        self.faults.append(
            Fault(sheet, line, column, shown, why if len(why) <= _LONGEST else f"{why[:_LONGEST]}...")
        )

    def remark(self, text: str) -> None:
        """Note what is no fault but should be known."""
        self.remarks.append(printable(text))

    def unknown(self, what: str, name: str) -> str:
        """Why a name cannot be referred to: nobody gave it, or the row that gave it was refused."""
        if (what, name) in self.refused:
            return f"the row that names this {what} was itself refused, see above"
        return f"no {what} of this name is known"

    def mark(self) -> str:
        """The same for two runs that would do and refuse the same."""
        said = (sorted(self.tally.rows.items()), self.tally.mark, [str(fault) for fault in self.faults])
        return sha256(repr(said).encode("utf-8", "backslashreplace")).hexdigest()

    def lines(self) -> Iterator[str]:
        """The report as people read it."""
        yield from self.remarks
        yield from (str(fault) for fault in self.faults)
        for sheet, rows in self.rows.items():
            changed = self.changed.get(sheet, 0) if self.stored else 0
            yield f"{sheet}: {rows:,} row{'' if rows == 1 else 's'} read, {changed:,} new or changed"
