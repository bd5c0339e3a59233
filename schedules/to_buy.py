"""Filters to buy: by medium, what will be needed with how much certainty, what is there, what is coming."""

from collections import defaultdict
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from decimal import Decimal

import numpy as np
from django.db.models import Max

from equipment.models import Desk, FilterSlot, Meanwhile, Media
from schedules import due
from schedules.branches import Branches
from schedules.models import Policy, Purchase, SentFilter
from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.season import Jobs, Smoke, Trips, Weeks, joined, renewed, trips_of
from schedules.planning.stock import Lots, critical_ratio, enough_of_each
from schedules.season_jobs import WhatIf, jobs_of, waits_days
from schedules.season_rows import Filters, Rows, rows
from schedules.visits import TOGETHER_DAYS

WEEKS = 12
# An order goes out once a week: what is needed until the next one has arrived is needed now.
BETWEEN_ORDERS_DAYS = 7
# Days that a filter is on its way to a household. Own assumption.
POST_DAYS = 5
# The levels that a desk may hold itself to.
LEVELS = (0.5, 0.999)


@dataclass(frozen=True)
class Demand:
    """How often each filter of ``filters`` is changed, or sent, in each week: ``first`` [n, W] the chance of
    the ``trip`` [n] that changes it next, which takes all of its filters, and ``again`` [n, W] how many
    changes are expected to follow; ``days`` [W]: the first day after each week, counted from today;
    ``taken`` [n]: the chance that a change of it takes one of the desk's filters."""

    known: Rows
    filters: Filters
    days: IntArray
    trip: IntArray
    first: FloatArray
    again: FloatArray
    taken: FloatArray
    _by_day: dict[int, FloatArray] = field(default_factory=dict, repr=False, compare=False)

    @property
    def branches(self) -> Branches:
        """Those of the filters."""
        return self.known.branches

    @property
    def expected(self) -> FloatArray:
        """Changes expected [n, W]."""
        return self.first + self.again

    def within(self, days: int) -> FloatArray:
        """Expected times [n, 2] within ``days`` from today, first and again: the first by the chance of its
        very day, of what follows a week by the share that lies inside."""
        if days not in self._by_day:
            _jobs, trips = _trips(self.known, self.filters, Weeks(np.array([days])))
            self._by_day[days] = trips.made[self.trip, 0] * self.taken
        begins = np.concatenate([[0], self.days[:-1]])
        inside = np.clip((days - begins) / (self.days - begins), 0.0, 1.0)
        return np.stack([self._by_day[days], self.again @ inside], axis=1)

    def lots(self, days: int, kind: IntArray) -> Lots:
        """What may be wanted within ``days`` of filters of a ``kind`` [n], -1 for none: those of one kind
        that one trip changes are one lot, every later change is one of its own."""
        first, again = self.within(days).T
        some = np.flatnonzero(kind >= 0)
        both = np.stack([self.trip[some], kind[some]])
        pairs, place, size = np.unique(both, axis=1, return_inverse=True, return_counts=True)
        chance = np.zeros(len(size))
        np.maximum.at(chance, np.asarray(place).reshape(-1), first[some])
        later = np.ones(len(some), dtype=np.int64)
        return Lots(
            np.concatenate([pairs[1], kind[some]]),
            np.concatenate([chance, again[some]]),
            np.concatenate([size, later]),
        )


def demand(now: datetime, weeks: int = WEEKS) -> Demand:
    """By the chance of each trip, of the filters that technicians change or the desk sends; what technicians
    change goes as the season has it, with the tasks and filters of its home."""
    known = rows(now, Desk.the(), Policy.the())
    until = Weeks.beginning(known.today.weekday(), weeks)
    filters = _as_bought(known.filters, known.today)
    count = len(filters.slot)
    jobs, trips = _trips(known, filters, until)
    trip = trips.of[:count]
    first = trips.made[trip]
    again = renewed(jobs.of(np.arange(count)), first, until, Smoke())
    washed = filters.medium < 0
    rung = np.where(washed, 0.0, known.share)
    # A visit that stands changes it, whoever does else; what is sent for is sent for every life.
    posted = SentFilter.objects.filter(slot__changed_by=FilterSlot.ChangedBy.OCCUPANT)
    always = np.isin(filters.slot, list(posted.values_list("slot", flat=True))) & ~washed
    next_one = np.where(filters.by_desk | filters.sent | ((filters.visit >= 0) & ~washed), 1.0, rung)
    later = np.where(filters.by_desk | always, 1.0, rung)
    return Demand(
        known, filters, until.ends, trip, first * next_one[:, None], again * later[:, None], next_one
    )


