"""Whether those of each branch can do its work, class by class, and what is left for the weeks after."""

from dataclasses import dataclass

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.season import Z90, Load
from schedules.planning.season_capacity import (
    able_classes,
    carried,
    chance_past,
    fewer_classes,
    fit,
    left_for,
    upper_share,
)
from schedules.season_rows import Rows

# So many minutes too many, about one filter's, are no news. Own choice.
LEAST_MINUTES = 15.0
# Branch [m] and bits of skills [m] of everybody.
People = tuple[IntArray, IntArray]


def few(total: Load, groups: BoolArray) -> tuple[IntArray, IntArray]:
    """Branch and skills of the groups, with at most twelve sets of skills."""
    return total.branch[groups], fewer_classes(total.skills[groups], total.minutes[groups])


@dataclass(frozen=True)
class _Classes:
    """The groups of one branch: ``rows`` [r] of them, their class ``of`` [r], the classes' ``needs`` [k]."""

    rows: IntArray
    of: IntArray
    needs: IntArray

    def sums(self, by_group: FloatArray) -> FloatArray:
        """What the groups [g, W] come to by class [k, W]."""
        out = np.zeros((len(self.needs), by_group.shape[1]))
        np.add.at(out, self.of, by_group[self.rows])
        return out


def _classes(total: Load, groups: BoolArray, branch: int) -> _Classes:
    rows = np.flatnonzero(groups & (total.branch == branch))
    needs, of = np.unique(fewer_classes(total.skills[rows], total.minutes[rows]), return_inverse=True)
    return _Classes(rows, np.asarray(of).reshape(-1), needs)


def doable_groups(total: Load, staff: People, works: BoolArray) -> BoolArray:
    """Which groups [g] of work somebody of their branch has the skills for, away or not. ``works`` [m]: who
    is supposed to belong to the desk; where nobody of a branch is, whoever does now decides, and where nobody
    does, all are, for then it is not skill that is lacking."""
    found = np.ones(len(total.branch), dtype=np.bool_)
    for one in np.unique(total.branch).tolist():
        here, mine = staff[0] == one, total.branch == one
        belongs = here & works if (here & works).any() else here
        found[mine] = able_classes(total.skills[mine], staff[1][belongs]) if here.any() else True
    return found


def left_over(total: Load, booked: Load, groups: BoolArray, staff: People, usable: FloatArray) -> FloatArray:
    """Minutes [g, W] of each group that each week begins with because those before had no time for them; what
    is booked stands on its day. ``usable`` [m, W]."""
    stands, left = _as_groups(booked, total), np.zeros_like(total.minutes)
    for one in np.unique(total.branch[groups]).tolist():
        here, mine = staff[0] == one, _classes(total, groups, one)
        waits = carried(mine.needs, mine.sums(total.minutes), mine.sums(stands), staff[1][here], usable[here])
        size = total.minutes[mine.rows].sum(axis=1)
        share = size / np.maximum(np.bincount(mine.of, size)[mine.of], 1e-9)
        left[mine.rows] = waits[mine.of] * share[:, None]
    return left


def _as_groups(some: Load, total: Load) -> FloatArray:
    """The minutes of ``some`` by the groups of ``total`` [g, W], among which all of its own are."""
    same = (total.branch[:, None] == some.branch) & (total.skills[:, None] == some.skills)
    return np.asarray(same.astype(np.float64) @ some.minutes)


def taken_elsewhere(
    minutes: FloatArray,
    total: Load,
    groups: BoolArray,
    people: BoolArray,
    usable: FloatArray,
    staff: People,
    need: int,
) -> FloatArray:
    """Minutes [m, W] of the ``people`` [m] looked at, those with the skill ``need``, that the other work of
    their branch takes, each by their share: ``minutes`` [g, W] of all groups but ``groups``."""
    out = np.zeros_like(usable)
    for one in np.unique(staff[0][people]).tolist():
        here, other = staff[0] == one, _classes(total, ~groups, one)
        left = left_for(need, other.needs, other.sums(minutes), staff[1][here], usable[here])
        there = usable[here & people].sum(axis=0)
        out[here & people] = usable[here & people] * (1.0 - left / np.maximum(there, 1e-9))
    return out


