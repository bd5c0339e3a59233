"""The hours of a working day at which the roads are slower than usual, as the desk has them."""

import re
from collections.abc import Callable, Sequence
from datetime import date, time
from itertools import pairwise

from django.utils.translation import gettext as _

from schedules.models import Policy
from schedules.planning.routing.pace import Pace

_SATURDAY = 5
_LINE = re.compile(
    r"^(?P<from>\d{1,2}(?::\d{2})?)\s*(?:-|–|to)\s*(?P<to>\d{1,2}(?::\d{2})?)\s*:?\s*(?P<share>\d{1,4})\s*%?$"
)
LEAST_SHARE, MOST_SHARE = 10, 200


def pace_over(days: Sequence[date], seconds_at: Callable[[date, time], int]) -> Pace:
    """The pace of the days by the seconds that ``seconds_at`` counts to an hour of them."""
    spans = [_span(words) for words in Policy.the().slow_hours]
    return Pace(
        tuple(
            (seconds_at(day, start), seconds_at(day, end), share)
            for day in sorted(days)
            if day.weekday() < _SATURDAY
            for start, end, share in spans
            if seconds_at(day, start) < seconds_at(day, end)
        )
    )


def read(text: str) -> list[list[str | int]]:
    """Spans as stored, from lines such as ``7:00-9:00 80``. Raises ValueError with a plain sentence."""
    found: list[list[str | int]] = []
    for line in filter(None, (line.strip() for line in text.splitlines())):
        told = _LINE.match(line)
        if told is None:
            raise ValueError(_("“%(line)s”: write hours and a speed, such as 7:00-9:00 80.") % {"line": line})
        found.append(_whole(line, told["from"], told["to"], int(told["share"])))
    found.sort(key=lambda span: str(span[0]))
    for before, after in pairwise(found):
        if str(after[0]) < str(before[1]):
            raise ValueError(_("Two lines speak of the hour from %(hour)s.") % {"hour": after[0]})
    return found


def write(spans: Sequence[Sequence[str | int]]) -> str:
    """The lines that ``read`` takes."""
    return "\n".join(f"{start}-{end} {share} %" for start, end, share in spans)


def _whole(line: str, start: str, end: str, share: int) -> list[str | int]:
    try:
        first, last = _time(start), _time(end)
    except ValueError:
        raise ValueError(_("“%(line)s”: there is no such hour.") % {"line": line}) from None
    if last <= first:
        raise ValueError(_("“%(line)s”: the hours end before they begin.") % {"line": line})
    if not LEAST_SHARE <= share <= MOST_SHARE:
        limits = {"line": line, "least": LEAST_SHARE, "most": MOST_SHARE}
        raise ValueError(_("“%(line)s”: a speed is %(least)d to %(most)d %% of the usual one.") % limits)
    return [f"{first:%H:%M}", f"{last:%H:%M}", share]


def _time(text: str) -> time:
    hour, _colon, minute = text.partition(":")
    return time(int(hour), int(minute or 0))


def _span(words: Sequence[str | int]) -> tuple[time, time, int]:
    start, end, share = words
    return time.fromisoformat(str(start)), time.fromisoformat(str(end)), int(share)
