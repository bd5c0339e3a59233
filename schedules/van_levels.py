"""What each van should hold for a week."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from equipment.models import Media
from schedules.models import Policy, Technician
from schedules.planning.arrays import IntArray
from schedules.planning.stock import enough_of_each, share_room
from schedules.to_buy import BETWEEN_ORDERS_DAYS, Demand, demand


@dataclass(frozen=True)
class VanLevel:
    """Media and counts, the most first; ``wanted`` is how many there would be had the van room for them."""

    technician: Technician
    counts: list[tuple[Media, int]]
    wanted: int

    @property
    def held(self) -> int:
        """How many all in all."""
        return sum(count for _media, count in self.counts)


def van_levels(now: datetime) -> list[VanLevel]:
    """For each technician, so many that the week's changes of the branch, shared evenly by its technicians,
    are served on the desk's level; cut to the van's room."""
    asked, level = demand(now, 2), Policy.the().stock_level
    keys = np.unique(asked.filters.medium[asked.filters.by_desk & (asked.filters.medium > 0)])
    media = Media.objects.in_bulk(keys.tolist())
    staff = list(Technician.objects.filter(gone_on=None).order_by("name"))
    branch = [_branch(one, asked) for one in staff]
    levels = {n: _level(asked, n, branch.count(n), keys, level) for n in set(branch)}
    return [_van(one, levels[n], keys, media) for one, n in zip(staff, branch, strict=True)]


def _branch(one: Technician, asked: Demand) -> int:
    """The branch of a technician's depot; whoever has none, or a closed one, is at the desk's own."""
    pks = asked.branches.pks
    return pks.index(one.depot_id) if one.depot_id in pks else asked.branches.own


def _level(asked: Demand, branch: int, staff: int, keys: IntArray, level: float) -> IntArray:
    filters = asked.filters
    which = filters.by_desk & (filters.medium > 0) & (filters.branch == branch)
    kind = np.searchsorted(keys, filters.medium[which])
    return enough_of_each(asked.within(BETWEEN_ORDERS_DAYS)[which] / staff, kind, len(keys), level)


def _van(one: Technician, level: IntArray, keys: IntArray, media: dict[int, Media]) -> VanLevel:
    kept = share_room(level, one.van_room)
    counts = [(media[int(key)], int(count)) for key, count in zip(keys, kept, strict=True) if count]
    return VanLevel(one, sorted(counts, key=lambda row: (-row[1], row[0].nominal_size)), int(level.sum()))
