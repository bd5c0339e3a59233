"""Figures that are likelier of another unit than their column's: pascals among inches, kilowatts among tons.
What no blower reaches is refused elsewhere; what is only unusual is taken, and asked about."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from itertools import pairwise
from typing import Any

from equipment.bounds import USUAL_CAPACITY_TONS, USUAL_STATIC_INWC
from shared import units

# Highest figure that a home usually has, and what a number above it would be in the other unit.
_PRESSURE = units.inwc(USUAL_STATIC_INWC)
_CAPACITY = units.tons(USUAL_CAPACITY_TONS)


def _usual(column: str) -> float | None:
    if column.endswith("_inwc"):
        return _PRESSURE
    return _CAPACITY if column == "capacity_tons" else None


class OddUnits:
    """The unusual figures of one sheet, by column: the lines and the first figure as typed."""

    def __init__(self, columns: Iterable[str]) -> None:
        limits = {column: _usual(column) for column in columns}
        self._usual = {column: usual for column, usual in limits.items() if usual is not None}
        self._lines: dict[str, list[int]] = defaultdict(list)
        self._first: dict[str, str] = {}
        self._rising: list[int] = []

    def note(self, line: int, values: Mapping[str, Any], typed: Mapping[str, str]) -> None:
        """Remember the row's figures, which were taken, that are above what homes usually have."""
        for column, usual in self._usual.items():
            value = values.get(column)
            if value is not None and value > usual:
                self._lines[column].append(line)
                self._first.setdefault(column, typed[column])

        table = values.get("blower_table")
        if table and any(other[1] >= one[1] for one, other in pairwise(table)):
            self._rising.append(line)

    def remark(self, sheet: str, say: Callable[[str], None]) -> None:
        """Ask about each column once."""
        if self._rising:
            others = f" and {len(self._rising) - 1:,} more" if len(self._rising) > 1 else ""
            say(
                f"{sheet}: the static of blower_table on line {self._rising[0]}{others} does not fall with "
                "rising airflow; no airflow can be read from such a table"
            )
        for column, lines in self._lines.items():
            first, count = self._first[column], len(lines)
            where = f"{count:,} rows, the first on line {lines[0]}," if count > 1 else f"line {lines[0]}"
            say(f"{sheet}: {column} of {where} is unusually large; {_other(column, first)}")


def _other(column: str, typed: str) -> str:
    if column == "capacity_tons":
        return f"was it written in kW? {typed} kW are {float(typed) * 1000 / units.W_PER_TON:.2f} tons"
    return f"was it read in Pa? {typed} Pa are {float(typed) / units.PA_PER_INWC:.3f} in. w.c."
