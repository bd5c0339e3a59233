"""From when to when a job is best done: not so early as to waste much, not later than the risk taken."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

# Of a filter's time in its slot, and of a task's interval, so much may be given away for a shared trip.
# Own choices: a tenth more changes a year at the most.
WASTE = 0.15
LEAST_EARLY_DAYS = 7
# What is overdue is to be done within so many days.
OVERDUE_DAYS = 7


@dataclass(frozen=True, slots=True, order=True)
class DueWindow:
    """First and last day, both included."""

    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError("a window ends no sooner than it begins")

    @property
    def days(self) -> int:
        """How many days it holds."""
        return (self.last - self.first).days + 1


def due_window(today: date, since: date | None, due: date) -> DueWindow:
    """The window of a filter put in, or of a task last done, on ``since`` (None: not known) and due on
    ``due``; it never begins before today, and what is overdue has a few days."""
    span = (due - since).days if since is not None else 0
    early = due - timedelta(days=max(LEAST_EARLY_DAYS, round(WASTE * span)))
    last = due if due >= today else today + timedelta(days=OVERDUE_DAYS)
    return DueWindow(min(max(early, today), last), last)


def joined(windows: Sequence[DueWindow]) -> DueWindow:
    """The window of jobs that share a trip: from the latest to be ripe to the first to be late. Where these
    do not meet, the most urgent job's own: the others come along early. Raises ValueError for none."""
    if not windows:
        raise ValueError("no window to join")
    urgent = min(windows, key=lambda window: (window.last, window.first))
    ripe = max(window.first for window in windows)
    return DueWindow(ripe, urgent.last) if ripe <= urgent.last else urgent


def worth_of_serving(window: DueWindow, horizon_last: date, trip_s: int) -> int:
    """What it is worth, in seconds of travel, to do a job within the horizon that could wait beyond it: a
    trip of its own, times the share of its window that lies inside. Nought before its window has begun."""
    inside = (min(horizon_last, window.last) - window.first).days + 1
    return round(trip_s * max(0, inside) / window.days)


def days_open(window: DueWindow, working: Sequence[date], *, must: bool) -> list[date]:
    """The working days inside the window, ``working`` in order. Where none is and the work ``must`` be done
    on one of them, the last before it, since a little early is better than late, else the first after it."""
    inside = [day for day in working if window.first <= day <= window.last]
    if inside or not must:
        return inside
    before = [day for day in working if day < window.first]
    return before[-1:] or [day for day in working if day > window.last][:1]


def waste_s(window: DueWindow, day: date, life_days: int, trip_s: int) -> int:
    """What doing a job on ``day`` throws away of its ``life_days``, as seconds of travel: that share of the
    trip that the next change takes."""
    early = max(0, (window.last - day).days)
    return round(trip_s * early / max(life_days, early, 1))
