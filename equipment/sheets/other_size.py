"""Media of another size than the slot that they are said to be in: taken, since it happened, and told."""

from equipment.sheets.table import Sheet

_NAMED = 20


class OtherSizes:
    """The rows of one sheet whose medium is of another size than its slot."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._found: list[tuple[int, str]] = []

    def note(self, line: int, medium: str, medium_size: str, slot: str, slot_size: str) -> None:
        """Remember the row on ``line``, which was taken, if the two sizes differ."""
        if medium_size != slot_size:
            self._found.append((line, f"“{medium}” is {medium_size}, its slot “{slot}” is {slot_size}"))

    def remark(self) -> None:
        """Name the first of them with both sizes, and say how many more there are."""
        found = sorted(self._found)
        for line, what in found[:_NAMED]:
            self._sheet.report.remark(
                f"{self._sheet.name} line {line}: {what}; taken as what happened, but it is no fit"
            )
        if len(found) > _NAMED:
            self._sheet.report.remark(
                f"{self._sheet.name}: {len(found) - _NAMED:,} more rows name a filter of another size"
            )
