"""What to buy, by hand for one size."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from scipy.stats import binom

from equipment.models import FilterChange, FilterSlot, Media, User
from schedules import supply
from schedules.models import Plan, Policy, Purchase
from schedules.planning.stock import count_chances
from schedules.season import facts, outlook, season
from schedules.supply import NotOrderable
from schedules.to_buy import BuyLine, Prices, demand, to_buy
from schedules.van_levels import van_levels
from tests.factories import (
    AbsenceFactory,
    DepotFactory,
    FilterSlotFactory,
    MeanwhileFactory,
    MediaFactory,
    PlanFactory,
    PolicyFactory,
    PurchaseFactory,
    SentFilterFactory,
    SystemFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)  # a Tuesday: its week ends on the 17th


@pytest.fixture
def pleat() -> Media:
    media: Media = MediaFactory(name="pleat", on_hand=4, price="10.00")
    return media


def filters(
    media: Media | None, count: int, due_in: int, *, by: str = "technician", **plan: object
) -> list[FilterSlot]:
    """Slots whose calendar date, and so their day, is certain; put in half a year before it."""
    slots = FilterSlotFactory.create_batch(count, first_media=media, changed_by=by)
    day = TODAY + timedelta(days=due_in)
    usual: dict[str, object] = {"reason": "calendar", "p10_on": None, "p50_on": None, "p90_on": None}
    for slot in slots:
        PlanFactory(slot=slot, due_on=day, life_began_on=day - timedelta(days=183), **{**usual, **plan})
    return slots


def booked_on(slot: FilterSlot, ahead: int, **given: object) -> None:
    who = given or {"technician": TechnicianFactory()}
    visit = VisitFactory(site=slot.system.site, day=TODAY + timedelta(days=ahead), state="scheduled", **who)
    VisitJobFactory(visit=visit, slot=slot)


def line(now: datetime) -> BuyLine:
    (one,) = to_buy(now).lines
    return one


def test_certain_days_are_counted(pleat: Media, now: datetime) -> None:
    """Ten due within the fourteen days until an order after this one is here, three beyond."""
    filters(pleat, 7, 2)
    filters(pleat, 3, 9)
    filters(pleat, 3, 40)
    one = line(now)
    assert one.by_week[:2] == pytest.approx([7.0, 3.0])
    assert sum(one.by_week) == pytest.approx(13.0, abs=0.2)  # some come again within twelve weeks
    assert (one.needed, one.on_hand, one.buy) == (10, 4, 6)
    assert one.price == 60


def test_chances_are_a_binomial(pleat: Media, now: datetime) -> None:
    """Twenty filters alike, each with the same chance of falling due within fourteen days: the binomial of
    scipy at the level of 95 %."""
    Policy.the()
    p50 = TODAY + timedelta(days=14)
    filters(
        pleat,
        20,
        14,
        reason="risk",
        p10_on=p50 - timedelta(days=10),
        p50_on=p50,
        p90_on=p50 + timedelta(days=10),
    )
    asked = demand(now)
    chance, again = asked.within(14).T
    assert again.max() == pytest.approx(0.0, abs=1e-9)
    assert np.ptp(chance) == pytest.approx(0.0)
    assert 0.05 < chance[0] < 0.95
    assert line(now).needed == binom.ppf(0.95, 20, chance[0])


def test_what_households_change_is_bought_where_the_desk_sends_it(
    pleat: Media, manager_user: User, now: datetime
) -> None:
    one, other = filters(pleat, 2, 3, by="occupant")
    assert to_buy(now).lines == []
    supply.send_to(one, True, manager_user, now)
    supply.send_to(one, True, manager_user, now)
    assert line(now).needed == 1
    SentFilterFactory(slot=other)
    assert line(now).needed == 2
    supply.send_to(one, False, manager_user, now)
    assert line(now).needed == 1


def test_a_filter_is_sent_once_a_life_and_leaves_the_stock(
    pleat: Media, manager: Client, manager_user: User, now: datetime
) -> None:
    soon, later = filters(pleat, 1, 9, by="occupant"), filters(pleat, 1, 60, by="occupant")
    for slot in (*soon, *later):
        supply.send_to(slot, True, manager_user, now)
    (row,) = supply.to_send(now)
    assert row.slot == soon[0]
    with time_machine.travel(now, tick=False):
        assert "1 filter to send to its household" in manager.get("/filters-to-buy/").text
        for _again in range(2):
            manager.post("/filters-to-buy/", {"sent": row.pk})
    assert supply.to_send(now) == []
    pleat.refresh_from_db()
    assert pleat.on_hand == 3
    assert line(now).needed == 0


def test_what_is_on_its_way_is_not_bought_again_and_arrives_once(
    pleat: Media, manager_user: User, now: datetime
) -> None:
    filters(pleat, 10, 2)
    row = supply.order(pleat, 5, TODAY + timedelta(days=7), manager_user, now)
    assert (line(now).on_order, line(now).buy) == (5, 1)
    supply.arrive(row, 4, now)
    supply.arrive(row, 4, now)
    assert (line(now).on_hand, line(now).on_order, line(now).buy) == (8, 0, 2)
    late = PurchaseFactory(media=pleat, count=3, expected_on=TODAY - timedelta(days=40))
    PurchaseFactory(media=pleat, count=50, expected_on=TODAY + timedelta(days=300))
    assert line(now).on_order == 3  # what comes too late is no help now
    supply.arrive(late, 0, now)
    assert line(now).on_order == 0


def test_what_is_washed_is_not_bought_and_what_is_in_for_a_while_is_not_bought_again(
    pleat: Media, now: datetime
) -> None:
    filters(MediaFactory(name="mesh", kind="washable"), 3, 2)
    (slot,) = filters(pleat, 1, 2)
    other = MediaFactory(name="other", nominal_size=pleat.nominal_size)
    FilterChange.objects.create(
        slot=slot, changed_on=TODAY - timedelta(days=3), changed_at=now - timedelta(days=3), media=other
    )
    row = {"slot": slot, "media": other, "usual": pleat, "begins_on": TODAY - timedelta(days=3)}
    MeanwhileFactory(**row, look_on=TODAY, ends_on=TODAY + timedelta(days=9))
    assert [one.media for one in to_buy(now).lines] == [pleat]


def test_a_long_way_is_covered_whole(pleat: Media, now: datetime) -> None:
    Media.objects.update(lead_days=150)
    filters(pleat, 10, 2)
    filters(pleat, 10, 140)
    assert line(now).needed >= 20
    assert len(line(now).by_week) == 12


def test_a_stock_below_nothing_is_said_and_made_up(pleat: Media, now: datetime) -> None:
    filters(pleat, 3, 2)
    Media.objects.update(on_hand=-2)
    # Fewer than none cannot be there: it wants counting, and nothing is bought against it.
    assert (line(now).miscounted, line(now).buy) == (True, 3)
    Media.objects.update(on_hand=None)
    assert (line(now).miscounted, line(now).buy) == (False, 3)


def test_sizes_without_a_medium_are_named(now: datetime) -> None:
    filters(None, 2, 3)
    told = to_buy(now)
    assert told.lines == []
    ((size, count, sold),) = [(one.size, one.filters, one.sold) for one in told.without]
    assert (count, sold) == (2, False)
    MediaFactory(name="any", nominal_size=size)
    assert to_buy(now).without[0].sold


@pytest.mark.parametrize(("count", "days"), [(0, 3), (-1, 3), (10**9, 3), (1, -1), (1, 731)])
def test_what_cannot_be_ordered_is_refused(
    pleat: Media, manager_user: User, now: datetime, count: int, days: int
) -> None:
    with pytest.raises(NotOrderable):
        supply.order(pleat, count, TODAY + timedelta(days=days), manager_user, now)


def test_a_van_holds_its_share_and_no_more_than_its_room(pleat: Media, now: datetime) -> None:
    depot = DepotFactory(latitude=41.9, longitude=-87.6)
    TechnicianFactory(name="One", depot=depot, van_room=40)
    TechnicianFactory(name="Two", depot=depot, van_room=3)
    filters(pleat, 12, 2)
    Media.objects.update(on_hand=None)
    one, two = van_levels(now)
    # Of twelve, each halved by chance: 95 % of such weeks need no more than binom(12, 1/2) says.
    assert (one.held, two.held, two.wanted) == (binom.ppf(0.95, 12, 0.5), 3, binom.ppf(0.95, 12, 0.5))
    Media.objects.update(on_hand=5)
    assert sum(van.held for van in van_levels(now)) == 5


def test_what_is_booked_goes_with_whoever_drives_it(pleat: Media, now: datetime) -> None:
    depot = DepotFactory()
    one, two = TechnicianFactory(name="One", depot=depot), TechnicianFactory(name="Two", depot=depot)
    Media.objects.update(on_hand=None)
    for slot in filters(pleat, 8, 100):
        booked_on(slot, 6, technician=one)
    assert {van.technician: van.held for van in van_levels(now)} == {one: 8, two: 0}
    # Whoever left takes nothing along; what was booked for them is anybody's.
    one.gone_on = TODAY - timedelta(days=1)
    one.save()
    assert {van.technician: van.held for van in van_levels(now)} == {two: 8}


@pytest.mark.parametrize(("day", "needed"), [(12, 10), (13, 10), (14, 0)])
@pytest.mark.parametrize("booked", [True, False])
def test_a_certain_day_counts_whole_until_the_last_day_and_not_beyond(
    pleat: Media, now: datetime, day: int, needed: int, booked: bool
) -> None:
    Media.objects.update(lead_days=7)
    PolicyFactory(supply_days=7)
    for slot in filters(pleat, 10, 200 if booked else day):
        if booked:
            booked_on(slot, day)
    assert (line(now).days, line(now).needed) == (14, needed)


def test_what_suffices_until_each_week_ends_grows_to_all(pleat: Media, now: datetime) -> None:
    filters(pleat, 3, 2)
    filters(pleat, 4, 9)
    assert line(now).until_week[:3] == [3, 7, 7]


def test_the_page_orders_takes_in_and_says_what_is_wrong(
    manager: Client, pleat: Media, now: datetime
) -> None:
    filters(pleat, 10, 2)
    with time_machine.travel(now, tick=False):
        assert "6 filters to buy, 60.00 as far as prices are known" in manager.get("/filters-to-buy/").text
        told = {"media": pleat.pk, "count": "6", "expected": "2026-05-19"}
        assert "Ordered: 6 × pleat." in manager.post("/filters-to-buy/", told, follow=True).text
        assert "No filter has to be bought now" in manager.get("/filters-to-buy/").text
        row = Purchase.objects.get()
        for count in ("x", "-3", "5.", "٣", "9" * 20):
            bad = {"purchase": row.pk, "count": count}
            assert (
                "Write how many, as a whole number."
                in manager.post("/filters-to-buy/", bad, follow=True).text
            )
        manager.post("/filters-to-buy/", {"purchase": row.pk, "count": "6"})
        for wrong in (
            {"media": pleat.pk, "count": "1", "expected": "soon"},
            {"media": pleat.pk, "count": "x"},
            {"media": pleat.pk, "count": "036000291452036000"},  # a carton's label, scanned
        ):
            assert 'class="error"' in manager.post("/filters-to-buy/", wrong, follow=True).text
        sheet = manager.get("/filters-to-buy/sheet.csv").text.splitlines()
    pleat.refresh_from_db()
    assert pleat.on_hand == 10
    assert sheet[1].startswith("pleat,16x25x1,8,0,10,14,10,0,0,")
    assert Purchase.objects.count() == 1


def test_an_empty_desk_has_nothing_to_buy(manager: Client) -> None:
    assert "No filter has to be bought now" in manager.get("/filters-to-buy/").text


def test_more_filters_take_no_more_queries(pleat: Media, now: datetime) -> None:
    def asked(count: int) -> int:
        filters(pleat, count, 5)
        filters(None, count, 5)
        with CaptureQueriesContext(connection) as caught:
            to_buy(now)
            van_levels(now)
        return len(caught)

    asked(1)
    assert asked(1) == asked(25)


def test_the_season_and_the_purchase_list_count_the_same_changes(pleat: Media, now: datetime) -> None:
    """Homes of one filter each, without tasks or visits: a job is a filter."""
    p50 = TODAY + timedelta(days=40)
    filters(
        pleat,
        9,
        30,
        reason="risk",
        p10_on=p50 - timedelta(days=20),
        p50_on=p50,
        p90_on=p50 + timedelta(days=30),
    )
    filters(pleat, 4, 12)
    TechnicianFactory()
    known = facts(now)
    jobs = season(known, outlook(known, 12)).jobs
    assert np.array(line(now).by_week) == pytest.approx(jobs, abs=1e-6)
    assert jobs.sum() > 12


def test_the_rest_of_a_delivery_is_still_awaited(pleat: Media, now: datetime) -> None:
    row: Purchase = PurchaseFactory(media=pleat, count=10, expected_on=TODAY)
    assert supply.arrive(row, 6, now, rest_comes=True) == 4
    rest = Purchase.objects.get(ended_on=None)
    pleat.refresh_from_db()
    assert (rest.count, rest.expected_on, rest.arrived, pleat.on_hand) == (4, TODAY, None, 10)
    assert supply.arrive(rest, 4, now) == 0
    assert not Purchase.objects.filter(ended_on=None).exists()
    with pytest.raises(NotOrderable, match="Nothing came"):
        supply.arrive(PurchaseFactory(media=pleat, count=3), 0, now, rest_comes=True)


def test_a_count_that_went_below_nothing_is_on_the_list_though_nobody_asks_for_it(
    pleat: Media, now: datetime, manager: Client
) -> None:
    Media.objects.update(on_hand=-2)
    one = line(now)
    assert (one.needed, one.buy, one.miscounted) == (0, 0, True)
    with time_machine.travel(now, tick=False):
        assert "count again" in manager.get("/filters-to-buy/").text
        manager.post("/filters-to-buy/", {"media": pleat.pk, "count": "7", "counted": "1"})
        pleat.refresh_from_db()
        assert pleat.on_hand == 7
        assert "count again" not in manager.get("/filters-to-buy/").text


def test_the_cheapest_level_is_the_newsvendors(pleat: Media, now: datetime, manager: Client) -> None:
    """By hand: one too few costs 30, one too many 10 dollars at 20 % a year for 14 days; scipy's binomial."""
    p50 = TODAY + timedelta(days=14)
    spread = {"p10_on": p50 - timedelta(days=10), "p50_on": p50, "p90_on": p50 + timedelta(days=10)}
    filters(pleat, 20, 14, reason="risk", **spread)
    (one,) = to_buy(now, prices=Prices(30.0, 0.2)).lines
    chance = float(demand(now).within(14)[0, 0])
    level = 30.0 / (30.0 + 10.0 * 0.2 * 14 / 365)
    assert one.cheapest is not None
    assert one.cheapest.level == pytest.approx(level)
    assert one.cheapest.needed == binom.ppf(level, 20, chance)
    with time_machine.travel(now, tick=False):
        assert "at 99.7 %" in manager.get("/filters-to-buy/?short=30&keep=20").text
        assert "at 99.7 %" not in manager.get("/filters-to-buy/?short=none&keep=20").text
        manager.post("/filters-to-buy/", {"level": "99"})
        assert Policy.the().stock_level == pytest.approx(0.99)
        for typed in ("100", "10", "much", "nan"):
            manager.post("/filters-to-buy/", {"level": typed})
        assert Policy.the().stock_level == pytest.approx(0.99)