def _trips(known: Rows, filters: Filters, until: Weeks) -> tuple[Jobs, Trips]:
    """Jobs and trips as the season has them, with what is sent in time for its day."""
    count = len(filters.slot)
    jobs = jobs_of(known, WhatIf(), until)
    sent = _in_time(jobs.of(np.arange(count)), filters, known.policy)
    jobs = joined([sent, jobs.of(np.arange(count, len(jobs)))])
    return jobs, trips_of(jobs, until, Smoke(), TOGETHER_DAYS, 0.0)


def _as_bought(filters: Filters, today: date) -> Filters:
    """With the usual medium where another is in for a while, and without what is washed and put back."""
    waits = Meanwhile.objects.filter(ended_on=None, begins_on__lte=today, usual__isnull=False)
    usual = {(slot, media): back for slot, media, back in waits.values_list("slot", "media", "usual")}
    medium = [
        usual.get((slot, media), media)
        for slot, media in zip(filters.slot.tolist(), filters.medium.tolist(), strict=True)
    ]
    washed = set(Media.objects.filter(kind=Media.Kind.WASHABLE).values_list("pk", flat=True))
    kept = np.array([one not in washed for one in medium], dtype=np.bool_)
    by_desk, sent = filters.by_desk & kept, filters.sent & kept
    medium_of = np.array(
        [one if stays else -1 for one, stays in zip(medium, kept, strict=True)], dtype=np.int64
    )
    return replace(filters, medium=medium_of, by_desk=by_desk, sent=sent)


def _in_time(jobs: Jobs, filters: Filters, policy: Policy) -> Jobs:
    """A filter that is sent goes out before its day, as ``supply.to_send`` has it, without waiting for
    letters."""
    sooner = float(waits_days(policy) + policy.lead_days + POST_DAYS)
    waited = np.where(filters.sent & ~filters.by_desk, sooner, 0.0)
    return replace(jobs, due=jobs.due - waited, cap=jobs.cap - waited)


@dataclass(frozen=True)
class Prices:
    """What one filter too few costs, a second trip, and what keeping one a year costs as a share of its own
    price."""

    short: float
    keep_share: float

    def level(self, media: Media, days: int) -> float:
        """The share of periods in which stock of ``media`` should suffice, by the newsvendor's rule, within
        what a level may be; that of a medium without a price is nought."""
        if media.price is None:
            return 0.0
        over = float(media.price) * self.keep_share * days / 365.0
        return float(np.clip(critical_ratio(self.short, over), *LEVELS))


@dataclass(frozen=True)
class Cheapest:
    """The level that is cheapest at the prices asked about, and what suffices at it."""

    level: float
    needed: int

    @property
    def percent(self) -> str:
        """The level in per cent, as people read it."""
        return f"{100 * self.level:.1f}"


@dataclass(frozen=True)
class BuyLine:
    """One medium. ``by_week``: expected number; ``until_week``: what suffices at the desk's level from today
    until the end of each week; ``needed``: the same until an order after this one has arrived; ``on_hand``
    None where nobody counts it; ``cheapest`` where that was asked; ``short_on``: the day by which what is
    there may not suffice, before an order of today can help."""

    media: Media
    by_week: list[float]
    until_week: list[int]
    needed: int
    on_hand: int | None
    on_order: int
    days: int
    cheapest: Cheapest | None = None
    short_on: date | None = None

    @property
    def buy(self) -> int:
        """How many to order now."""
        return max(0, self.needed - max(self.on_hand or 0, 0) - self.on_order)

    @property
    def price(self) -> Decimal | None:
        """What they cost."""
        return None if self.media.price is None else self.media.price * self.buy

    @property
    def expected(self) -> int:
        """Days until an order of today is here."""
        return self.days - BETWEEN_ORDERS_DAYS

    @property
    def wants_doing(self) -> bool:
        """Whether something is to be ordered, hurried or counted."""
        return bool(self.buy or self.miscounted or self.short_on)

    @property
    def miscounted(self) -> bool:
        """Whether more went out than was there."""
        return self.on_hand is not None and self.on_hand < 0


