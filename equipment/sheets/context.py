"""What the sheets of one import share: the report, the time, and whose facts changed."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import islice
from typing import TypeVar

from equipment.sheets.faults import Report
from equipment.sheets.tally import Tally

T = TypeVar("T")
BATCH = 2000


@dataclass
class Import:
    """One run over a directory."""

    now: datetime
    report: Report
    desk_zone: str
    progress: Callable[[str, int], None] = lambda sheet, rows: None
    slots: set[int] = field(default_factory=set)
    systems: set[int] = field(default_factory=set)
    stations: set[int] = field(default_factory=set)
    media: set[int] = field(default_factory=set)

    def so_far(self) -> "Import":
        """A copy to come back to."""
        said = self.report
        return replace(
            self,
            report=replace(
                said,
                faults=[*said.faults],
                remarks=[*said.remarks],
                rows={**said.rows},
                changed={**said.changed},
                refused={*said.refused},
                tally=said.tally.copy(),
            ),
            slots={*self.slots},
            systems={*self.systems},
            stations={*self.stations},
            media={*self.media},
        )

    def back_to(self, before: "Import") -> None:
        """Forget all that was noted since ``before`` was copied."""
        self.slots, self.systems = before.slots, before.systems
        self.stations, self.media = before.stations, before.media
        # The report is the caller's own object, so its parts are put back rather than itself.
        vars(self.report).update(vars(before.report))

    def changed(self, sheet: str, rows: int) -> None:
        """Count rows that were new or other than stored."""
        self.report.changed[sheet] = self.report.changed.get(sheet, 0) + rows

    @property
    def tally(self) -> Tally:
        """What this run changes."""
        return self.report.tally


def batches(rows: Iterable[T], size: int = BATCH) -> Iterator[list[T]]:
    """Lists of at most ``size`` rows."""
    walk = iter(rows)
    while batch := list(islice(walk, size)):
        yield batch
