"""Past days folded: a day's row becomes two bytes of its year, and says the same.

Safe beside writers: what is folded is exactly what was deleted, in one transaction. A day that comes late, or
is put right, is a row again, counts before the folded one, and is folded with the next.
"""

from collections import defaultdict
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from django.db import connection, transaction

from equipment import bulk
from equipment.models import FanYear, RuntimeDay
from shared.packed_days import DAYS, pack, unpack

# So many days at least stay rows: what devices still put right, and what a page shows day by day.
WHOLE_DAYS = 62
# And so many more may wait, so that the row of a year is not written anew every day.
_MAY_WAIT_DAYS = 28
_SOME = 500
_FIELDS = ("system", "year", "hours")
_Year = tuple[int, int]


def fold(system_ids: Sequence[int], before: date) -> int:
    """Fold the days of some systems that lie before a day; how many days."""
    some = sorted(set(system_ids))
    return sum(_fold_some(some[start : start + _SOME], before) for start in range(0, len(some), _SOME))


def fold_late(today: date) -> int:
    """Fold the systems that have days which waited for long; how many days."""
    last = today - timedelta(days=WHOLE_DAYS)
    late = RuntimeDay.objects.filter(day__lt=last - timedelta(days=_MAY_WAIT_DAYS))
    return fold(list(late.order_by().values_list("system", flat=True).distinct()), last)


@transaction.atomic
def _fold_some(systems: Sequence[int], before: date) -> int:
    days = _taken_out(systems, before)
    years: dict[_Year, list[tuple[int, float]]] = defaultdict(list)
    for system, day, hours in days:
        years[system, day.year].append((day.timetuple().tm_yday - 1, hours))
    if years:
        _write(years)
    return len(days)


def _taken_out(systems: Sequence[int], before: date) -> list[tuple[int, date, float]]:
    marks = ", ".join(["%s"] * len(systems))
    sql = (
        f"DELETE FROM {RuntimeDay._meta.db_table} WHERE system_id IN ({marks}) AND day < %s "  # noqa: S608
        "RETURNING system_id, day, fan_hours"
    )
    with connection.cursor() as cursor:
        cursor.execute(sql, [*systems, before])
        return [
            (system, day if isinstance(day, date) else date.fromisoformat(day), hours)
            for system, day, hours in cursor.fetchall()
        ]


def _write(years: dict[_Year, list[tuple[int, float]]]) -> None:
    mine = FanYear.objects.filter(system__in={system for system, _ in years}, year__in={y for _, y in years})
    # Of two who fold the same year at once the second waits for the first.
    stored = {
        (system, year): bytes(hours)
        for system, year, hours in mine.select_for_update()
        .order_by("system", "year")
        .values_list("system", "year", "hours")
    }
    known = dict(zip(stored, unpack(list(stored.values())), strict=True))
    rows = []
    for (system, year), days in years.items():
        hours = known.get((system, year), np.full(DAYS, np.nan))
        where, values = zip(*days, strict=True)
        hours[list(where)] = values
        rows.append(FanYear(system_id=system, year=year, hours=pack(hours)))
    bulk.put(FanYear, "system_id, year", [FanYear._meta.get_field(name) for name in _FIELDS], rows)
