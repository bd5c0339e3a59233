"""Days, instants and hours as programs write them, within what a record can be of."""

from datetime import UTC, date, datetime, time
from typing import Annotated

from ninja import Field
from pydantic import AfterValidator, AwareDatetime

FIRST, LAST = date(1990, 1, 1), date(2199, 12, 31)


def _of_the_desk(hour: time) -> time:
    """Refuse an hour with an offset of its own. Raises ValueError."""
    if hour.tzinfo is not None:
        raise ValueError("give the hour by the desk's clock, without an offset")
    return hour


Day = Annotated[date, Field(ge=FIRST, le=LAST)]
Instant = Annotated[
    AwareDatetime,
    Field(ge=datetime(1990, 1, 1, tzinfo=UTC), le=datetime(2199, 12, 31, tzinfo=UTC)),
]
Hour = Annotated[time, AfterValidator(_of_the_desk)]
Key = Annotated[int, Field(ge=1, le=2**63 - 1)]
