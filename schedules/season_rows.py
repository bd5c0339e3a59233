"""What the season is reckoned from, read in a fixed number of queries: filters, tasks, visits, branches."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
from django.db.models import BigIntegerField, Count, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce

from equipment.models import Customer, Desk, FilterChange, FilterSlot, Media
from schedules.branches import Branches, branches
from schedules.day_results import of_the_day
from schedules.gather import THIN_M
from schedules.models import MaintenanceTask, Plan, Policy, SentFilter, Visit, VisitJob
from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from shared import clock

COUNTS_KEY = "season counts"
# Skills are bits of one integer.
MOST_SKILLS = 62
# Fewer changes of households on record tell no share that technicians end up with.
FEWEST_CHANGES = 30
_CHANGES_BACK = timedelta(days=730)
REASONS = [reason.value for reason in Plan.Reason]


def number(value: float | None) -> float:
    """nan for None."""
    return np.nan if value is None else float(value)


@dataclass(frozen=True)
class Filters:
    """n filters with a date, all [n]; days from today, nan where unknown. ``reason`` indexes REASONS,
    ``by_desk``: changed by technicians; ``sent``: the desk has it still to send; ``medium``: key of what
    goes in, nought for unknown; ``visit``: row of the visits that has it, or -1."""

    slot: IntArray
    medium: IntArray
    sent: BoolArray
    site: IntArray
    branch: IntArray
    by_desk: BoolArray
    reason: IntArray
    due: FloatArray
    p10: FloatArray
    p50: FloatArray
    p90: FloatArray
    began: FloatArray
    risk: FloatArray
    cap_days: FloatArray
    medium_days: FloatArray
    price: FloatArray
    visit: IntArray


@dataclass(frozen=True)
class Tasks:
    """n tasks with a due day, all [n]; ``interval``: days until it comes again."""

    site: IntArray
    branch: IntArray
    due: FloatArray
    interval: FloatArray
    minutes: FloatArray
    skills: IntArray
    visit: IntArray


@dataclass(frozen=True)
class Booked:
    """v visits, all [v]: ``day`` from today, ``technician`` (pk, 0 for none: something rung for that waits
    for its day, with day nought), the home's ``branch``."""

    technician: IntArray
    branch: IntArray
    day: FloatArray
    minutes: FloatArray
    skills: IntArray


@dataclass(frozen=True)
class Rows:
    """Everything but the people. ``skills``: those that work asks for, in order of their bits; ``share``: of
    households' changes, those that technicians made; ``undated``: technicians' filters without a date;
    ``counted_at``: when customers, share and undated were counted, None for just now."""

    today: date
    policy: Policy
    branches: Branches
    skills: list[str]
    filters: Filters
    tasks: Tasks
    booked: Booked
    customers: int
    share: float
    undated: int
    counted_at: datetime | None = None


def rows(now: datetime, desk: Desk, policy: Policy) -> Rows:
    """Read it all; what counts the whole record, on a large desk, as of the morning."""
    today = clock.local_day(now, desk.zone)
    where = branches(desk)
    visits = list(
        Visit.objects.filter(
            Q(day__gte=today, state__in=Visit.ON_A_DAY) | Q(state__in=_WAITING, day=None) & ~Q(wanted="")
        )
        .annotate(count=Count("jobs"))
        .values_list(
            "pk", "technician", "day", "minutes", "skills", "site__latitude", "site__longitude", "count"
        )
    )
    on_a_day = {row[0]: at for at, row in enumerate(visits) if row[2] is not None}
    jobs = list(VisitJob.objects.filter(visit__in=_on_a_day(today)).values_list("visit", "slot", "task"))
    task_rows = list(_task_rows().values_list(*_TASK))
    skills = _names([row[7] for row in task_rows], *(row[4] for row in visits))
    counted, counted_at = counts(now, today)
    share = counted["share"]
    filters = _filters(
        list(_filter_rows(share, today).values_list(*_FILTER)), today, policy, where, jobs, on_a_day
    )
    return Rows(
        today, policy, where, skills, filters, _tasks(task_rows, today, where, skills, jobs, on_a_day),
        _booked(visits, today, where, skills), counted["customers"], share, counted["undated"],
        counted_at,
    )  # fmt: skip


def counts(now: datetime, today: date) -> tuple[Any, datetime | None]:
    """Share of the desk, customers and filters without a date, and when they were counted, if not now: what
    asks the whole record and hardly moves in a day."""
    return of_the_day(COUNTS_KEY, now, lambda: _counts(today))


