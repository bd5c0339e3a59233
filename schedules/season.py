"""The season: expected load of the coming weeks against capacity, as it stands or as it would be."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from equipment.models import Desk
from schedules.day_problem import has_start
from schedules.models import Policy
from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.season import (
    Foreseen,
    Jobs,
    Load,
    Smoke,
    Weeks,
    added,
    foresee,
    span,
    split_normal,
)
from schedules.planning.season_moves import Movable, Moved, Staff, alike, move
from schedules.season_fit import (
    LEAST_MINUTES,
    doable_groups,
    few,
    fits,
    left_over,
    nobody,
    past,
    taken_elsewhere,
)
from schedules.season_jobs import WhatIf, jobs_of
from schedules.season_rows import Rows, rows
from schedules.season_staff import (
    ASSUMED_HELD_SHARE,
    Team,
    Urgent,
    Way,
    team,
    urgent,
    usual_way,
)
from schedules.visits import ARRIVE_AND_LEAVE_MINUTES, TOGETHER_DAYS
from shared import clock

# A week below this share of its capacity, even at the upper end of its span, has room.
ROOM_SHARE = 0.5
# A trip is moved by so many weeks at the most, and counts where it lies in a week with such a chance.
_MOST_EARLY_WEEKS, _LEAST_CHANCE = 4, 1e-3


@dataclass(frozen=True)
class Facts:
    """Everything on record that the season is reckoned from."""

    today: date
    rows: Rows
    team: Team
    urgent: Urgent
    way: Way
    # Minutes of the present day that are over, by the desk's clock.
    gone: int = 0
    # Names of those who have no place on record to start from, for whom no rounds are planned.
    no_start: tuple[str, ...] = ()

    @property
    def trip_minutes(self) -> float:
        """What a trip takes beside its jobs: arriving, leaving and the way."""
        return ARRIVE_AND_LEAVE_MINUTES * self.rows.policy.stay_factor + self.way.minutes


def facts(now: datetime) -> Facts:
    """Read them; a fixed number of queries however large the fleet."""
    desk, policy = Desk.the(), Policy.the()
    today = clock.local_day(now, desk.zone)
    way = usual_way(now)
    from_record = rows(now, desk, policy)
    local, there = now.astimezone(desk.zone), team(today, from_record.branches)
    no_start = tuple(who.name for who in there.people if not has_start(who, desk))
    return Facts(
        today, from_record, there, urgent(today, desk, way.minutes), way,
        60 * local.hour + local.minute, no_start,
    )  # fmt: skip


@dataclass(frozen=True)
class Narrow:
    """One branch (its place among the branches), one skill; None and empty: all."""

    branch: int | None = None
    skill: str = ""


@dataclass(frozen=True)
class Season:
    """W weeks, minutes all [W]: ``booked`` visits, ``expected`` on top with its span ``low`` to ``high`` (of
    both), ``gross`` working time, ``reserve`` of it for what is urgent and ``eaten`` what booked visits took
    of that, ``elsewhere`` what other work needs of those with the one skill looked at, ``usable`` the rest,
    ``left`` what weeks before had no time for, ``short`` what nobody could do; ``fullest`` and ``tight`` the
    fullest skills; ``jobs`` and ``trips`` expected; ``chance`` that the fullest is past capacity; ``upper``
    the share of it that is taken at the upper end of the span, and ``upper_with_left`` with what is left from
    before. ``people`` [m, W] minutes of each technician, ``nobody``: branch, skills and minutes of work that
    no single technician of the branch can do."""

    first_days: list[date]
    booked: FloatArray
    expected: FloatArray
    low: FloatArray
    high: FloatArray
    gross: FloatArray
    reserve: FloatArray
    usable: FloatArray
    short: FloatArray
    fullest: FloatArray
    tight: list[tuple[str, ...]]
    short_by_branch: FloatArray
    jobs: FloatArray
    trips: FloatArray
    chance: FloatArray
    people: FloatArray
    people_booked: FloatArray
    nobody: list[tuple[int, tuple[str, ...], float]]
    moved: Moved | None
    elsewhere: FloatArray
    left: FloatArray
    undoable: FloatArray
    eaten: FloatArray
    upper: FloatArray
    upper_with_left: FloatArray

    @property
    def load(self) -> FloatArray:
        """Booked and expected minutes together."""
        return self.booked + self.expected

    @property
    def over(self) -> BoolArray:
        """Which weeks hold more work than can be done."""
        return np.asarray(self.short > LEAST_MINUTES)

    @property
    def roomy(self) -> BoolArray:
        """Which weeks have work for less than half their capacity, even at the upper end and in the fullest
        skill of any branch, and nothing left from before."""
        return np.asarray((self.usable > 0) & (self.upper < ROOM_SHARE) & ~self.over & ~self.behind)

    @property
    def may_run_over(self) -> BoolArray:
        """Which weeks fit in the middle of their span and not at its upper end."""
        return np.asarray((self.usable > 0) & (self.upper_with_left > 1.0) & ~self.over)

    @property
    def behind(self) -> BoolArray:
        """Which weeks begin with work that those before had no time for."""
        return np.asarray(self.left > LEAST_MINUTES)


@dataclass(frozen=True)
class Outlook:
    """All work of the weeks to come under what is supposed, and ``gross`` [m, W] minutes of each technician,
    whatever part of it is looked at; ``works`` [m]: who is supposed to be of the desk, away or not."""

    weeks: Weeks
    jobs: Jobs
    foreseen: Foreseen
    expected: Load
    gross: FloatArray
    works: BoolArray


def outlook(known: Facts, count: int, what_if: WhatIf | None = None) -> Outlook:
    """``count`` weeks from the present one."""
    supposed, weeks = what_if or WhatIf(), Weeks.beginning(known.today.weekday(), count)
    jobs = jobs_of(known.rows, supposed, weeks)
    foreseen = foresee(jobs, weeks, known.trip_minutes, TOGETHER_DAYS, _smoke(supposed, weeks))
    expected = _with_customers(known, supposed, weeks, foreseen.load)
    gross = known.team.minutes(known.today, weeks.ends, known.gone)
    works = np.array([who.pk != supposed.without for who in known.team.people], dtype=np.bool_)
    gross[~works] = 0.0
    return Outlook(weeks, jobs, foreseen, expected, gross, works)


def season(known: Facts, ahead: Outlook, narrow: Narrow | None = None, *, moves: bool = True) -> Season:
    """The work, or the part of it that is looked at, against those who can do it; with ``moves`` what could
    be moved out of over-full weeks."""
    only, weeks, expected, gross = narrow or Narrow(), ahead.weeks, ahead.expected, ahead.gross
    booked, people_booked = _booked(known, weeks)
    free = _reserve(known, gross, weeks) / np.maximum(gross.sum(axis=0), 1e-9)
    # A visit that stands has its time, whatever was to be held free of it.
    usable = np.maximum(gross * (1.0 - free), np.minimum(people_booked, gross))
    eaten = usable - gross * (1.0 - free)
    has = np.array([_bits(who.skills, known.rows.skills) for who in known.team.people], dtype=np.int64)
    total = added([expected, booked])
    groups, people = _narrowed(total, known.team.branch, has, only, known.rows.skills)
    inside = np.isin(_key(expected), _key(total)[groups])
    booked_inside = np.isin(_key(booked), _key(total)[groups])
    staff = known.team.branch, has
    can_be_done = doable_groups(total, staff, ahead.works)
    waits = left_over(total, booked, can_be_done, staff, usable)
    need = _bits([only.skill], known.rows.skills)
    elsewhere = np.zeros_like(usable)
    if need:
        elsewhere = taken_elsewhere(total.minutes + waits, total, groups, people, usable, staff, need)
    usable = usable - elsewhere
    doable = groups & can_be_done
    undoable = total.minutes[groups & ~doable].sum(axis=0)
    looked_at = usable * people[:, None]
    full = fits(total, waits, doable, staff, looked_at, known.rows)
    mean = expected.minutes[inside].sum(axis=0)
    variance = expected.variance[inside].sum(axis=0)
    fixed = booked.minutes[booked_inside].sum(axis=0)
    low, high = span(mean, variance)
    moved = None
    if moves and (full.short.sum(axis=0) > LEAST_MINUTES).any():
        movable = _movable(ahead, full.short, only, known)
        movers = Staff(known.team.branch[people], has[people], usable[people])
        moved = move(movable, few(total, doable), total.minutes[doable], movers)
    return Season(
        [known.today - timedelta(days=known.today.weekday() - 7 * at) for at in range(len(weeks))],
        fixed, mean, fixed + low, fixed + high, gross[people].sum(axis=0),
        (gross - usable - elsewhere)[people].sum(axis=0), usable[people].sum(axis=0), full.short.sum(axis=0),
        full.fullest, full.tight, full.short, expected.jobs[inside].sum(axis=0),
        expected.trips[inside].sum(axis=0),
        past(total, waits, doable, staff, looked_at), gross, people_booked,
        nobody(total, groups, (*staff, ahead.works), known.rows.skills), moved,
        elsewhere[people].sum(axis=0), waits[doable].sum(axis=0), undoable, eaten[people].sum(axis=0),
        full.upper, full.upper_with_left,
    )  # fmt: skip


def _smoke(supposed: WhatIf, weeks: Weeks) -> Smoke:
    if supposed.smoke_from >= len(weeks):
        return Smoke()  # it begins after the weeks that are looked at
    begins = 0 if not supposed.smoke_from else int(weeks.ends[supposed.smoke_from - 1])
    return Smoke(begins, 7 * supposed.smoke_weeks, supposed.smoke_factor)


def _with_customers(known: Facts, supposed: WhatIf, weeks: Weeks, load: Load) -> Load:
    """With the work of customers like those on record, as it falls due there, less what is overdue."""
    if not supposed.customers or not known.rows.customers:
        return load
    jobs = jobs_of(known.rows, supposed, weeks, booked=False)
    fresh = jobs.of(~jobs.overdue)
    like = foresee(fresh, weeks, known.trip_minutes, TOGETHER_DAYS, _smoke(supposed, weeks)).load
    return added([load, like.scaled(supposed.customers / known.rows.customers)])


def _bits(names: list[str], skills: list[str]) -> int:
    return sum(1 << at for at, name in enumerate(skills) if name in names)


def _booked(known: Facts, weeks: Weeks) -> tuple[Load, FloatArray]:
    """Visits that stand, in their technician's branch, and their minutes by technician [m, W]."""
    visits, people = known.rows.booked, known.team.people
    row_of = {who.pk: row for row, who in enumerate(people)}
    row = np.array([row_of.get(int(pk), -1) for pk in visits.technician], dtype=np.int64)
    branch = np.where(row >= 0, np.append(known.team.branch, 0)[row], visits.branch).astype(np.int64)
    week = np.searchsorted(weeks.ends, visits.day, side="right")
    minutes = (visits.minutes + known.way.minutes)[:, None] * (week[:, None] == np.arange(len(weeks)))
    by_person = np.zeros((len(people), len(weeks)))
    np.add.at(by_person, row[row >= 0], minutes[row >= 0])
    none = np.zeros_like(minutes)
    load = Load(branch, visits.skills, minutes, none, none, none, none)
    return added([load]), by_person