@dataclass(frozen=True)
class NoMedium:
    """A size asked for where no medium is on record in the slot; ``sold``: whether any of that size is."""

    size: str
    by_week: list[float]
    filters: int
    sold: bool

    @property
    def expected(self) -> float:
        """Changes in all the weeks."""
        return sum(self.by_week)


@dataclass(frozen=True)
class ToBuy:
    """The list, the sizes without a medium, the first days of the weeks."""

    lines: list[BuyLine]
    without: list[NoMedium]
    weeks: list[date]
    level: float

    @property
    def total(self) -> Decimal:
        """What the list costs, as far as prices are known."""
        return sum((line.price for line in self.lines if line.price), Decimal(0))


@dataclass(frozen=True)
class _Stock:
    """What is on hand and on its way, by medium; ``late`` orders count as on their way without a day."""

    today: date
    on_hand: dict[int, int]
    orders: dict[int, list[tuple[date, int]]]

    def by(self, media: int, days: int) -> int:
        """What is there so many days from today, if every order comes on its day; late ones do not."""
        last = self.today + timedelta(days=days)
        coming = (count for on, count in self.orders.get(media, []) if self.today <= on <= last)
        return self.on_hand.get(media, 0) + sum(coming)


def to_buy(now: datetime, weeks: int = WEEKS, prices: Prices | None = None) -> ToBuy:
    """The purchase list; a fixed number of queries. With ``prices`` each line says what would be cheapest."""
    policy, today = Policy.the(), due.today(now)
    slowest = Media.objects.aggregate(days=Max("lead_days"))["days"] or 0
    cover = max(policy.supply_days, slowest) + BETWEEN_ORDERS_DAYS
    asked = demand(now, max(weeks, cover // 7 + 2))
    # What went out more often than it was there wants counting, though nobody asks for it now.
    miscounted = Media.objects.filter(on_hand__lt=0).values_list("pk", flat=True)
    keys = sorted({*asked.filters.medium.tolist(), *miscounted} - {0, -1})
    media = Media.objects.in_bulk(keys)
    begins = [today, *(today + timedelta(days=int(day)) for day in asked.days[: weeks - 1])]
    ordered, by_medium = _on_order(), _sums(asked, keys)
    spans = np.array([_days(media[key], policy) if key in media else 0 for key in keys], dtype=np.int64)
    levels = np.full(len(keys), policy.stock_level)
    needed = _needed(asked, keys, spans, levels)
    by_end = [_needed(asked, keys, np.full(len(keys), end), levels) for end in asked.days[:weeks].tolist()]
    until_week = np.array(by_end).reshape(len(by_end), len(keys)).T
    cheapest = _cheapest(asked, keys, media, spans, prices) if prices else {}
    stock = _Stock(today, {key: row.on_hand or 0 for key, row in media.items()}, ordered)
    short = _short_on(asked, keys, media, spans, policy.stock_level, stock)
    lines = [
        BuyLine(
            media=media[key],
            by_week=[float(value) for value in by_medium[place][:weeks]],
            until_week=until_week[place].tolist(),
            needed=int(needed[place]),
            on_hand=media[key].on_hand,
            on_order=_here_in_time(ordered.get(key, []), today, int(spans[place])),
            days=int(spans[place]),
            cheapest=cheapest.get(key),
            short_on=today + timedelta(days=short[key]) if key in short else None,
        )
        for place, key in enumerate(keys)
        if key in media
    ]
    lines.sort(key=lambda line: (line.media.nominal_size, line.media.merv, line.media.name))
    return ToBuy(lines, _without(asked, weeks), begins, policy.stock_level)


def _days(media: Media, policy: Policy) -> int:
    """The days that an order has to last: until the next one has come."""
    return max(policy.supply_days, media.lead_days or 0) + BETWEEN_ORDERS_DAYS


def _sums(asked: Demand, keys: list[int]) -> FloatArray:
    out = np.zeros((len(keys), asked.expected.shape[1]))
    place = {key: n for n, key in enumerate(keys)}
    known = asked.filters.medium > 0
    at = np.array([place[key] for key in asked.filters.medium[known].tolist()], dtype=np.int64)
    np.add.at(out, at, asked.expected[known])
    return out


def _needed(asked: Demand, keys: list[int], spans: IntArray, levels: FloatArray) -> IntArray:
    """What suffices of each medium for its days ``spans`` [k] at its level of ``levels`` [k]; those that take
    equally long to come are reckoned together."""
    out = np.zeros(len(keys), dtype=np.int64)
    medium = asked.filters.medium
    place = np.searchsorted(keys, np.maximum(medium, 1))
    for days in np.unique(spans[spans > 0]).tolist():
        mine = np.flatnonzero(spans == days)
        kind = np.full(len(medium), -1)
        counted = (medium > 0) & (spans[np.minimum(place, len(keys) - 1)] == days)
        kind[counted] = np.searchsorted(mine, place[counted])
        out[mine] = enough_of_each(asked.lots(days, kind), len(mine), levels[mine])
    return out


def _short_on(
    asked: Demand, keys: list[int], media: dict[int, Media], spans: IntArray, level: float, stock: _Stock
) -> dict[int, int]:
    """By medium: the days from today by which what is there by then, late orders left aside, does not suffice
    any more, nobody's count left aside; checked at the end of each week before an order of today is here, and
    on the day before it is."""
    found: dict[int, int] = {}
    helped = spans - BETWEEN_ORDERS_DAYS
    ends = sorted({*asked.days[asked.days < helped.max(initial=0)].tolist(), *np.unique(helped).tolist()})
    for end in (day for day in ends if day > 0):
        span = np.where(helped >= end, end, 0)
        needed = _needed(asked, keys, span, np.full(len(keys), level))
        for place in np.flatnonzero(span).tolist():
            key = keys[place]
            known = key in media and media[key].on_hand is not None
            if known and key not in found and needed[place] > max(stock.by(key, end), 0):
                found[key] = end
    return found


def _cheapest(
    asked: Demand, keys: list[int], media: dict[int, Media], spans: IntArray, prices: Prices
) -> dict[int, Cheapest]:
    """By medium, of those with a price."""
    priced = [media[key] if key in media and media[key].price is not None else None for key in keys]
    levels = np.array(
        [prices.level(one, int(days)) if one else LEVELS[0] for one, days in zip(priced, spans, strict=True)]
    )
    needed = _needed(asked, keys, spans, levels)
    return {
        key: Cheapest(float(levels[place]), int(needed[place]))
        for place, key in enumerate(keys)
        if priced[place] is not None
    }


def _on_order() -> dict[int, list[tuple[date, int]]]:
    """What is ordered and not here yet, by medium: the day that it is expected on and how many."""
    found: dict[int, list[tuple[date, int]]] = defaultdict(list)
    for media, on, count in Purchase.objects.filter(ended_on=None).values_list(
        "media", "expected_on", "count"
    ):
        found[media].append((on, count))
    return found


def _here_in_time(orders: list[tuple[date, int]], today: date, days: int) -> int:
    """How many come before they are needed; what is late is still expected until somebody gives it up."""
    return sum(count for on, count in orders if on <= today + timedelta(days=days))


def _without(asked: Demand, weeks: int) -> list[NoMedium]:
    bare = np.flatnonzero(asked.filters.medium == 0)
    sizes = dict(
        FilterSlot.objects.filter(pk__in=asked.filters.slot[bare].tolist()).values_list("pk", "nominal_size")
    )
    sold = set(
        Media.objects.filter(nominal_size__in=set(sizes.values())).values_list("nominal_size", flat=True)
    )
    found: dict[str, list[FloatArray]] = defaultdict(list)
    for place in bare.tolist():
        found[sizes[int(asked.filters.slot[place])]].append(asked.expected[place, :weeks])
    return [
        NoMedium(size, np.sum(times, axis=0).tolist(), len(times), size in sold)
        for size, times in sorted(found.items())
    ]
