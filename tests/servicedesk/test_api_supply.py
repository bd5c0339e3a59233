"""Orders, arrivals, counts and what is sent, by program, as the page of filters to buy does them."""

from datetime import timedelta
from typing import Any

import pytest

from equipment.models import Media
from schedules.models import Plan, Policy, Purchase, SentFilter
from servicedesk.access import Who
from tests.factories import NOW, TODAY, MediaFactory, PurchaseFactory, SentFilterFactory
from tests.servicedesk.test_api import program_of
from tests.servicedesk.writing import Record, Write

pytestmark = pytest.mark.django_db
NEXT_WEEK = (TODAY + timedelta(days=7)).isoformat()


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def a_medium(address: str) -> Any:
    def begin(record: Record) -> str:
        MediaFactory(name="pleat", on_hand=3)
        return address

    return begin


def a_purchase(record: Record) -> str:
    row = PurchaseFactory(media=MediaFactory(name="pleat", on_hand=3), count=12)
    return f"/api/v1/purchases/{row.pk}/arrived"


def to_be_sent(record: Record) -> str:
    return f"/api/v1/filters-to-send/{SentFilterFactory(slot=record.slot).pk}/sent"


def orders() -> object:
    return list(Purchase.objects.order_by("pk").values_list("count", "arrived"))


def on_hand() -> object:
    return list(Media.objects.filter(name="pleat").values_list("on_hand", flat=True))


WRITES = [
    Write(
        "api-purchases", a_medium("/api/v1/purchases"), orders, [(12, None)],
        {"media": "pleat", "count": 12, "expected_on": NEXT_WEEK},
        refused={"media": "pleat", "count": 0, "expected_on": NEXT_WEEK}, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-purchase-arrived", a_purchase, lambda: (orders(), on_hand()), ([(12, 5), (7, None)], [8]),
        {"count": 5, "rest_comes": True}, refused={"count": -1}, shut=Who.TECHNICIAN,
        answer=lambda told: (told["awaited"], told["order"]["arrived"]) == (7, 5),
    ),
    Write(
        "api-counts", a_medium("/api/v1/counts"), on_hand, [40], {"media": "pleat", "count": 40},
        refused={"media": "felt", "count": 40}, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-stock-level", a_medium("/api/v1/stock-level"), lambda: Policy.the().stock_level, 0.975,
        {"percent": 97.5}, refused={"percent": 30}, shut=Who.TECHNICIAN,
    ),
    Write(
        "api-to-send-sent", to_be_sent,
        lambda: list(SentFilter.objects.values_list("last_sent_on", flat=True)), [TODAY],
        spoil=lambda: SentFilter.objects.all().delete(), shut=Who.TECHNICIAN,
    ),
    Write(
        "api-filter-sent", lambda record: "/api/v1/filters/hall/sent-by-desk",
        lambda: SentFilter.objects.count(), 1, {"wants": True}, refused={}, shut=Who.TECHNICIAN,
        answer=lambda told: told["is_sent"],
    ),
]  # fmt: skip


def test_orders_and_what_is_to_be_sent_are_listed_and_narrowed(record: Record) -> None:
    ask = program_of(record.manager)
    a_purchase(record)
    (row,) = ask.get("/api/v1/purchases?media=pleat").json()["rows"]
    assert (row["count"], row["arrived"]) == (12, None)
    assert ask.get("/api/v1/purchases?media=felt").json()["count"] == 0
    assert ask.get("/api/v1/purchases?ended=true").json()["count"] == 0
    to_be_sent(record)
    Plan.objects.update(due_on=TODAY + timedelta(days=2))
    assert [row["filter_slot"] for row in ask.get("/api/v1/filters-to-send").json()["rows"]] == ["hall"]
    assert ask.get("/api/v1/filters-to-buy?nominal_size=1x1x1").json()["count"] == 0
