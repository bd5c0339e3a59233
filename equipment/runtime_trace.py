"""The trace of fan hours that are written over: only what was replaced leaves a row, so that the millions of
days that are written once cost nothing.
"""

from collections.abc import Sequence
from datetime import date, datetime

from equipment import bulk
from equipment.models import RuntimeBefore

# System, day and the hours that were on record until now.
Before = tuple[int, date, float]


def note(replaced: Sequence[Before], source: str, now: datetime) -> None:
    """Keep what was on record, in one statement; in the transaction that writes over it."""
    if not replaced:
        return
    systems, days, hours = zip(*replaced, strict=True)
    count = len(replaced)
    bulk.insert(
        RuntimeBefore,
        {
            "system_id": systems,
            "day": days,
            "fan_hours": hours,
            "at": [now] * count,
            "source": [source[:160]] * count,
        },
    )