def test_what_may_come_twice_is_two_chances(pleat: Media, now: datetime) -> None:
    """Nobody is sure of a filter of which seven tenths are expected first and three tenths again."""
    filters(pleat, 1, 3)
    asked = demand(now)
    halves = replace(asked, taken=asked.taken * 0.7, again=np.where(asked.first > 0, 0.3, 0.0))
    assert halves.within(14)[0] == pytest.approx([0.7, 0.3])
    assert count_chances(halves.within(14).ravel()) == pytest.approx([0.21, 0.58, 0.21])


def test_whoever_is_away_all_week_holds_nothing(pleat: Media, now: datetime) -> None:
    depot = DepotFactory()
    here, away = TechnicianFactory.create_batch(2, depot=depot)
    filters(pleat, 6, 2)
    Media.objects.update(on_hand=20)
    before = {van.technician: van.held for van in van_levels(now)}
    assert before[here] == before[away] > 0
    AbsenceFactory(technician=away, first_day=TODAY, last_day=TODAY + timedelta(days=10))
    after = {van.technician: van.held for van in van_levels(now)}
    assert after[away] == 0
    assert after[here] == 6


def test_filters_of_one_home_go_with_the_trip_as_the_season_has_it(pleat: Media, now: datetime) -> None:
    """Ten homes, each with a filter due in eight days and one in forty: one trip of the season each."""
    for _home in range(10):
        system = SystemFactory()
        for due_in in (8, 40):
            (slot,) = filters(pleat, 1, due_in)
            FilterSlot.objects.filter(pk=slot.pk).update(system=system)
    assert line(now).needed == 20
    known = facts(now)
    told = season(known, outlook(known, 12))
    assert demand(now, 12).expected.sum(axis=0) == pytest.approx(told.jobs, abs=1e-6)


