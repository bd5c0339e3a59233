"""Facts dated after today: taken with one remark a sheet, refused where they lie years ahead."""

from datetime import date, timedelta

from equipment.sheets.context import Import
from equipment.sheets.faults import Refused
from equipment.sheets.table import Sheet
from shared import clock

YEARS_AHEAD = 3
_SLIP = f"is more than {YEARS_AHEAD} years ahead, a likely slip of the pen"


class Ahead:
    """The rows of one sheet that are dated later than tomorrow.

    Tomorrow by the desk's clock is today already elsewhere. All that reads the record of a day leaves
    later facts out, so that a plan may be written down before its day.
    """

    def __init__(self, sheet: Sheet, run: Import, column: str) -> None:
        self._sheet, self._column = sheet, column
        today = clock.local_day(run.now, clock.zone(run.desk_zone))
        self.tomorrow = today + timedelta(days=1)
        # Not every year has a 29 February.
        leap = timedelta(days=(today.month, today.day) == (2, 29))
        self.farthest = (today - leap).replace(year=today.year + YEARS_AHEAD) + leap
        self._lines: list[int] = []
        self._last: date | None = None

    def check(self, day: date) -> None:
        """Raise Refused for a day years ahead."""
        if day > self.farthest:
            raise Refused(_SLIP)

    def note(self, day: date | None, line: int) -> None:
        """Remember the row on ``line``, which was taken, if its day is still to come."""
        if day is not None and day > self.tomorrow:
            self._lines.append(line)
            self._last = max(day, self._last or day)

    def remark(self) -> None:
        """Say how many there were, the first line and the latest day."""
        if not self._lines:
            return
        many = len(self._lines) > 1
        rows = f"{len(self._lines):,} rows are" if many else "1 row is"
        self._sheet.report.remark(
            f"{self._sheet.name}: {rows} dated after today ({'the first on ' if many else ''}line "
            f"{min(self._lines)}, {self._column} up to {self._last}); each counts from its day on"
        )
