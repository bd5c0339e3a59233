"""Ordering filters, taking them in, and sending them to households."""

from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import F, Q
from django.utils.translation import gettext as _

from equipment.meanwhile import for_now, next_media
from equipment.models import FilterSlot, Media, User
from equipment.stock import put_in, take_out
from schedules import due
from schedules.models import Policy, Purchase, SentFilter
from schedules.to_buy import LEVELS, POST_DAYS

MOST = 100_000
FARTHEST = timedelta(days=730)


class NotOrderable(ValueError):
    """It cannot be ordered or taken in so; the message says why in plain words."""


def order(media: Media, count: int, expected_on: date, user: User, now: datetime) -> Purchase:
    """Write down that so many were ordered. Raises NotOrderable."""
    today = due.today(now)
    if not 0 < count <= MOST:
        raise NotOrderable(_("Order at least one, and no more than a warehouse holds."))
    if expected_on < today:
        raise NotOrderable(_("They cannot arrive before today."))
    if expected_on > today + FARTHEST:
        raise NotOrderable(_("An order arrives within two years: look at the day again."))
    return Purchase.objects.create(
        media=media, count=count, ordered_on=today, expected_on=expected_on, by=user
    )


def arrive(purchase: Purchase, count: int, now: datetime, *, rest_comes: bool = False) -> int:
    """So many came, nought where the order was given up; how many are still awaited: what is missing if
    ``rest_comes``, as an order of its own. Raises NotOrderable; told again, the first time stands."""
    if not 0 <= count <= MOST:
        raise NotOrderable(_("So many cannot have come."))
    if rest_comes and not count:
        raise NotOrderable(_("Nothing came yet: write it down when something does."))
    rest = max(purchase.count - count, 0) if rest_comes else 0
    with transaction.atomic():
        open_row = Purchase.objects.filter(pk=purchase.pk, ended_on=None)
        if not open_row.update(ended_on=due.today(now), arrived=count):
            return 0
        if count:
            put_in(purchase.media_id, count)
        if rest:
            purchase.pk, purchase.count = None, rest
            purchase.save(force_insert=True)
    return rest


def counted(media: Media, count: int) -> None:
    """So many there are in store and vans together, by a count. Raises NotOrderable."""
    if not 0 <= count <= MOST:
        raise NotOrderable(_("So many no store holds."))
    Media.objects.filter(pk=media.pk).update(on_hand=count)


def hold_to(percent: float) -> None:
    """Hold the desk to a level, in per cent of periods. Raises NotOrderable."""
    low, high = (100 * level for level in LEVELS)
    if not low <= percent <= high:
        raise NotOrderable(
            _("A level lies between %(low).0f and %(high).1f %%.") % {"low": low, "high": high}
        )
    Policy.the()
    Policy.objects.update(stock_level=percent / 100)


def to_send(now: datetime) -> list[SentFilter]:
    """The filters that have to be on their way: due within the days of notice and those of the post, and none
    sent since the filter that is in there went in; the soonest due first."""
    last = due.today(now) + timedelta(days=Policy.the().lead_days + POST_DAYS)
    lived_in = FilterSlot.objects.in_use().filter(system__site__vacant_since=None)
    lived_in = lived_in.exclude(changed_by=FilterSlot.ChangedBy.TECHNICIAN)
    rows = SentFilter.objects.filter(slot__plan__due_on__lte=last, slot__in=lived_in)
    waits = rows.filter(Q(last_sent_on=None) | Q(last_sent_on__lt=F("slot__plan__life_began_on")))
    related = ("slot__plan", "slot__first_media", "slot__system__site__customer")
    return list(waits.select_related(*related).order_by("slot__plan__due_on", "pk"))


def sent(row: SentFilter, now: datetime) -> None:
    """The filter went out to its household: once, however often the button is pressed on one day."""
    today = due.today(now)
    with transaction.atomic():
        fresh = SentFilter.objects.filter(Q(last_sent_on=None) | Q(last_sent_on__lt=today), pk=row.pk)
        if fresh.update(last_sent_on=today):
            going = next_media([row.slot], now, for_now([row.slot], now))
            take_out(media.pk for media in going.values() if media)


def send_to(slot: FilterSlot, wants: bool, user: User | None, now: datetime) -> None:
    """The household wants this filter sent by the desk, or no more."""
    if wants:
        SentFilter.objects.get_or_create(slot=slot, defaults={"since": due.today(now), "by": user})
    else:
        SentFilter.objects.filter(slot=slot).delete()
