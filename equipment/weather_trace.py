"""The trace of weather and air that are written over: only what was replaced leaves a row."""

from collections.abc import Sequence
from datetime import date, datetime

from equipment import bulk
from equipment.models import WeatherBefore

# Station, day and the value that was on record until now.
Before = tuple[int, date, float]


def note(figure: str, replaced: Sequence[Before], source: str, now: datetime) -> None:
    """Keep what was on record, in one statement; in the transaction that writes over it."""
    if not replaced:
        return
    stations, days, values = zip(*replaced, strict=True)
    count = len(replaced)
    bulk.insert(
        WeatherBefore,
        {
            "station_id": stations, "day": days, "value": values, "figure": [figure] * count,
            "at": [now] * count, "source": [source[:160]] * count,
        },
    )  # fmt: skip
