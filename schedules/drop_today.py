"""What a manometer should show today across a filter, with its span."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from django.utils.translation import gettext as _

from equipment.models import FilterSlot, System
from schedules.due import settings, today
from schedules.fleet import prior_of_the_day
from schedules.gather import Gatherer
from schedules.planning.forecast import forecast
from schedules.planning.foretell import foretell
from shared.units import PRESSURE, number, show


@dataclass(frozen=True)
class DropToday:
    """A reading at design airflow lies at or below ``low_pa``, ``middle_pa`` and ``high_pa`` in 10, 50 and
    90 of a hundred such slots."""

    low_pa: float
    middle_pa: float
    high_pa: float

    def span(self, units: str) -> str:
        """From the low to the high end, in the reader's units."""
        low = number(self.low_pa, PRESSURE, units)
        return _("%(low)s to %(high)s") % {"low": low, "high": show(self.high_pa, PRESSURE, units)}

    def say(self, units: str) -> str:
        """The span and its middle in the reader's units."""
        low, middle = (number(value, PRESSURE, units) for value in (self.low_pa, self.middle_pa))
        said = {"low": low, "middle": middle, "high": show(self.high_pa, PRESSURE, units)}
        return _("%(low)s to %(high)s, likeliest %(middle)s") % said


def drops_today(slots: Iterable[FilterSlot], now: datetime) -> dict[int, DropToday]:
    """The span of each slot by its key, where it can be reckoned; a fixed number of queries.

    The whole homes are gathered, as their slots hear of each other's dust.
    """
    wanted = {slot.pk: slot for slot in slots}
    if not wanted:
        return {}
    sites = {slot.system.site_id for slot in wanted.values()}
    systems = list(System.objects.filter(site__in=sites).order_by("site", "pk").values_list("pk", flat=True))
    as_of = today(now)
    gathered = Gatherer(as_of).gather(systems)
    rows = np.array([n for n, slot in enumerate(gathered.slots) if slot.row.pk in wanted], dtype=np.int64)
    if not len(rows):
        return {}
    result = forecast(gathered.facts, settings(), prior_of_the_day(as_of, now))
    clean = gathered.facts.slots.clean_pa[rows]
    told = foretell(result, clean, np.zeros(len(rows), dtype=np.int64), rows)
    reckoned = np.isfinite(told).all(axis=0) & np.isfinite(result.drop_now_pa[rows])
    return {
        gathered.slots[row].row.pk: DropToday(*(float(drop) for drop in told[:, n]))
        for n, row in enumerate(rows)
        if reckoned[n]
    }
