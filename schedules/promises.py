"""Promises and readings of the desk as arrays, by month, class of filter and town."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from django.db.models import Count, Max, Min, QuerySet

from equipment import bulk_read
from equipment.models import Reading
from schedules.finding_rows import Finding
from schedules.models import Foretold, Plan
from schedules.planning.arrays import BoolArray, IntArray
from schedules.planning.climate import day_of
from schedules.planning.kept import Kept, Promises, Share, calibration, judge
from shared.units import METRE_PER_INCH

LOOK_BACK = timedelta(days=731)
# Promises at once: rows as the database gives them take ten times the room of their arrays.
_AT_ONCE = 100_000


@dataclass(frozen=True)
class Record:
    """k promises that can be judged, with the ordinal of the ``day`` of each reading, the filter's ``merv``
    (nought: unknown) and whole inches of depth, and the place of its town in ``towns``, [k]."""

    promises: Promises
    day: IntArray
    merv: IntArray
    inches: IntArray
    town: IntArray
    towns: list[str]
    findings: int


@dataclass(frozen=True)
class Judged:
    """How promises were kept: all, by first day of the month of the reading, by MERV and whole inches of
    depth, by town; the share below each chance; how many readings are findings and so left out, how many
    had no promise and why, and how many wait."""

    whole: Kept
    shares: list[Share]
    months: list[tuple[date, Kept]]
    classes: list[tuple[int, int, Kept]]
    towns: list[tuple[str, Kept]]
    findings: int
    without: dict[str, int]
    waiting: int


def judged(now: datetime) -> Judged:
    """The readings of the last two years; a fixed number of queries for each hundred thousand."""
    since = now - LOOK_BACK
    record, without = (
        _record(since),
        Foretold.objects.filter(reading__taken_at__gte=since).exclude(why_not=""),
    )
    counted = without.values_list("why_not").annotate(count=Count("pk")).order_by("why_not")
    month = np.array([day_of(day).replace(day=1).toordinal() for day in record.day.tolist()], dtype=np.int64)
    kinds = record.merv * _INCHES + record.inches
    return Judged(
        whole=judge(record.promises),
        shares=calibration(record.promises),
        months=[(day_of(key), kept) for key, kept in _groups(record.promises, month)],
        classes=[(*divmod(key, _INCHES), kept) for key, kept in _groups(record.promises, kinds)],
        towns=sorted((record.towns[key], kept) for key, kept in _groups(record.promises, record.town)),
        findings=record.findings,
        without=dict(counted),
        waiting=Reading.objects.filter(foretold=None).count(),
    )


# No filter is as deep.
_INCHES = 1000


def _groups(promises: Promises, key: IntArray) -> Iterator[tuple[int, Kept]]:
    """Each group judged by itself, in the order of their keys."""
    order = np.argsort(key, kind="stable")
    keys, starts = np.unique(key[order], return_index=True)
    for one, rows in zip(keys.tolist(), np.split(order, starts[1:]), strict=False):
        yield one, judge(Promises(promises.told[:, rows], promises.read[rows]))


def _record(since: datetime) -> Record:
    odd, towns = _found(), dict[str, int]()
    parts = [_columns(rows, odd, towns) for rows in _rows(since)]
    parts = parts or [_columns([], odd, towns)]
    numbers = np.concatenate([part.numbers for part in parts], axis=1)
    kept = np.concatenate([part.kept for part in parts])
    told = numbers[:4, kept]
    day, merv, inches, town = numbers[4:, kept].astype(np.int64)
    promises = Promises(told[:3], told[3])
    return Record(promises, day, merv, inches, town, list(towns), int((~kept).sum()))


def _rows(since: datetime) -> Iterator[list[tuple[Any, ...]]]:
    rows: QuerySet[Foretold] = Foretold.objects.filter(reading__taken_at__gte=since, why_not="")
    ends = rows.aggregate(first=Min("pk"), last=Max("pk"))
    if ends["first"] is None:
        return
    for first in range(ends["first"], ends["last"] + 1, _AT_ONCE):
        some = rows.filter(pk__range=(first, first + _AT_ONCE - 1)).order_by()
        yield bulk_read.tuples(
            some.values_list(
                "reading__slot_id", "as_of", "days", "p10_pa", "p50_pa", "p90_pa", "read_pa", "merv",
                "reading__slot__depth_m", "reading__slot__system__site__city",
            )
        )  # fmt: skip


@dataclass(frozen=True)
class _Columns:
    """Numbers [8, k]: three promised, read, day, MERV, inches, town; which of them are no findings."""

    numbers: Any
    kept: BoolArray


def _columns(rows: list[tuple[Any, ...]], odd: dict[int, list[Finding]], towns: dict[str, int]) -> _Columns:
    numbers, kept = np.zeros((8, len(rows))), np.ones(len(rows), dtype=np.bool_)
    for at, (slot, as_of, days, *told, merv, depth, town) in enumerate(rows):
        day = as_of.toordinal() + days
        place = towns.setdefault(town, len(towns))
        numbers[:, at] = (*told, day, merv or 0, round(depth / METRE_PER_INCH), place)
        if slot in odd:
            kept[at] = not any(_speaks_of(finding, day) for finding in odd[slot])
    return _Columns(numbers, kept)


# Of a log, of all readings of a slot alike, or of one that is taken for what it shows.
_OF_NO_READING = frozenset(
    {"log_stopped", "idle_log", "above_label", "below_label", "hardly_clean", "under_earlier"}
)


def _found() -> dict[int, list[Finding]]:
    odd: dict[int, list[Finding]] = defaultdict(list)
    for slot, findings in Plan.objects.exclude(findings=[]).values_list("slot_id", "findings"):
        told = [finding for finding in findings if finding["kind"] not in _OF_NO_READING]
        if told:
            odd[slot] = told
    return odd


def _speaks_of(finding: Finding, day: int) -> bool:
    """Whether the reading of ``day`` is a finding, or comes from a filter that nobody wrote down."""
    if finding["until"]:
        return int(finding["at"][0]) < day <= date.fromisoformat(finding["until"]).toordinal()
    return day in {int(at) for at in finding["at"]}
