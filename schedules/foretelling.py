"""Every reading beside what was promised of it four weeks before, with the facts of that day only."""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, datetime

import numpy as np

from equipment.curves import Medium, media_with_curves
from equipment.models import Desk, FilterChange, Reading, System
from schedules.due import settings
from schedules.fleet import prior_of_the_day
from schedules.gather import Gatherer
from schedules.lives import Life, SlotFacts, carry_all, local_ordinal
from schedules.models import Foretold
from schedules.planning.arrays import FloatArray
from schedules.planning.climate import day_of
from schedules.planning.forecast import forecast
from schedules.planning.foretell import foretell

DAYS_AHEAD = 28
AT_ONCE = 200


@dataclass(frozen=True)
class _Asked:
    """A reading at ``at`` (local ordinal) of a filter that began on ``began``, promised on ``as_of``."""

    reading: Reading
    at: float
    as_of: int


def foretell_readings(now: datetime, at_most: int = AT_ONCE, site: int | None = None) -> int:
    """Promise the newest readings that have no promise yet, at most so many, of one ``site`` (None: of all);
    how many were done."""
    waiting = Reading.objects.filter(foretold=None, taken_at__lte=now)
    if site is not None:
        waiting = waiting.filter(slot__system__site=site)
    rows = list(waiting.select_related("slot__system__site").order_by("-taken_at", "-pk")[:at_most])
    made, by_day = _asked(rows, now)
    for as_of, asked in sorted(by_day.items()):
        made.extend(_promised(day_of(as_of), asked, now))
    Foretold.objects.bulk_create(made, ignore_conflicts=True)
    return len(made)


def _asked(rows: list[Reading], now: datetime) -> tuple[list[Foretold], dict[int, list[_Asked]]]:
    """Readings of which nothing can be promised, and the others by their as-of day."""
    zone = Desk.the().timezone
    changes: dict[int, list[tuple[float, int]]] = defaultdict(list)
    found = FilterChange.objects.filter(slot__in={row.slot_id for row in rows}, undone_at=None)
    zones = {row.slot_id: row.slot.system.site.zone(zone) for row in rows}
    for change in found:
        since = local_ordinal(change.changed_at, zones[change.slot_id])
        changes[change.slot_id].append((since, change.changed_on.toordinal()))
    hopeless: list[Foretold] = []
    by_day: dict[int, list[_Asked]] = defaultdict(list)
    for row in rows:
        at = local_ordinal(row.taken_at, zones[row.slot_id])
        began = _began(row, at, changes[row.slot_id])
        as_of = max(began or 0, int(at) - DAYS_AHEAD)
        if began is None or as_of >= int(at):
            why = Foretold.WhyNot.START if began is None else Foretold.WhyNot.SAME_DAY
            hopeless.append(Foretold(reading=row, why_not=why, made_at=now))
        else:
            by_day[as_of].append(_Asked(row, at, as_of))
    return hopeless, by_day


def _began(row: Reading, at: float, changes: list[tuple[float, int]]) -> int | None:
    """The day on which the filter went in that was read; None where the record does not say."""
    before = [day for began, day in changes if began < at]
    fitted = row.slot.fitted_on
    if fitted is not None and fitted.toordinal() <= at:
        before.append(fitted.toordinal())
    return max(before, default=None)


def _promised(as_of: date, asked: list[_Asked], now: datetime) -> list[Foretold]:
    sites = {one.reading.slot.system.site_id for one in asked}
    systems = list(System.objects.filter(site__in=sites).order_by("site", "pk").values_list("pk", flat=True))
    gathered = Gatherer(as_of).gather(systems)
    # Learned once a month, on its first day: facts up to then are among those up to the as-of day.
    result = forecast(gathered.facts, settings(), prior_of_the_day(as_of.replace(day=1), now))
    place = {slot.row.pk: row for row, slot in enumerate(gathered.slots)}
    rows = np.array([place[one.reading.slot_id] for one in asked], dtype=np.int64)
    days = np.array([int(one.at) - one.as_of for one in asked], dtype=np.int64)
    told = foretell(result, gathered.facts.slots.clean_pa[rows], days, rows)
    media = media_with_curves({slot.now.media for slot in gathered.slots if slot.now.media})
    made = []
    for number, one in enumerate(asked):
        slot = gathered.slots[rows[number]]
        row = Foretold(reading=one.reading, as_of=as_of, days=int(days[number]), made_at=now)
        # A fall that nobody explained leaves the start of what was read open.
        if not slot.now.known_start or result.began[rows[number]] != slot.now.began:
            row.why_not = Foretold.WhyNot.START
        else:
            _fill(row, one, slot, told[:, number], media.get(slot.now.media or 0))
        made.append(row)
    return made


def _fill(row: Foretold, one: _Asked, slot: SlotFacts, told: FloatArray, medium: Medium | None) -> None:
    """Write the promise [3] and what was read, carried to the same airflow, into ``row``."""
    if medium is None or not np.isfinite(told).all():
        row.why_not = Foretold.WhyNot.NO_DROP
        return
    reading = (one.at, one.reading.filter_drop_pa, one.reading.airflow_m3s)
    life = Life(slot.now.began, slot.now.media, True, False, [reading])
    carry_all([replace(slot, lives=[life])], {medium.row.pk: medium})
    row.read_pa = round(life.at_design[0], 4)
    row.p10_pa, row.p50_pa, row.p90_pa = (round(float(drop), 4) for drop in told)
    row.merv = medium.row.merv