def _reserve(known: Facts, gross: FloatArray, weeks: Weeks) -> FloatArray:
    """Minutes [W] held free; by the working days that are left of the present week."""
    there = gross.sum(axis=0)
    if known.urgent.held is None:
        return np.asarray(there * ASSUMED_HELD_SHARE, dtype=np.float64)
    working = np.ones(len(weeks))
    working[0] = max(0, int(weeks.ends[0]) - 2) / 5
    return np.asarray(np.minimum(known.urgent.held * working, there))


def _key(load: Load) -> IntArray:
    return np.asarray(load.skills * 4096 + load.branch)


def _narrowed(
    total: Load, branch: IntArray, has: IntArray, only: Narrow, skills: list[str]
) -> tuple[BoolArray, BoolArray]:
    groups, people = np.ones(len(total.branch), dtype=np.bool_), np.ones(len(branch), dtype=np.bool_)
    if only.branch is not None:
        groups, people = groups & (total.branch == only.branch), people & (branch == only.branch)
    if only.skill:
        bit = _bits([only.skill], skills)
        groups, people = groups & (total.skills & bit > 0), people & (has & bit > 0)
    return groups, people


def _movable(ahead: Outlook, short: FloatArray, only: Narrow, known: Facts) -> Movable:
    """The trips of over-full weeks that technicians make and nobody booked, alike ones together."""
    trips, jobs, count = ahead.foreseen.trips, ahead.jobs, short.shape[1]
    order = np.argsort(trips.of, kind="stable")
    starts = np.searchsorted(trips.of[order], np.arange(len(trips.minutes)))
    early = np.minimum.reduceat(jobs.early_days[order], starts) if len(starts) else np.zeros(0)
    waste = np.bincount(trips.of, weights=jobs.waste_a_day, minlength=len(starts)) * 7 / trips.minutes
    past = np.bincount(trips.of, weights=_days_past(jobs), minlength=len(starts)) / trips.minutes
    overdue = np.bincount(trips.of, weights=jobs.overdue, minlength=len(starts)) > 0
    bit = _bits([only.skill], known.rows.skills) if only.skill else 0
    may = (trips.booked < 0) & (trips.share >= 1.0) & (trips.skills & bit == bit)
    chance = np.where((short[trips.branch] > LEAST_MINUTES) & may[:, None], trips.made, 0.0)
    trip, week = np.nonzero(chance > _LEAST_CHANCE)
    much = chance[trip, week]
    weeks_early = np.clip(early[trip] // 7, 1, _MOST_EARLY_WEEKS).astype(np.int64)
    waits = overdue[trip] & (week == 0) & (count > 1)
    return alike(
        Movable(
            trips.branch[trip],
            trips.skills[trip],
            week.astype(np.int64),
            np.maximum(week - weeks_early, 0),
            np.where(waits, 1, week).astype(np.int64),
            trips.minutes[trip] * much,
            np.asarray(trips.jobs[trip] * much, dtype=np.float64),
            waste[trip],
            # Else trips that cannot wait would differ by what it costs them to.
            np.where(waits, past[trip], 0.0),
        )
    )


def _days_past(jobs: Jobs) -> FloatArray:
    """Expected days past the limit [n] that waiting from the middle of this week to the next's adds; of what
    has no limit on record the mean of the others."""
    at = np.array([3.5, 7.0, 10.5])
    chance = split_normal(at[None, :], jobs.limit[:, None], jobs.low[:, None], jobs.high[:, None])
    days = 7.0 * chance.mean(axis=1)
    known = days[~np.isnan(days)]
    return np.asarray(np.where(np.isnan(days), known.mean() if len(known) else 0.0, days), dtype=np.float64)