def test_what_moves_together_wants_more_in_store(pleat: Media, now: datetime) -> None:
    """By hand: four filters a home are changed together when the first falls due."""
    p50 = TODAY + timedelta(days=16)
    spread = {"p10_on": p50 - timedelta(days=10), "p50_on": p50, "p90_on": p50 + timedelta(days=10)}
    for _home in range(10):
        system = SystemFactory()
        slots = filters(pleat, 4, 16, reason="risk", **spread)
        FilterSlot.objects.filter(pk__in=[slot.pk for slot in slots]).update(system=system)
    asked = demand(now)
    trip = float(asked.within(14)[0, 0])
    assert np.ptp(asked.within(14)[:, 0]) == pytest.approx(0.0)
    assert line(now).needed == 4 * binom.ppf(0.95, 10, trip)


def test_what_is_sent_is_needed_when_it_is_sent(pleat: Media, now: datetime) -> None:
    """Due in 25 days, it goes out fifteen days sooner: within the fourteen of an order."""
    Media.objects.update(on_hand=0)
    for slot in filters(pleat, 3, 25, by="occupant"):
        SentFilterFactory(slot=slot)
    assert line(now).buy == 3
    assert [len(supply.to_send(now + timedelta(days=days))) for days in (9, 10)] == [0, 3]


