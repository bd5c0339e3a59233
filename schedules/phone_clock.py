"""When an entry was written, by the desk's clock: phones stand wrong, and are set right in between."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from shared import clock

# A phone's clock may be off by so much before its times are set right.
CLOCK_SLACK = timedelta(seconds=90)
# What is said to be older was written by a clock that nobody should believe.
OLDEST = timedelta(days=30)


@dataclass(frozen=True)
class Pressed:
    """An instant by the phone's clock, and what to add to that clock: as measured when it came in, and as
    known when it was written, None for unknown."""

    at: datetime
    behind: timedelta
    behind_then: timedelta | None = None


@dataclass(frozen=True)
class Hour:
    """When it was written, ``at``, and what else it may have been on another day; ``sure``: the day that it
    was planned for decides between the two, or there is nothing to decide."""

    at: datetime
    other: datetime | None = None
    sure: bool = True


def hour_of(pressed: Pressed, now: datetime, planned: date | None, zone: ZoneInfo) -> Hour:
    """The hour of an entry, never later than ``now``.

    A clock that was set between is believed as it stood when the entry was written, unless that is still to
    come or very long ago, or only the other hour is of the local day ``planned``. What can only be very long
    ago may as well have been written when it came in.
    """
    found = _hours(pressed, now)
    fitting = [at for at in found if clock.local_day(at, zone) == planned]
    at = min(fitting[0] if len(fitting) == 1 else found[0], now)
    if at < now - OLDEST:
        return Hour(at, now, sure=False)
    other = next((one for one in found if clock.local_day(one, zone) != clock.local_day(at, zone)), None)
    return Hour(at, other, sure=other is None or len(fitting) == 1)


def _hours(pressed: Pressed, now: datetime) -> list[datetime]:
    """The hours that it may have been, the one by the clock as it stood then first."""
    behind, then = pressed.behind, pressed.behind_then
    offsets = [behind] if then is None or abs(then - behind) <= CLOCK_SLACK else [then, behind]
    hours = [pressed.at + (offset if abs(offset) > CLOCK_SLACK else timedelta(0)) for offset in offsets]
    possible = [at for at in hours if now - OLDEST <= at <= now + CLOCK_SLACK]
    return possible or [at for at in hours if at <= now + CLOCK_SLACK] or hours[-1:]
