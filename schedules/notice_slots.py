"""Which filters a letter speaks of, spoke of, or need not speak of."""

from collections.abc import Iterable
from datetime import datetime

from equipment.fitted import life_keys
from equipment.models import FilterSlot, Person
from schedules.models import Notice, NoticeSlot, Visit, VisitJob


class Spoken:
    """What was told of the filters now in some slots, to whom and how it fared; looked up in two queries."""

    def __init__(self, slots: set[int], now: datetime) -> None:
        self.lives = life_keys(slots, now)
        rows = NoticeSlot.objects.filter(slot__in=slots, void=False).select_related("notice")
        self._rows = {
            (row.slot_id, row.kind, row.person_id): row.notice
            for row in rows.order_by("notice")
            if row.life == self.lives[row.slot_id]
        }

    def of(self, slot: FilterSlot, kind: str, person: Person) -> bool:
        """Whether a letter of ``kind`` speaks to ``person`` of the filter now in ``slot``."""
        return (slot.pk, kind, person.pk) in self._rows

    def last_sent(self, slots: Iterable[FilterSlot], kind: str, person: Person) -> datetime | None:
        """When the last of these letters went out; None where none did."""
        rows = (self._rows.get((slot.pk, kind, person.pk)) for slot in slots)
        sent = [row.sent_at for row in rows if row and row.state == Notice.State.SENT and row.sent_at]
        return max(sent, default=None)

    def why_unsent(self, slot: FilterSlot, person: Person) -> str:
        """How a letter about the filter came to grief; empty where none did."""
        for kind in (Notice.Kind.FOLLOW_UP, Notice.Kind.FILTERS_DUE):
            row = self._rows.get((slot.pk, kind, person.pk))
            if row is not None and row.state in (Notice.State.FAILED, Notice.State.PARKED):
                return f"{row.get_state_display()}: {row.why}"
        return ""


def open_slots(notice: Notice, now: datetime) -> list[FilterSlot]:
    """The notice's slots whose filter is still the one it speaks of."""
    rows = notice.slots.select_related("slot__system__site", "slot__plan", "slot__first_media").order_by(
        "slot__name"
    )
    lives = life_keys([row.slot_id for row in rows], now)
    return [row.slot for row in rows if row.life == lives[row.slot_id] and _in_use(row.slot)]


def _in_use(slot: FilterSlot) -> bool:
    return slot.retired_on is None and slot.system.replaced_on is None


def slots_of_visits(slots: Iterable[int], states: Iterable[str]) -> set[int]:
    """Those of ``slots`` that a visit in one of ``states`` is to change."""
    jobs = VisitJob.objects.filter(slot__in=list(slots), visit__state__in=list(states))
    return {pk for pk in jobs.values_list("slot", flat=True) if pk is not None}


def of_a_technician(slots: Iterable[int]) -> set[int]:
    """Those of ``slots`` that somebody is booked or asked to come for."""
    return slots_of_visits(slots, Visit.OPEN)
