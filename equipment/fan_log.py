"""Fan hours on record as arrays: the one place that knows how days are kept.

Recent days are rows, past ones lie folded, a year of a system in one row (``fan_fold``).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from equipment import bulk_read
from equipment.models import FanYear, RuntimeDay
from shared.packed_days import DAYS, unpack

DAY_NUMBER = {
    "postgresql": "(day - DATE '0001-01-01' + 1)::bigint",
    "sqlite": "CAST(julianday(day) - 1721424.5 AS INTEGER)",
}
# No day's ordinal is as high.
_BEYOND = 4_000_000
_SOME = 900


@dataclass(frozen=True)
class FanLog:
    """Flat rows [k]: system, local day as a proleptic ordinal, fan hours of that day."""

    system: NDArray[np.int64]
    day: NDArray[np.int64]
    hours: NDArray[np.float64]

    def by_day(self) -> dict[tuple[int, date], float]:
        """The same by system and day."""
        days = map(date.fromordinal, self.day.tolist())
        return dict(zip(zip(self.system.tolist(), days, strict=True), self.hours.tolist(), strict=True))

    def among(self, kept: NDArray[np.bool_]) -> "FanLog":
        """Some of the rows."""
        return FanLog(self.system[kept], self.day[kept], self.hours[kept])


def fan_log(system_ids: Iterable[int], until: date, since: date = date.min) -> FanLog:
    """What is on record of some systems from one day up to another, in no order."""
    some = sorted(set(system_ids))
    table, day = RuntimeDay._meta.db_table, DAY_NUMBER[connection.vendor]
    whole = FanLog(*bulk_read.arrays(
        f"SELECT system_id, {day}, fan_hours FROM {table} WHERE {{among}} AND day BETWEEN %s AND %s",  # noqa: S608
        "system_id", some, [since, until], ("i8", "i8", "f8"),
    ))  # fmt: skip
    folded = _folded(some, since, until)
    covered = np.isin(folded.system * _BEYOND + folded.day, whole.system * _BEYOND + whole.day)
    folded = folded.among(~covered)
    return FanLog(
        np.concatenate([whole.system, folded.system]),
        np.concatenate([whole.day, folded.day]),
        np.concatenate([whole.hours, folded.hours]),
    )


def _folded(systems: Sequence[int], since: date, until: date) -> FanLog:
    rows: list[tuple[int, int, bytes]] = []
    for start in range(0, len(systems), _SOME):
        years = bulk_read.among(FanYear.objects.all(), "system_id", systems[start : start + _SOME])
        years = years.filter(year__range=(since.year, until.year))
        rows.extend(bulk_read.tuples(years.values_list("system_id", "year", "hours")))
    hours = unpack([bytes(packed) for _, _, packed in rows])
    first = np.array([date(year, 1, 1).toordinal() for _, year, _ in rows], dtype=np.int64)
    day = first[:, None] + np.arange(DAYS)
    kept = ~np.isnan(hours) & (day >= since.toordinal()) & (day <= until.toordinal())
    system = np.broadcast_to(np.array([pk for pk, _, _ in rows], dtype=np.int64)[:, None], hours.shape)
    return FanLog(system[kept], day[kept], hours[kept])
