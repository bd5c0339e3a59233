"""How many changes a year a medium asks for, season by season: a life begun in smoke tells little of one
begun in spring."""

import numpy as np

from schedules.planning.arrays import FloatArray

YEAR_DAYS = 365


def changes_a_year(running: FloatArray, holds_m: float, cap_days: float) -> float:
    """Changes in the year ahead if each filter goes in the day the one before comes out.

    ``running`` [365] is the expected exposure in m by day of the year ahead; a filter lasts until
    ``holds_m`` more have passed (inf: dust never ends it) and at most ``cap_days`` (inf: no cap), a day at
    the least. The life that the year's end cuts counts by the share of it inside. Nought where nothing ever
    asks for a change. Raises ValueError for a year of another length.
    """
    if len(running) != YEAR_DAYS:
        raise ValueError(f"a year has {YEAR_DAYS} days, not {len(running)}")
    day, changes = 0, 0.0
    while day < YEAR_DAYS:
        lasts = _lasts(running, day, holds_m, cap_days)
        if not np.isfinite(lasts):
            return changes
        changes += min(1.0, (YEAR_DAYS - day) / lasts)
        day += int(lasts)
    return changes


def _lasts(running: FloatArray, day: int, holds_m: float, cap_days: float) -> float:
    """Days that a filter lasts which goes in on ``day`` of the year; the years after are the same."""
    by_dust = np.inf
    a_year = float(running[-1])
    if np.isfinite(holds_m) and a_year > 0:
        begun = float(running[day - 1]) if day else 0.0
        years, rest = divmod(begun + holds_m, a_year)
        days = float(np.searchsorted(running, rest)) + 1 if rest > 0 else 0.0
        by_dust = years * YEAR_DAYS + days - day
    return float(max(1.0, np.floor(min(by_dust, cap_days))))