@dataclass(frozen=True)
class Full:
    """What is ``short`` by branch [b, W], and over all branches how full the ``fullest`` [W] skills are, the
    ``tight`` ones, and what share of the hours the fullest takes at the upper end of the span, by itself and
    with what is left from before: ``upper`` and ``upper_with_left`` [W]."""

    short: FloatArray
    fullest: FloatArray
    tight: list[tuple[str, ...]]
    upper: FloatArray
    upper_with_left: FloatArray


def fits(
    total: Load, waits: FloatArray, groups: BoolArray, staff: People, usable: FloatArray, known: Rows
) -> Full:
    """Each week's own work against ``usable`` [m, W] of the people looked at, nought of others."""
    weeks = total.minutes.shape[1]
    upper, upper_with_left = np.zeros(weeks), np.zeros(weeks)
    short, fullest = np.zeros((len(known.branches.names), weeks)), np.zeros(weeks)
    tight: list[tuple[str, ...]] = [()] * weeks
    for one in range(len(short)):
        here, mine = staff[0] == one, _classes(total, groups, one)
        minutes, who = mine.sums(total.minutes), (staff[1][here], usable[here])
        found = fit(mine.needs, minutes, *who)
        short[one] = found.short
        variance = mine.sums(total.variance)
        upper = np.maximum(upper, upper_share(mine.needs, minutes, variance, *who, Z90))
        pressing = upper_share(mine.needs, mine.sums(total.minutes + waits), variance, *who, Z90)
        upper_with_left = np.maximum(upper_with_left, pressing)
        for week in np.flatnonzero(found.fullest > fullest):
            needs = mine.needs[found.holds[week] & (minutes[:, week] > 0)]
            tight[week] = () if (needs == 0).any() else named(needs, known.skills)
        fullest = np.maximum(fullest, found.fullest)
    return Full(short, fullest, tight, upper, upper_with_left)


def past(total: Load, waits: FloatArray, groups: BoolArray, staff: People, usable: FloatArray) -> FloatArray:
    """Chance [W] that the fullest class of any branch, with what ``waits`` [g, W] from before, comes to more
    than ``usable`` [m, W] of those looked at allows."""
    chance = np.zeros(total.minutes.shape[1])
    for one in np.unique(total.branch[groups]).tolist():
        here, mine = staff[0] == one, _classes(total, groups, one)
        wanted, variance = mine.sums(total.minutes + waits), mine.sums(total.variance)
        found = chance_past(mine.needs, wanted, variance, staff[1][here], usable[here])
        chance = np.maximum(chance, found)
    return chance


def nobody(
    total: Load, groups: BoolArray, staff: tuple[IntArray, IntArray, BoolArray], skills: list[str]
) -> list[tuple[int, tuple[str, ...], float]]:
    """Work that asks for skills which no single technician of its branch has, away or not: branch, skills,
    minutes."""
    branch, has, works = staff
    found = []
    for group in np.flatnonzero(groups & (total.skills > 0)):
        need, minutes = total.skills[group], float(total.minutes[group].sum())
        here = branch == total.branch[group]
        able = (works & here if (works & here).any() else here) & ((need & ~has) == 0)
        if minutes >= LEAST_MINUTES and not able.any():
            found.append((int(total.branch[group]), named(np.array([need]), skills), minutes))
    return found


def named(needs: IntArray, skills: list[str]) -> tuple[str, ...]:
    """The names of all skills that any of ``needs`` holds."""
    every = int(np.bitwise_or.reduce(needs))
    return tuple(name for at, name in enumerate(skills) if every >> at & 1)
