"""Filters that go in for a while: a finer one for smoke or an allergy, another while the usual is short."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from equipment.fitted import fitted_media
from equipment.models import Desk, FilterChange, FilterSlot, Meanwhile, Media
from equipment.record import NotRecordable, Told, record_change, stamp
from shared import clock

LONGEST_DAYS = 366


@dataclass(frozen=True)
class ForAWhile:
    """What goes in today, by when somebody looks at it, by when it comes out, and why."""

    media: Media
    look_on: date
    ends_on: date
    why: str = ""


def standing(slot_ids: Iterable[int], as_of: date) -> QuerySet[Meanwhile]:
    """The arrangements of slots that hold on a day: begun, not called off, no other filter in since."""
    followed = FilterChange.objects.filter(
        slot=OuterRef("slot"), undone_at=None, changed_on__gt=OuterRef("begins_on"), changed_on__lte=as_of
    )
    rows = Meanwhile.objects.filter(slot__in=list(slot_ids), begins_on__lte=as_of, ended_on=None)
    return rows.filter(~Exists(followed)).select_related("media", "usual")


def for_now(slots: Iterable[FilterSlot], now: datetime) -> dict[int, Meanwhile]:
    """What is in the slots for a while, by slot id; one query."""
    tomorrow = clock.local_day(now, Desk.the().zone) + timedelta(days=1)
    return {row.slot_id: row for row in standing([slot.pk for slot in slots], tomorrow)}


def next_media(
    slots: Iterable[FilterSlot], now: datetime, meanwhile: Mapping[int, Meanwhile]
) -> dict[int, Media | None]:
    """What goes into each slot at its next change, by slot id: the usual medium again where another is in
    there for a while, else what is in there now; one query."""
    coming = fitted_media(slots, now)
    for pk, row in meanwhile.items():
        coming[pk] = row.usual or coming[pk]
    return coming


def fit_for_a_while(slot: FilterSlot, asked: ForAWhile, told: Told, now: datetime) -> Meanwhile:
    """Write down that the medium went in today for a while; told again of the medium that is in there for a
    while, its days are set anew.

    Whether it may go there is the verdict's, asked before. Raises NotRecordable for days in the wrong order
    or too far ahead, and where the change itself cannot be recorded.
    """
    today = clock.local_day(now, slot.system.site.zone(Desk.the().timezone))
    _refuse_days(asked, today)
    with transaction.atomic():
        row = standing([slot.pk], today).first()
        if row is not None and row.media_id == asked.media.pk:
            row.look_on, row.ends_on, row.why = max(asked.look_on, row.begins_on), asked.ends_on, asked.why
            row.save()
            stamp(slot, now)
            return row
        usual = row.usual if row is not None else fitted_media([slot], now)[slot.pk]
        record_change(slot, today, asked.media, told, now)
        for before in slot.meanwhiles.filter(ended_on=None):
            before.ended_on = today
            before.save()
        return Meanwhile.objects.create(
            slot=slot,
            media=asked.media,
            usual=usual,
            begins_on=today,
            look_on=asked.look_on,
            ends_on=asked.ends_on,
            why=asked.why,
            recorded_by=told.user,
        )


def _refuse_days(asked: ForAWhile, today: date) -> None:
    if not today < asked.look_on <= asked.ends_on:
        raise NotRecordable(_("Somebody looks at it after today, and not after it has come out."))
    if (asked.ends_on - today).days > LONGEST_DAYS:
        raise NotRecordable(_("That is no longer for a while: fit it for good, or name an earlier day."))
