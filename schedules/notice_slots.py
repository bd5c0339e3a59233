"""Which filters a letter speaks of, spoke of, or need not speak of."""

from collections.abc import Iterable
from datetime import datetime

from equipment.fitted import life_keys
from equipment.models import FilterSlot
from schedules.models import Notice, NoticeSlot, Visit, VisitJob


class Spoken:
    """Which slots have been spoken of in their present life, looked up in two queries."""

    def __init__(self, slots: set[int], now: datetime) -> None:
        self.lives = life_keys(slots, now)
        rows = NoticeSlot.objects.filter(slot__in=slots).values_list("slot", "kind", "life")
        self._rows = set(rows)

    def of(self, slot: FilterSlot, kind: str) -> bool:
        """Whether a letter of ``kind`` spoke of the filter now in ``slot``."""
        return (slot.pk, kind, self.lives[slot.pk]) in self._rows


def open_slots(notice: Notice, now: datetime) -> list[FilterSlot]:
    """The notice's slots whose filter is still the one it speaks of."""
    rows = notice.slots.select_related("slot__system__site", "slot__plan", "slot__first_media").order_by(
        "slot__name"
    )
    lives = life_keys([row.slot_id for row in rows], now)
    return [row.slot for row in rows if row.life == lives[row.slot_id] and row.slot.retired_on is None]


def slots_of_visits(slots: Iterable[int], states: Iterable[str]) -> set[int]:
    """Those of ``slots`` that a visit in one of ``states`` is to change."""
    jobs = VisitJob.objects.filter(slot__in=list(slots), visit__state__in=list(states))
    return {pk for pk in jobs.values_list("slot", flat=True) if pk is not None}


def of_a_technician(slots: Iterable[int]) -> set[int]:
    """Those of ``slots`` that somebody is booked or asked to come for."""
    return slots_of_visits(slots, Visit.OPEN)
