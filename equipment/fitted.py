"""What is in each slot now, for many slots at once."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import QuerySet

from equipment.models import FilterChange, FilterSlot, Media


def made_by(now: datetime) -> QuerySet[FilterChange]:
    """Changes that stand and are not still to come: one told of today counts from its day's end."""
    return FilterChange.objects.filter(undone_at=None, changed_at__lte=now + timedelta(days=1))


def fitted_media(slots: Iterable[FilterSlot], now: datetime) -> dict[int, Media | None]:
    """The medium last known to have gone into each slot, by slot id, in one query.

    A change that names no medium leaves the one before it; ``slots`` should have ``first_media`` at hand.
    """
    fitted = {slot.pk: slot.first_media for slot in slots}
    named = made_by(now).filter(slot__in=fitted, media__isnull=False)
    for change in named.select_related("media").order_by("changed_at"):
        fitted[change.slot_id] = change.media
    return fitted


def media_about(slot: FilterSlot, at: datetime) -> list[Media | None]:
    """The media that may have been in the slot at an instant: the one last known to have gone in before, and
    those of changes within a day of it, as a change told of a day has no hour."""
    stands = FilterChange.objects.filter(slot=slot, undone_at=None, media__isnull=False)
    before = stands.filter(changed_at__lte=at).select_related("media").order_by("changed_at").last()
    day = timedelta(days=1)
    near = stands.filter(changed_at__range=(at - day, at + day)).select_related("media")
    found = [before.media if before is not None else slot.first_media, *(change.media for change in near)]
    earlier = stands.filter(changed_at__lte=at - day).select_related("media").order_by("changed_at").last()
    if near:
        found.append(earlier.media if earlier is not None else slot.first_media)
    return list(dict.fromkeys(found))


def life_keys(slot_ids: Iterable[int], now: datetime) -> dict[int, str]:
    """A name for the filter now in each slot, that its next change makes another, in one query."""
    keys = dict.fromkeys(slot_ids, "first")
    changes = made_by(now).filter(slot__in=list(keys)).order_by("changed_at")
    for slot, change in changes.values_list("slot_id", "pk"):
        keys[slot] = f"change-{change}"
    return keys
