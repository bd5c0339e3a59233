"""What answers to the one box, for whoever types: any home by address, name, code or size; by telephone those
whose people the reader may reach.
"""

from datetime import datetime

from equipment.lookup import look_up, nearest
from equipment.models import FilterSlot
from schedules.contacts import Contacts

_RELATED = ("system__site__customer", "plan", "first_media")


def answering(typed: str, now: datetime, contacts: Contacts) -> list[FilterSlot]:
    """What answers; by telephone none but homes whose people the reader may reach, or trying figures would
    tell the others'."""
    slots = list(look_up(typed, now, phones=contacts.everybody).select_related(*_RELATED))
    if not contacts.everybody and any(map(str.isdigit, typed)) and contacts.near:
        by_phone = look_up(typed, now).filter(system__site__in=contacts.near).select_related(*_RELATED)
        known = {slot.pk for slot in slots}
        slots += [slot for slot in by_phone if slot.pk not in known]
    return slots


def nearest_to(typed: str, contacts: Contacts) -> list[FilterSlot]:
    """What comes nearest, where nothing answers."""
    return list(nearest(typed, phones=contacts.everybody).select_related(*_RELATED))