def test_nothing_is_sent_to_an_empty_house(pleat: Media, now: datetime) -> None:
    here, empty, gone = filters(pleat, 3, 5, by="occupant")
    for slot in (here, empty, gone):
        SentFilterFactory(slot=slot)
    empty.system.site.vacant_since = gone.system.site.customer.gone_on = TODAY
    empty.system.site.save()
    gone.system.site.customer.save()
    assert [row.slot for row in supply.to_send(now)] == [here]


def test_an_order_that_comes_too_late_is_told(pleat: Media, now: datetime) -> None:
    """Five are needed on Friday, the order comes ten days later, and one of today not before either."""
    Media.objects.update(on_hand=0)
    filters(pleat, 5, 3)
    PurchaseFactory(media=pleat, count=5, expected_on=TODAY + timedelta(days=13))
    one = line(now)
    assert (one.buy, one.short_on) == (0, date(2026, 5, 18))
    Media.objects.update(on_hand=5)
    assert line(now).short_on is None
    Media.objects.update(on_hand=0)
    Purchase.objects.update(expected_on=TODAY - timedelta(days=1))
    assert (line(now).buy, line(now).short_on) == (0, date(2026, 5, 18))


def test_what_a_visit_changes_is_bought_and_loaded_whoever_changes_it_else(
    pleat: Media, now: datetime
) -> None:
    who = TechnicianFactory(depot=DepotFactory())
    for slot in filters(pleat, 8, -20, by="occupant"):
        visit = VisitFactory(
            site=slot.system.site, technician=who, day=TODAY + timedelta(days=2), state="scheduled"
        )
        VisitJobFactory(visit=visit, slot=slot)
    one = line(now)
    assert (one.needed, one.buy) == (8, 4)
    # Four are there, and are his.
    assert [(van.held, van.wanted) for van in van_levels(now)] == [(4, 8)]


