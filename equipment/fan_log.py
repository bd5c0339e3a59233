"""Fan hours on record as arrays: the one place that knows how days are kept."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from equipment import bulk
from equipment.models import RuntimeDay

_DAY = {
    "postgresql": "(day - DATE '0001-01-01' + 1)::bigint",
    "sqlite": "CAST(julianday(day) - 1721424.5 AS INTEGER)",
}


@dataclass(frozen=True)
class FanLog:
    """Flat rows [k]: system, local day as a proleptic ordinal, fan hours of that day."""

    system: NDArray[np.int64]
    day: NDArray[np.int64]
    hours: NDArray[np.float64]


def fan_log(system_ids: Sequence[int], until: date) -> FanLog:
    """What is on record of some systems up to a day, in no order."""
    table, day = RuntimeDay._meta.db_table, _DAY[connection.vendor]
    some = sorted(set(system_ids))
    system, days, hours = bulk.read(
        f"SELECT system_id, {day}, fan_hours FROM {table} WHERE {{among}} AND day <= %s",  # noqa: S608
        "system_id", some, [until], ("i8", "i8", "f8"),
    )  # fmt: skip
    return FanLog(system, days, hours)
