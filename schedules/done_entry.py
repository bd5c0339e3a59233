"""One thing done at a home, as the page of what was done tells it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _

from equipment.models import User
from schedules.explain import say_day
from shared import clock


@dataclass(frozen=True)
class Entry:
    """One thing done: its local day, where in the home, what in words, known from whom, written down when and
    by whom; ``undone``: the day it was taken back."""

    day: date
    where: str
    what: str
    known: str
    written: str
    undone: date | None = None


def put_right(said: str, was: Iterable[str]) -> str:
    """What was done, with what the record said of it before, if it said other things."""
    others = list(dict.fromkeys(was))
    return said + _(" (put right; before: %(drops)s)") % {"drops": "; ".join(others)} if others else said


def written(at: datetime, by: User | None, zone: ZoneInfo) -> str:
    """On which day the record was told, and by whom where that is known."""
    day = say_day(clock.local_day(at, zone))
    return f"{day}, {name_of(by)}" if by else day


def name_of(user: User) -> str:
    """Whoever told it, by name."""
    return user.get_full_name() or (user.person.name if user.person else str(user))
