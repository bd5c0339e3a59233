"""When an entry was written, by the desk's clock: phones stand wrong, and are set right in between."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from shared import clock

# A phone's clock may be off by so much before its times are set right.
CLOCK_SLACK = timedelta(seconds=90)


@dataclass(frozen=True)
class Pressed:
    """An instant by the phone's clock, and what to add to that clock: as measured when it came in, and as
    known when it was written, None for unknown."""

    at: datetime
    behind: timedelta
    behind_then: timedelta | None = None


def when(pressed: Pressed, now: datetime, planned: date | None, zone: ZoneInfo) -> datetime:
    """When it was written; never later than ``now``.

    A clock that was set between is believed as it stood when the entry was written, unless that is still to
    come, or only the other hour is of the local day ``planned``.
    """
    found = _hours(pressed, now)
    fitting = [at for at in found if clock.local_day(at, zone) == planned]
    return min(fitting[0] if len(fitting) == 1 else found[0], now)


def days_possible(pressed: Pressed, now: datetime, planned: date | None, zone: ZoneInfo) -> list[date]:
    """The local days that it may be of, in order; one where ``planned`` decides between two."""
    days = sorted({clock.local_day(at, zone) for at in _hours(pressed, now)})
    return [day for day in days if day == planned] or days


def _hours(pressed: Pressed, now: datetime) -> list[datetime]:
    """The hours that it may have been, the one by the clock as it stood then first."""
    behind, then = pressed.behind, pressed.behind_then
    offsets = [behind] if then is None or abs(then - behind) <= CLOCK_SLACK else [then, behind]
    hours = [pressed.at + (offset if abs(offset) > CLOCK_SLACK else timedelta(0)) for offset in offsets]
    return [at for at in hours if at <= now + CLOCK_SLACK] or hours[-1:]
