"""Hours of a day as the wall clock shows them, in seconds since midnight."""

from collections.abc import Sequence
from datetime import time

DAY_S = 86_400


def span_of(firsts: Sequence[time | None], lasts: Sequence[time | None]) -> tuple[int, int]:
    """From the latest of the firsts to the earliest of the lasts; what was named first wins where these leave
    nothing."""
    first = max((seconds_of(one) for one in firsts if one), default=0)
    last = min((seconds_of(one) for one in lasts if one), default=DAY_S - 1)
    if first <= last or len(firsts) < 2:
        return first, last
    return span_of(firsts[:1], lasts[:1])


def seconds_of(hour: time) -> int:
    """Seconds by the wall clock since midnight."""
    return hour.hour * 3600 + hour.minute * 60 + hour.second


def clock_time(seconds: int) -> time:
    """The hour that ``seconds_of`` counts to."""
    minutes, second = divmod(min(max(seconds, 0), DAY_S - 1), 60)
    return time(minutes // 60, minutes % 60, second)