def test_what_was_sent_is_needed_again_for_its_next_life(pleat: Media, now: datetime) -> None:
    for slot in filters(pleat, 10, 10, by="occupant"):
        SentFilterFactory(slot=slot, last_sent_on=TODAY - timedelta(days=1))
    Plan.objects.update(life_began_on=TODAY - timedelta(days=50))
    Policy.the()
    Policy.objects.update(cap_thin_days=60)
    assert line(now).by_week[:3] == pytest.approx([0.0, 0.0, 0.0], abs=0.01)
    assert sum(line(now).by_week) > 4


def test_nobody_is_warned_of_what_nobody_asks_for_or_counts(pleat: Media, now: datetime) -> None:
    filters(pleat, 5, 2)
    assert line(now).short_on is not None
    Media.objects.update(on_hand=None)
    assert line(now).short_on is None
    Media.objects.update(on_hand=-2)
    FilterSlot.objects.update(retired_on=TODAY)
    assert (line(now).needed, line(now).short_on) == (0, None)


def test_what_is_needed_before_the_first_order_is_here_is_warned_of(pleat: Media, now: datetime) -> None:
    """Ten tomorrow, nothing there, and three days until an order has come."""
    Media.objects.update(on_hand=0, lead_days=3)
    Policy.the()
    Policy.objects.update(supply_days=3)
    filters(pleat, 10, 1)
    assert line(now).short_on == TODAY + timedelta(days=3)
