"""What each van should hold for a week."""

from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from equipment.models import Media
from schedules import due
from schedules.models import Policy, Technician
from schedules.planning.arrays import BoolArray, IntArray
from schedules.planning.stock import Lots, enough_of_each, likeliest
from schedules.season_staff import team
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
    """For each technician, so many that their share of the coming week's changes at their branch is served on
    the desk's level; cut to the van's room. Shares go by the minutes that each works in that week: whoever is
    away holds nothing."""
    asked, level = demand(now, 2), Policy.the().stock_level
    keys = np.unique(asked.filters.medium[_ours(asked)])
    media = Media.objects.in_bulk(keys.tolist())
    staff = team(due.today(now), asked.branches)
    minutes = staff.minutes(due.today(now), np.array([BETWEEN_ORDERS_DAYS])).sum(axis=1)
    of_branch = np.bincount(staff.branch, minutes, len(asked.branches.pks))
    share = minutes / np.maximum(of_branch[staff.branch], 1.0)
    vans = [
        _van(one, _lots(asked, n, part, keys), keys, media, level)
        for one, n, part in zip(staff.people, staff.branch.tolist(), share.tolist(), strict=True)
    ]
    return sorted(vans, key=lambda van: van.technician.name)


def _ours(asked: Demand) -> BoolArray:
    """The filters that go by van: of technicians, and of visits that stand."""
    filters = asked.filters
    return np.asarray((filters.by_desk | (filters.visit >= 0)) & (filters.medium > 0))


def _lots(asked: Demand, branch: int, share: float, keys: IntArray) -> Lots:
    """What that share of the branch's coming week may want."""
    filters = asked.filters
    kind = np.full(len(filters.medium), -1)
    which = _ours(asked) & (filters.branch == branch)
    kind[which] = np.searchsorted(keys, filters.medium[which])
    lots = asked.lots(BETWEEN_ORDERS_DAYS, kind)
    return replace(lots, expected=share * lots.expected)


def _van(one: Technician, lots: Lots, keys: IntArray, media: dict[int, Media], level: float) -> VanLevel:
    wanted = enough_of_each(lots, len(keys), level)
    kept = likeliest(lots, len(keys), wanted, one.van_room)
    counts = [(media[int(key)], int(count)) for key, count in zip(keys, kept, strict=True) if count]
    return VanLevel(one, sorted(counts, key=lambda row: (-row[1], row[0].nominal_size)), int(wanted.sum()))
