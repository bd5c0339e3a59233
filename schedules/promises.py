"""Promises and readings of the desk as arrays, with what they are grouped by."""

from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from django.db.models import Count

from equipment.models import Reading
from schedules.finding_rows import Finding
from schedules.models import Foretold, Plan
from schedules.planning.kept import Kept, Promises, judge
from shared.units import METRE_PER_INCH

LOOK_BACK = timedelta(days=731)


@dataclass(frozen=True)
class Promised:
    """One promise with what was read, and where."""

    slot: int
    day: date
    told: tuple[float, float, float]
    read: float
    merv: int | None
    depth_m: float
    town: str


@dataclass(frozen=True)
class Record:
    """The promises that can be judged, how many readings are findings and so left out, how many had no
    promise and why, and how many wait."""

    promises: list[Promised]
    findings: int
    without: dict[str, int]
    waiting: int


def record(now: datetime) -> Record:
    """The readings of the last two years; four queries however many there are."""
    since = now - LOOK_BACK
    rows = Foretold.objects.filter(reading__taken_at__gte=since, why_not="").values_list(
        "reading__slot_id", "as_of", "days", "p10_pa", "p50_pa", "p90_pa", "read_pa", "merv",
        "reading__slot__depth_m", "reading__slot__system__site__city",
    )  # fmt: skip
    every = [_promised(*row) for row in rows]
    odd = _found()
    kept = [one for one in every if not any(_speaks_of(finding, one.day) for finding in odd[one.slot])]
    without = Foretold.objects.filter(reading__taken_at__gte=since).exclude(why_not="")
    counted = without.values_list("why_not").annotate(count=Count("pk")).order_by("why_not")
    waiting = Reading.objects.filter(foretold=None).count()
    return Record(kept, len(every) - len(kept), dict(counted), waiting)


def _promised(slot: Any, as_of: Any, days: Any, *numbers: Any) -> Promised:
    low, middle, high, read, merv, depth, town = numbers
    return Promised(slot, as_of + timedelta(days=days), (low, middle, high), read, merv, depth, town)


def _found() -> dict[int, list[Finding]]:
    odd: dict[int, list[Finding]] = defaultdict(list)
    for slot, findings in Plan.objects.exclude(findings=[]).values_list("slot_id", "findings"):
        odd[slot] = [finding for finding in findings if finding["kind"] != "log_stopped"]
    return odd


def _speaks_of(finding: Finding, day: date) -> bool:
    """Whether the reading of ``day`` is a finding, or comes from a filter that nobody wrote down."""
    if finding["until"]:
        return int(finding["at"][0]) < day.toordinal() <= date.fromisoformat(finding["until"]).toordinal()
    return day.toordinal() in {int(at) for at in finding["at"]}


def as_arrays(promises: list[Promised]) -> Promises:
    """The same as arrays."""
    told = np.array([one.told for one in promises], dtype=np.float64).reshape(-1, 3).T
    return Promises(told, np.array([one.read for one in promises], dtype=np.float64))


def grouped(
    promises: list[Promised], key: Callable[[Promised], tuple[Any, ...]]
) -> list[tuple[tuple[Any, ...], Kept]]:
    """Each group judged by itself, in the order of their keys."""
    groups: dict[tuple[Any, ...], list[Promised]] = defaultdict(list)
    for one in promises:
        groups[key(one)].append(one)
    return [(name, judge(as_arrays(groups[name]))) for name in sorted(groups)]


def by_month(every: list[Promised]) -> list[tuple[tuple[Any, ...], Kept]]:
    """By the first day of the month in which they were read."""
    return grouped(every, lambda one: (one.day.replace(day=1),))


def by_class(every: list[Promised]) -> list[tuple[tuple[Any, ...], Kept]]:
    """By MERV, nought for unknown, and depth in whole inches."""
    return grouped(every, lambda one: (one.merv or 0, round(one.depth_m / METRE_PER_INCH)))


def by_town(every: list[Promised]) -> list[tuple[tuple[Any, ...], Kept]]:
    """By the home's town."""
    return grouped(every, lambda one: (one.town,))
