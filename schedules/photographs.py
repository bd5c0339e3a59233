"""Photographs of filters and frames: kept once, a few a visit, withdrawn by whoever leads the desk."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from equipment.models import FilterSlot, User
from equipment.record import NotRecordable
from schedules.models import FieldEntry, Photograph, Visit
from shared import photographs

MOST_A_VISIT = 6
MOST_BESIDE = 24
# A telephone's clock that claims more than this has lost its day.
OLDEST = timedelta(days=400)


@dataclass(frozen=True)
class Taken:
    """Where, when and under which name a photograph was taken; ``entry`` is what was written down with it."""

    uid: UUID
    slot: FilterSlot
    visit: Visit
    at: datetime
    entry: UUID | None = None


def moment(at_ms: int | None, sent_ms: int | None, now: datetime) -> datetime:
    """When something happened by a telephone's clock, in ms since 1970, by this machine's clock instead: as
    long before ``now`` as it was before the sending. ``now`` where that is not known or cannot be so."""
    if at_ms is None or sent_ms is None:
        return now
    ago_ms = sent_ms - at_ms
    return now - timedelta(milliseconds=ago_ms) if 0 < ago_ms < OLDEST / timedelta(milliseconds=1) else now


def known(uid: UUID, slot: FilterSlot, visit: Visit) -> Photograph | None:
    """The photograph that already came under this name, None where there is none. Raises NotRecordable where
    the name belongs to another filter or visit."""
    row = Photograph.objects.filter(uid=uid).defer("jpeg").first()
    if row is not None and (row.slot_id, row.visit_id) != (slot.pk, visit.pk):
        raise NotRecordable(_("This photograph came already, of another filter."))
    return row


def keep(taken: Taken, picture: photographs.Photograph, user: User, now: datetime) -> Photograph:
    """Store it; one that came already is left as it is. Raises NotRecordable where there are too many."""
    with transaction.atomic():
        # One at a time a visit, or two at once would both be the last that is taken.
        Visit.objects.select_for_update().get(pk=taken.visit.pk)
        before = known(taken.uid, taken.slot, taken.visit)
        if before is not None:
            return before
        of_visit = Photograph.objects.filter(slot=taken.slot, visit=taken.visit, withdrawn_at=None)
        if of_visit.count() >= MOST_A_VISIT:
            raise NotRecordable(
                _("There are %(most)d photographs of this filter from this visit already.")
                % {"most": MOST_A_VISIT}
            )
        place = {"slot": taken.slot, "visit": taken.visit, "entry": taken.entry, "taken_at": taken.at}
        row, _made = Photograph.objects.get_or_create(
            uid=taken.uid, defaults=place | _as_stored(picture, user, now)
        )
        return row


def keep_beside(
    uid: UUID, entry: FieldEntry, at: datetime, picture: photographs.Photograph, user: User, now: datetime
) -> Photograph:
    """Store what was taken of a filter or visit that is gone with the entry that it belongs to; once a
    ``uid``. Raises NotRecordable where there are too many."""
    with transaction.atomic():
        FieldEntry.objects.select_for_update().get(pk=entry.pk)
        before = Photograph.objects.filter(uid=uid).defer("jpeg").first()
        if before is not None:
            return before
        if Photograph.objects.filter(entry=entry.uid, slot=None).count() >= MOST_BESIDE:
            raise NotRecordable(
                _("There are %(most)d photographs with this entry already.") % {"most": MOST_BESIDE}
            )
        return Photograph.objects.create(
            uid=uid, entry=entry.uid, taken_at=at, **_as_stored(picture, user, now)
        )


def _as_stored(picture: photographs.Photograph, user: User, now: datetime) -> dict[str, Any]:
    size = {"width": picture.width, "height": picture.height}
    return {"recorded_at": now, "recorded_by": user, "jpeg": picture.jpeg, **size}


def withdraw(photograph: Photograph, user: User, now: datetime) -> None:
    """Empty its bytes; that it was there stays on record. Told again, the first time stands."""
    Photograph.objects.filter(pk=photograph.pk, withdrawn_at=None).update(
        jpeg=b"", withdrawn_at=now, withdrawn_by=user
    )
