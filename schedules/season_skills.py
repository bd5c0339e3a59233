"""What those with a skill can do of a season's trips: limits beside the hours of a whole branch."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.season_capacity import collections, fewer_classes
from schedules.planning.season_weeks import Limits


@dataclass(frozen=True)
class PeopleMinutes:
    """Minutes of work [m, W] of m people, their skills and their branch [m]."""

    skills: Sequence[frozenset[str]]
    branch: IntArray
    minutes: FloatArray

    def of_branches(self, count: int) -> FloatArray:
        """The same by branch [branches, W]."""
        out = np.zeros((count, self.minutes.shape[1]))
        np.add.at(out, self.branch, self.minutes)
        return out

    def less(self, free: FloatArray) -> "PeopleMinutes":
        """With only the share ``free`` [W] of each week."""
        return replace(self, minutes=self.minutes * free)


def skilled_limits(needs: Sequence[frozenset[str]], branch: IntArray, people: PeopleMinutes) -> Limits | None:
    """For trips that need the skills ``needs`` [t] at ``branch`` [t]: of each collection of needs that only
    some people of a branch can serve, no more minutes than those have who can serve any of it. None where
    every need can be served by all, or by nobody, which no week mends."""
    names = sorted(set().union(*needs)) if needs else []
    asked = np.array([_bits(one, names) for one in needs], dtype=np.int64)
    has = np.array([_bits(one, names) for one in people.skills], dtype=np.int64)
    found = [
        part
        for one in np.unique(branch).tolist()
        if (part := _of_branch(asked, branch == one, has, people.minutes * (people.branch == one)[:, None]))
    ]
    if not found:
        return None
    return Limits(np.vstack([part.minutes for part in found]), np.vstack([part.holds for part in found]))


def _bits(skills: frozenset[str], names: Sequence[str]) -> int:
    return sum(1 << names.index(name) for name in skills if name in names)


def _of_branch(asked: IntArray, here: np.ndarray, has: IntArray, minutes: FloatArray) -> Limits | None:
    works = minutes.sum(axis=1) > 0
    needs = asked[here]
    counted = fewer_classes(needs, np.ones((len(needs), 1)))
    kinds = np.unique(counted)
    every = collections(kinds, has[works])
    # What all can do is the branch's own limit, and what nobody can do no week mends.
    tight = ~every.able.all(axis=1) & every.able.any(axis=1)
    if not tight.any():
        return None
    kind = np.full(len(asked), -1)
    kind[here] = np.searchsorted(kinds, counted)
    holds = np.stack([here & row[kind] for row in every.holds[tight]])
    return Limits(every.able[tight].astype(np.float64) @ minutes[works], holds)
