"""Filters to buy, orders, what arrived, counts and what goes out to households, for programs."""

from datetime import date
from typing import Any

from django.http import Http404, HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status
from pydantic import FiniteFloat

from equipment.access import signed_in
from equipment.models import FilterSlot, Media
from schedules import supply
from schedules.models import Purchase, SentFilter
from schedules.to_buy import to_buy
from shared.asked_days import Day, Key
from shared.form_bodies import fault
from shared.paging import Page, Paged, page_of

router = Router()
# A count that no column holds is none.
MOST = 1_000_000_000


class BuyOut(Schema):
    """A medium on the purchase list: how many until an order after this one arrives, how many to order."""

    media: str
    nominal_size: str
    merv: int
    needed: int
    on_hand: int | None
    on_order: int
    buy: int
    short_on: date | None


class PurchaseOut(Schema):
    """An order on its way, or what arrived of one."""

    id: int
    media: str
    count: int
    ordered_on: date
    expected_on: date
    ended_on: date | None
    arrived: int | None

    @staticmethod
    def resolve_media(row: Purchase) -> str:
        return row.media.name


class OrderIn(Schema):
    """So many of a medium, expected on a day."""

    media: str = Field(max_length=200)
    count: int = Field(ge=-MOST, le=MOST)
    expected_on: Day


class ArrivedIn(Schema):
    """How many came, nought where the order was given up; whether what is missing is still awaited."""

    count: int = Field(ge=-MOST, le=MOST)
    rest_comes: bool = False


class ArrivedOut(Schema):
    """The order as it ended, and how many are still awaited."""

    order: PurchaseOut
    awaited: int


class CountIn(Schema):
    """So many of a medium there are in store and vans together."""

    media: str = Field(max_length=200)
    count: int = Field(ge=-MOST, le=MOST)


class CountOut(Schema):
    """What is on hand of a medium; null where nobody counts it."""

    media: str
    on_hand: int | None


class LevelIn(Schema):
    """In how many per cent of periods what is there has to suffice."""

    percent: FiniteFloat


class ToSendOut(Schema):
    """A filter that has to be on its way to its household."""

    id: int
    filter_slot: str
    site: str
    nominal_size: str
    last_sent_on: date | None

    @staticmethod
    def resolve_filter_slot(row: SentFilter) -> str:
        return row.slot.name

    @staticmethod
    def resolve_site(row: SentFilter) -> str:
        return row.slot.system.site.name

    @staticmethod
    def resolve_nominal_size(row: SentFilter) -> str:
        return row.slot.nominal_size


class WantsIn(Schema):
    """Whether the household wants the filter sent by the desk."""

    wants: bool


class WantsOut(Schema):
    """Whether the desk sends the filter."""

    filter_slot: str
    is_sent: bool


@router.get("/filters-to-buy", url_name="api-to-buy", response=Page[BuyOut], tags=["supply"])
def filters_to_buy(request: HttpRequest, paged: Paged, nominal_size: str = "") -> Any:
    """The purchase list at the desk's level."""
    rows = [line for line in to_buy(timezone.now()).lines if line.buy or line.needed]
    rows = [line for line in rows if line.media.nominal_size == nominal_size] if nominal_size else rows
    page = page_of(rows, paged)
    return {**page, "rows": [_bought(line) for line in page["rows"]]}


def _bought(line: Any) -> BuyOut:
    media = line.media
    return BuyOut(
        media=media.name, nominal_size=media.nominal_size, merv=media.merv, needed=line.needed,
        on_hand=line.on_hand, on_order=line.on_order, buy=line.buy, short_on=line.short_on,
    )  # fmt: skip


@router.get("/purchases", url_name="api-purchases", response=Page[PurchaseOut], tags=["supply"])
def purchases(request: HttpRequest, paged: Paged, media: str = "", ended: bool = False) -> Any:
    """Orders on their way, the next to arrive first; or those that ended."""
    rows = Purchase.objects.filter(ended_on__isnull=not ended).select_related("media")
    rows = rows.filter(media__name=media) if media else rows
    return page_of(rows.order_by("expected_on", "pk"), paged)


@router.post("/purchases", url_name="api-purchases", response={201: PurchaseOut}, tags=["supply"])
def order(request: HttpRequest, told: OrderIn) -> Any:
    """Write down that so many were ordered."""
    media, user = _media(told.media), signed_in(request)
    return Status(201, supply.order(media, told.count, told.expected_on, user, timezone.now()))


@router.post("/purchases/{pk}/arrived", url_name="api-purchase-arrived", response=ArrivedOut, tags=["supply"])
def arrive(request: HttpRequest, pk: Key, told: ArrivedIn) -> Any:
    """Take in what came of an order; told again, the first time stands."""
    row = get_object_or_404(Purchase, pk=pk)
    rest = supply.arrive(row, told.count, timezone.now(), rest_comes=told.rest_comes)
    return {"order": Purchase.objects.select_related("media").get(pk=pk), "awaited": rest}


@router.post("/counts", url_name="api-counts", response=CountOut, tags=["supply"])
def count(request: HttpRequest, told: CountIn) -> Any:
    """Write a count down: from now on it is what is there."""
    media = _media(told.media)
    supply.counted(media, told.count)
    media.refresh_from_db(fields=["on_hand"])
    return CountOut(media=media.name, on_hand=media.on_hand)


@router.post("/stock-level", url_name="api-stock-level", response=LevelIn, tags=["supply"])
def hold_to(request: HttpRequest, told: LevelIn) -> Any:
    """Hold the purchase list to another level."""
    supply.hold_to(told.percent)
    return told


@router.get("/filters-to-send", url_name="api-to-send", response=Page[ToSendOut], tags=["supply"])
def to_send(request: HttpRequest, paged: Paged) -> Any:
    """Filters that have to be on their way, the soonest due first."""
    return page_of(supply.to_send(timezone.now()), paged)


@router.post("/filters-to-send/{pk}/sent", url_name="api-to-send-sent", response=ToSendOut, tags=["supply"])
def sent(request: HttpRequest, pk: Key) -> Any:
    """The filter went out to its household; once a day, however often it is told."""
    row = get_object_or_404(SentFilter.objects.select_related("slot__system__site"), pk=pk)
    supply.sent(row, timezone.now())
    row.refresh_from_db(fields=["last_sent_on"])
    return row


@router.post("/filters/{name}/sent-by-desk", url_name="api-filter-sent", response=WantsOut, tags=["supply"])
def send_to(request: HttpRequest, name: str, told: WantsIn) -> Any:
    """The household wants this filter sent by the desk, or no more."""
    slot = FilterSlot.objects.in_use().filter(name=name).first()
    if slot is None:
        raise Http404
    supply.send_to(slot, told.wants, signed_in(request), timezone.now())
    return WantsOut(filter_slot=name, is_sent=SentFilter.objects.filter(slot=slot).exists())


def _media(name: str) -> Media:
    found = Media.objects.filter(name=name).first()
    if found is None:
        raise fault("media", _("That filter is not on record."))
    return found