def _counts(today: date) -> dict[str, float]:
    undated = _technicians_slots().filter(Q(plan=None) | Q(plan__due_on=None))
    return {
        "share": _share_of_desk(today),
        "undated": undated.count(),
        "customers": Customer.objects.filter(gone_on=None, sites__isnull=False).distinct().count(),
    }


_WAITING = (Visit.State.DUE, Visit.State.DISPLACED)


def _on_a_day(today: date) -> Any:
    return Visit.objects.filter(day__gte=today, state__in=Visit.ON_A_DAY).values("pk")


def bits(names: Iterable[str], skills: Sequence[str]) -> int:
    """The bits of ``names`` among ``skills``; what is not among them needs nobody."""
    return sum(1 << skills.index(name) for name in set(names) if name in skills)


def _names(*told: Iterable[str]) -> list[str]:
    return sorted({name for names in told for name in names or () if name})[:MOST_SKILLS]


def as_days(values: Sequence[date | None], today: date) -> FloatArray:
    """Days from today [n], nan for None."""
    days = np.array(values, dtype="datetime64[D]") - np.datetime64(today, "D")
    out = days.astype(np.float64)
    out[np.isnat(days)] = np.nan
    return np.asarray(out, dtype=np.float64)


def as_numbers(values: Iterable[Any]) -> FloatArray:
    """Floats [n], nan for None."""
    return np.array(list(values), dtype=np.float64)


def _technicians_slots() -> Any:
    in_use = FilterSlot.objects.in_use().filter(system__site__vacant_since=None)
    return in_use.filter(changed_by=FilterSlot.ChangedBy.TECHNICIAN)


_FILTER = (
    "pk", "system__site", "system__site__latitude", "system__site__longitude", "changed_by",
    "plan__reason", "plan__due_on", "plan__p10_on", "plan__p50_on", "plan__p90_on",
    "plan__life_began_on", "depth_m", "medium", "sent__since", "sent__last_sent_on",
    "plan__accepted_risk",
)  # fmt: skip


def _filter_rows(share: float, today: date) -> Any:
    changed = FilterChange.objects.filter(
        slot=OuterRef("pk"), undone_at=None, media__isnull=False, changed_on__lte=today
    )
    who = [FilterSlot.ChangedBy.TECHNICIAN, *([FilterSlot.ChangedBy.OCCUPANT] if share else [])]
    # Each part by an index of its own; an OR over three tables reads every filter.
    counted = FilterSlot.objects.filter(changed_by__in=who).order_by().values("pk")
    sent = SentFilter.objects.order_by().values("slot")
    return (
        FilterSlot.objects.in_use()
        .filter(system__site__vacant_since=None, plan__due_on__isnull=False)
        .filter(pk__in=counted.union(sent, _of_visits(today)))
        .annotate(
            medium=Coalesce(
                Subquery(changed.order_by("-changed_at").values("media_id")[:1]),
                "first_media_id",
                output_field=BigIntegerField(),
            )
        )
        .order_by()
    )


def _of_visits(today: date) -> Any:
    """The filters of visits that stand, whoever changes them else."""
    return VisitJob.objects.filter(visit__in=_on_a_day(today), slot__isnull=False).order_by().values("slot")


def _filters(
    found: list[Any],
    today: date,
    policy: Policy,
    where: Branches,
    jobs: list[Any],
    on_a_day: dict[int, int],
) -> Filters:
    columns = list(zip(*found, strict=True)) if found else [()] * len(_FILTER)
    media = {
        pk: (kind, days, price)
        for pk, kind, days, price in Media.objects.values_list("pk", "kind", "max_days", "price")
    }
    known = [media.get(pk, ("", None, None)) for pk in columns[12]]
    kinds = np.array([one[0] for one in known])
    deep = (kinds == Media.Kind.DEEP) | (as_numbers(columns[11]) > THIN_M)
    cap = np.where(deep, policy.cap_deep_days, policy.cap_thin_days)
    cap = np.where(kinds == Media.Kind.WASHABLE, policy.cap_washable_days, cap)
    of_visit = {slot: on_a_day[visit] for visit, slot, _task in jobs if slot is not None}
    return Filters(
        slot=_whole(columns[0]),
        medium=_whole(pk or 0 for pk in columns[12]),
        sent=np.array(
            [
                since is not None and (sent is None or began is None or sent < began)
                for since, sent, began in zip(columns[13], columns[14], columns[10], strict=True)
            ],
            dtype=np.bool_,
        ),
        site=_whole(columns[1]),
        branch=where.of(as_numbers(columns[2]), as_numbers(columns[3])),
        by_desk=np.array([one == FilterSlot.ChangedBy.TECHNICIAN for one in columns[4]], dtype=np.bool_),
        reason=_whole(REASONS.index(one) for one in columns[5]),
        due=as_days(columns[6], today),
        p10=as_days(columns[7], today),
        p50=as_days(columns[8], today),
        p90=as_days(columns[9], today),
        began=as_days(columns[10], today),
        risk=np.where(np.isnan(own := as_numbers(columns[15])), policy.accepted_risk, own),
        cap_days=cap.astype(np.float64),
        medium_days=as_numbers(one[1] for one in known),
        price=as_numbers(one[2] for one in known) + (policy.change_price or 0.0),
        visit=_whole(of_visit.get(pk, -1) for pk in columns[0]),
    )


