"""What a household is told of a visit: the day, and the hours between which somebody comes."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _

from equipment.models import Desk
from schedules.explain import say_day
from schedules.models import Visit

# An arrival that was only reckoned is told as the half hours around it.
_EITHER_WAY = timedelta(hours=1)
_HALF_HOUR = timedelta(minutes=30)


@dataclass(frozen=True)
class Promise:
    """Whether somebody comes, on which day, and from when to when (UTC) where that is known."""

    coming: bool
    day: date | None = None
    first: datetime | None = None
    last: datetime | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain values, for a row."""
        return {
            "coming": self.coming,
            "day": self.day.isoformat() if self.day else None,
            "first": self.first.isoformat() if self.first else None,
            "last": self.last.isoformat() if self.last else None,
        }

    @classmethod
    def from_json(cls, row: dict[str, Any]) -> "Promise":
        """The promise that ``as_json`` wrote."""
        day, first, last = row["day"], row["first"], row["last"]
        return cls(
            row["coming"],
            date.fromisoformat(day) if day else None,
            datetime.fromisoformat(first) if first else None,
            datetime.fromisoformat(last) if last else None,
        )


def promise_of(visit: Visit, desk_zone: ZoneInfo | None = None) -> Promise:
    """What may be told of the visit as it stands: the hours agreed to, else those around its arrival.

    ``desk_zone`` spares a query where many are asked about.
    """
    if visit.state not in Visit.ON_A_DAY or visit.day is None or visit.technician is None:
        return Promise(False)
    zone = desk_zone or Desk.the().zone
    if visit.window_from or visit.window_to:
        first, last = (
            datetime.combine(visit.day, hour, zone)
            for hour in (
                visit.window_from or visit.technician.day_starts,
                visit.window_to or visit.technician.day_ends,
            )
        )
        return Promise(True, visit.day, first, last)
    if visit.arrive_at is None:
        return Promise(True, visit.day)
    first, last = _half_hour(visit.arrive_at - _EITHER_WAY), _half_hour(visit.arrive_at + _EITHER_WAY)
    opens = datetime.combine(visit.day, visit.technician.day_starts, zone).astimezone(UTC)
    if opens <= visit.arrive_at:
        first = max(first, opens)
    return Promise(True, visit.day, first, last)


def _half_hour(at: datetime) -> datetime:
    """The half hour nearest to ``at``."""
    whole = at.replace(minute=0, second=0, microsecond=0)
    return whole + round((at - whole) / _HALF_HOUR) * _HALF_HOUR


def still_true(told: Promise, visit: Visit, desk_zone: ZoneInfo | None = None) -> bool:
    """Whether what was told still holds: the same day, and an arrival within the hours told."""
    stands = promise_of(visit, desk_zone)
    if not (told.coming and stands.coming):
        return told.coming == stands.coming
    if told.day != stands.day:
        return False
    if visit.window_from or visit.window_to:
        return (told.first, told.last) == (stands.first, stands.last)
    if visit.arrive_at is None:
        return True
    return told.first is not None and told.last is not None and told.first <= visit.arrive_at <= told.last


def standing_promise(visit: Visit, told: Promise | None) -> Promise | None:
    """What was told, where somebody was to come and no other hours were agreed with the home since."""
    if told is None or not told.coming:
        return None
    if visit.window_from or visit.window_to:
        stands = promise_of(visit)
        if (
            stands.coming
            and told.day == stands.day
            and (told.first, told.last) != (stands.first, stands.last)
        ):
            return None
    return told


def hours_words(promise: Promise, tz: ZoneInfo) -> str:
    """Such as ``on 26 November 2026 between 9:00 and 11:30``, in the household's zone."""
    if promise.first is None or promise.last is None:
        return _("on %(day)s") % {"day": say_day(promise.day)}
    first, last = promise.first.astimezone(tz), promise.last.astimezone(tz)
    return _("on %(day)s between %(first)s and %(last)s") % {
        "day": say_day(first.date()),
        "first": formats.date_format(first, "H:i"),
        "last": formats.date_format(last, "H:i"),
    }
