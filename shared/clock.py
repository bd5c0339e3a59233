"""Local days and sending hours, given ``now`` and a zone; never asks for the time itself."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError


def zone(name: str) -> ZoneInfo:
    """The IANA zone called ``name``; ValueError with a plain sentence when there is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError(f"“{name}” is not a time zone such as America/Chicago") from None


def local_day(now: datetime, tz: ZoneInfo) -> date:
    """The calendar day of the aware instant ``now`` in ``tz``."""
    return now.astimezone(tz).date()


def latest_day(now: datetime) -> date:
    """The calendar day of ``now`` where it is latest, fourteen hours east: later ones are still to come
    everywhere."""
    return (now.astimezone(UTC) + timedelta(hours=14)).date()


def start_of_day(day: date, tz: ZoneInfo) -> datetime:
    """The first instant of ``day`` in ``tz``, in UTC."""
    return datetime.combine(day, time.min, tz).astimezone(UTC)


def end_of_day(day: date, tz: ZoneInfo) -> datetime:
    """The instant at which ``day`` is over in ``tz``, in UTC: the start of the next day."""
    return start_of_day(day + timedelta(days=1), tz)


def hours_in_day(day: date, tz: ZoneInfo) -> float:
    """Length of a local day: 24, or 23 and 25 where the clocks change."""
    return (end_of_day(day, tz) - start_of_day(day, tz)).total_seconds() / 3600


def send_at(day: date, tz: ZoneInfo, hour: int) -> datetime:
    """The instant of ``hour`` o'clock local time on ``day``, in UTC.

    An hour that the clocks skip that day is taken at the same distance from midnight.
    """
    return datetime.combine(day, time(hour), tz).astimezone(UTC)


def skipped(local: datetime, tz: ZoneInfo) -> bool:
    """Whether the clocks of ``tz`` jump over the naive ``local``."""
    return local.replace(tzinfo=tz).astimezone(UTC).astimezone(tz).replace(tzinfo=None) != local


def repeated(local: datetime, tz: ZoneInfo) -> bool:
    """Whether the clocks of ``tz`` show the naive ``local`` twice."""
    first, second = (local.replace(tzinfo=tz, fold=fold).utcoffset() for fold in (0, 1))
    return first != second and not skipped(local, tz)


def in_window(now: datetime, tz: ZoneInfo, first_hour: int, last_hour: int) -> bool:
    """Whether local time is from ``first_hour`` to before ``last_hour``."""
    return first_hour <= now.astimezone(tz).hour < last_hour


def working_day(day: date, holidays: frozenset[date] = frozenset()) -> bool:
    """Monday to Friday and not among ``holidays``."""
    return day.weekday() < 5 and day not in holidays


def next_working_day(day: date, holidays: frozenset[date] = frozenset()) -> date:
    """``day`` itself when it is a working day, else the next that is."""
    while not working_day(day, holidays):
        day += timedelta(days=1)
    return day
