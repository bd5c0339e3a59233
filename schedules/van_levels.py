"""What each van should hold for a week."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from equipment.models import Media
from schedules import due
from schedules.models import Policy, Technician
from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.stock import Lots, enough_of_each, shared_out, shelf
from schedules.season_staff import team
from schedules.to_buy import BETWEEN_ORDERS_DAYS, Demand, demand


@dataclass(frozen=True)
class VanLevel:
    """Media and counts, the most first; ``wanted`` is how many there would be were there room and stock."""

    technician: Technician
    counts: list[tuple[Media, int]]
    wanted: int

    @property
    def held(self) -> int:
        """How many all in all."""
        return sum(count for _media, count in self.counts)


def van_levels(now: datetime) -> list[VanLevel]:
    """For each technician, so many that the visits booked for them and their share of the other changes of
    the coming week at their branch are served on the desk's level; cut to the van's room, and all vans
    together to what is there. Shares go by the minutes that each works in that week: whoever is away holds
    nothing."""
    asked, level = demand(now, 2), Policy.the().stock_level
    keys = np.unique(asked.filters.medium[_ours(asked)])
    media = Media.objects.in_bulk(keys.tolist())
    staff = team(due.today(now), asked.branches)
    minutes = staff.minutes(due.today(now), np.array([BETWEEN_ORDERS_DAYS])).sum(axis=1)
    of_branch = np.bincount(staff.branch, minutes, len(asked.branches.pks))
    share = minutes / np.maximum(of_branch[staff.branch], 1.0)
    here = [who.pk for who in staff.people]
    booked = np.append(asked.known.booked.technician, 0)[asked.filters.visit]
    # What is booked for somebody who left goes with whoever takes it.
    booked = np.where(np.isin(booked, here), booked, 0)
    lots = [
        _lots(asked, booked == who.pk, (booked == 0) & (asked.filters.branch == n), part, keys)
        for who, n, part in zip(staff.people, staff.branch.tolist(), share.tolist(), strict=True)
    ]
    wanted = [enough_of_each(some, len(keys), level) for some in lots]
    shelves = [shelf(some, most) for some, most in zip(lots, wanted, strict=True)]
    rooms = [who.van_room for who in staff.people]
    vans = [
        _van(who, one.counts(len(keys)), int(most.sum()), [media[int(key)] for key in keys])
        for who, one, most in zip(
            staff.people, shared_out(shelves, rooms, _there(keys, media)), wanted, strict=True
        )
    ]
    return sorted(vans, key=lambda van: van.technician.name)


def _ours(asked: Demand) -> BoolArray:
    """The filters that go by van: of technicians, and of visits that stand."""
    filters = asked.filters
    return np.asarray((filters.by_desk | (filters.visit >= 0)) & (filters.medium > 0))


def _there(keys: IntArray, media: dict[int, Media]) -> FloatArray:
    """What is on hand of each medium, inf where nobody counts it."""
    counts = [media[int(key)].on_hand for key in keys]
    return np.array([np.inf if one is None else max(one, 0) for one in counts], dtype=np.float64)


def _lots(asked: Demand, mine: BoolArray, rest: BoolArray, share: float, keys: IntArray) -> Lots:
    """What is booked for a technician, ``mine`` [n], and that share of the coming week's ``rest`` [n]."""
    own = asked.lots(BETWEEN_ORDERS_DAYS, _kinds(asked, mine, keys))
    shared = asked.lots(BETWEEN_ORDERS_DAYS, _kinds(asked, rest, keys))
    return Lots(
        np.concatenate([own.kind, shared.kind]),
        np.concatenate([own.expected, share * shared.expected]),
        np.concatenate([own.size, shared.size]),
    )


def _kinds(asked: Demand, which: BoolArray, keys: IntArray) -> IntArray:
    """The medium's place among ``keys`` of those of our filters, -1 for the others."""
    kind = np.full(len(which), -1)
    some = _ours(asked) & which
    kind[some] = np.searchsorted(keys, asked.filters.medium[some])
    return kind


def _van(who: Technician, kept: IntArray, wanted: int, media: list[Media]) -> VanLevel:
    counts = [(one, int(count)) for one, count in zip(media, kept, strict=True) if count]
    return VanLevel(who, sorted(counts, key=lambda row: (-row[1], row[0].nominal_size)), wanted)
