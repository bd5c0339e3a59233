"""What goes into the van for a day: filters by size, spares, what is short, what would do instead."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from scipy.special import bdtr

from equipment.meanwhile import for_now, next_media
from equipment.models import FilterSlot, Media, User
from schedules.also_fits import MOST_SLOTS, also_fits, shelf_of
from schedules.emails import FilterLine, filter_lines
from schedules.models import Policy, Technician, VanTick, Visit

# How often a filter on the list turns out torn, wet or of another size at the home. Own assumption.
SPARE_CHANCE = 0.05
MOST = 500


@dataclass(frozen=True)
class VanLine:
    """So many of one filter: ``need`` by the visits, ``spares`` on top, ``loaded`` as ticked.

    ``short`` is what the store lacks, None where its stock is not known, after what ``others`` need that day;
    ``instead`` passed the verdict in every slot of the line.
    """

    size: str
    nominal_size: str
    media: Media | None
    actual: str
    lines: list[FilterLine]
    spares: int
    loaded: int | None = None
    instead: list[Media] = field(default_factory=list)
    others: int = 0

    @property
    def need(self) -> int:
        """How many the day's visits change."""
        return len(self.lines)

    @property
    def total(self) -> int:
        """Need and spares."""
        return self.need + self.spares

    @property
    def short(self) -> int | None:
        """How many of them are not on hand."""
        if self.media is None or self.media.on_hand is None:
            return None
        return min(self.total, max(self.total + self.others - self.media.on_hand, 0))

    @property
    def key(self) -> str:
        """Its name in a form."""
        return f"{self.nominal_size}:{self.media.pk if self.media else ''}"


def spares_for(need: int, level: float, chance: float = SPARE_CHANCE) -> int:
    """The fewest spares with which the filters suffice in ``level`` of all days.

    Each filter, a spare too, is spoilt with ``chance`` on its own. Raises ValueError for what is no share.
    """
    if not (0 < level < 1 and 0 <= chance < 1):
        raise ValueError("level and chance are shares between 0 and 1")
    spares = 0
    while need and bdtr(spares, need + spares, chance) < level:
        spares += 1
    return spares


def van_list(technician: Technician, day: date, now: datetime, units: str) -> list[VanLine]:
    """The van's list of the day's open visits, by size; a fixed number of queries but for what is short."""
    visits = Visit.objects.filter(technician=technician, day=day, state__in=Visit.ON_A_DAY)
    jobs = ("jobs__slot__system__site", "jobs__slot__plan", "jobs__slot__first_media")
    slots = [job.slot for visit in visits.prefetch_related(*jobs) for job in visit.jobs.all() if job.slot]
    grouped: dict[tuple[str, int | None], list[FilterLine]] = {}
    for line in filter_lines(slots, now, units):
        key = (line.slot.nominal_size, line.media.pk if line.media else None)
        grouped.setdefault(key, []).append(line)
    ticks = {
        (tick.size, tick.media_id): tick.count
        for tick in VanTick.objects.filter(technician=technician, day=day)
    }
    level, elsewhere = Policy.the().spare_level, _elsewhere(technician, day, now)
    found = []
    for (size, media), some in sorted(grouped.items(), key=lambda item: (item[0][0], item[0][1] or 0)):
        first, spares = some[0], spares_for(len(some), level)
        others = elsewhere[media] if media else 0
        row = VanLine(
            first.size, size, first.media, first.actual, some, spares, ticks.get((size, media)), others=others
        )
        found.append(_with_instead(row, now))
    return found


def _elsewhere(technician: Technician, day: date, now: datetime) -> Counter[int]:
    """How many of each medium the other vans need on that day."""
    visits = Visit.objects.filter(day=day, state__in=Visit.ON_A_DAY).exclude(technician=technician)
    slots = FilterSlot.objects.filter(jobs__visit__in=visits).select_related("first_media", "system__site")
    coming = next_media(list(slots), now, for_now(slots, now))
    return Counter(media.pk for media in coming.values() if media)


def _with_instead(line: VanLine, now: datetime) -> VanLine:
    """Where it is short, the media on hand that would do in all of its slots."""
    if not line.short:
        return line
    slots = [one.slot for one in line.lines]
    found: dict[int, list[Media]] = {}
    for first in range(0, len(slots), MOST_SLOTS):
        some = slots[first : first + MOST_SLOTS]
        shelf = shelf_of(some, {slot.pk: line.media for slot in some}, for_now(some, now))
        found |= also_fits(shelf)
    common = set.intersection(*({one.pk for one in found[slot.pk]} for slot in slots)) if slots else set()
    instead = [one for one in found[slots[0].pk] if one.pk in common and one.on_hand]
    return VanLine(**{**vars(line), "instead": instead})


def tick(technician: Technician, day: date, line: VanLine, count: int, user: User, now: datetime) -> None:
    """Write down that so many of the line are in the van; nought takes it back."""
    of: dict[str, Any] = {
        "technician": technician,
        "day": day,
        "size": line.nominal_size,
        "media": line.media,
    }
    if count:
        VanTick.objects.update_or_create(**of, defaults={"count": count, "at": now, "by": user})
    else:
        VanTick.objects.filter(**of).delete()