def _whole(values: Iterable[int]) -> IntArray:
    return np.array(list(values), dtype=np.int64)


_TASK = (
    "pk", "system__site", "system__site__latitude", "system__site__longitude", "due_on", "interval_days",
    "minutes", "skill", "last_done_on", "season",
)  # fmt: skip


def _task_rows() -> Any:
    return MaintenanceTask.objects.filter(
        due_on__isnull=False,
        ended_on=None,
        system__replaced_on=None,
        system__site__vacant_since=None,
        system__site__customer__gone_on=None,
    ).order_by()


def _tasks(
    found: list[Any],
    today: date,
    where: Branches,
    skills: list[str],
    jobs: list[Any],
    on_a_day: dict[int, int],
) -> Tasks:
    columns = list(zip(*found, strict=True)) if found else [()] * len(_TASK)
    due, done = as_days(columns[4], today), as_days(columns[8], today)
    # By fan hours alone: the last span is the best guess of the next; a season comes once a year.
    span = np.where(np.isnan(due - done), 365.0, np.maximum(due - done, 7.0))
    interval = np.where(np.isnan(as_numbers(columns[5])), span, as_numbers(columns[5]))
    seasonal = np.array([one != MaintenanceTask.Season.ANY for one in columns[9]], dtype=np.bool_)
    of_visit = {task: on_a_day[visit] for visit, _slot, task in jobs if task is not None}
    return Tasks(
        site=_whole(columns[1]),
        branch=where.of(as_numbers(columns[2]), as_numbers(columns[3])),
        due=due,
        interval=np.where(seasonal, np.maximum(interval, 365.0), interval),
        minutes=as_numbers(columns[6]),
        skills=_whole(bits([one], skills) for one in columns[7]),
        visit=_whole(of_visit.get(pk, -1) for pk in columns[0]),
    )


def _booked(visits: list[Any], today: date, where: Branches, skills: list[str]) -> Booked:
    columns = list(zip(*visits, strict=True)) if visits else [()] * 8
    waits = np.array([day is None for day in columns[2]], dtype=np.bool_)
    minutes, count = as_numbers(columns[3]), as_numbers(columns[7])
    return Booked(
        technician=_whole(
            0 if day is None else pk or 0 for pk, day in zip(columns[1], columns[2], strict=True)
        ),
        branch=where.of(as_numbers(columns[5]), as_numbers(columns[6])),
        day=np.nan_to_num(as_days(columns[2], today)),
        # The filters of a visit that waits fall due by their own dates: a quarter of an hour each, no more.
        minutes=np.where(waits, np.maximum(minutes - 15.0 * count, 0.0), minutes),
        skills=_whole(bits(one or [], skills) for one in columns[4]),
    )


def _share_of_desk(today: date) -> float:
    """Of the changes of filters that households change, the share that a technician made; nought where fewer
    than FEWEST_CHANGES are on record."""
    seen = FilterChange.objects.filter(
        slot__changed_by=FilterSlot.ChangedBy.OCCUPANT, undone_at=None, changed_on__gte=today - _CHANGES_BACK
    ).exclude(changed_by="")
    counts = seen.aggregate(
        every=Count("pk"), ours=Count("pk", filter=Q(changed_by=FilterSlot.ChangedBy.TECHNICIAN))
    )
    return counts["ours"] / counts["every"] if counts["every"] >= FEWEST_CHANGES else 0.0
