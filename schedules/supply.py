"""Ordering filters, taking them in, and sending them to households."""

from datetime import date, datetime

from django.db import transaction
from django.utils.translation import gettext as _

from equipment.models import FilterSlot, Media, User
from equipment.stock import put_in
from schedules import due
from schedules.models import Purchase, SentFilter

MOST = 100_000


class NotOrderable(ValueError):
    """It cannot be ordered or taken in so; the message says why in plain words."""


def order(media: Media, count: int, expected_on: date, user: User, now: datetime) -> Purchase:
    """Write down that so many were ordered. Raises NotOrderable."""
    today = due.today(now)
    if not 0 < count <= MOST:
        raise NotOrderable(_("Order at least one, and no more than a warehouse holds."))
    if expected_on < today:
        raise NotOrderable(_("They cannot arrive before today."))
    return Purchase.objects.create(
        media=media, count=count, ordered_on=today, expected_on=expected_on, by=user
    )


def arrive(purchase: Purchase, count: int, now: datetime) -> None:
    """So many came, nought where the order was given up; what is missing is not awaited any more. Raises
    NotOrderable; told again, the first time stands."""
    if not 0 <= count <= MOST:
        raise NotOrderable(_("So many cannot have come."))
    with transaction.atomic():
        open_row = Purchase.objects.filter(pk=purchase.pk, ended_on=None)
        if open_row.update(ended_on=due.today(now), arrived=count) and count:
            put_in(purchase.media_id, count)


def send_to(slot: FilterSlot, wants: bool, user: User | None, now: datetime) -> None:
    """The household wants this filter sent by the desk, or no more."""
    if wants:
        SentFilter.objects.get_or_create(slot=slot, defaults={"since": due.today(now), "by": user})
    else:
        SentFilter.objects.filter(slot=slot).delete()
