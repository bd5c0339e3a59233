"""Filters to buy: by medium, what will be needed with how much certainty, what is there, what is coming."""

from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal

import numpy as np
from django.db.models import Max, Sum

from equipment.models import Desk, FilterSlot, Meanwhile, Media
from schedules import due
from schedules.branches import Branches
from schedules.models import Policy, Purchase, VanTick
from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.season import Jobs, Smoke, Weeks, by_week, due_by, renewed
from schedules.planning.stock import critical_ratio, enough_of_each
from schedules.season_jobs import WhatIf, jobs_of, waits_days
from schedules.season_rows import Filters, rows

WEEKS = 12
# An order goes out once a week: what is needed until the next one has arrived is needed now.
BETWEEN_ORDERS_DAYS = 7
# The levels that a desk may hold itself to.
LEVELS = (0.5, 0.999)


@dataclass(frozen=True)
class Demand:
    """How often each filter of ``filters`` is changed, or sent, in each week: ``first`` [n, W] the chance of
    its next change, ``again`` [n, W] how many are expected to follow; ``days`` [W]: the first day after each
    week, counted from today; ``branches`` are those of the filters."""

    filters: Filters
    branches: Branches
    days: IntArray
    first: FloatArray
    again: FloatArray

    @property
    def expected(self) -> FloatArray:
        """Changes expected [n, W]."""
        return self.first + self.again

    def within(self, days: int) -> FloatArray:
        """Expected times [n, 2] within ``days`` from today, first and again, which are chances of their own;
        a week counts by the share that lies inside."""
        begins = np.concatenate([[0], self.days[:-1]])
        inside = np.clip((days - begins) / (self.days - begins), 0.0, 1.0)
        return np.stack([self.first @ inside, self.again @ inside], axis=1)


def demand(now: datetime, weeks: int = WEEKS) -> Demand:
    """By the chance of each date, of the filters that technicians change or the desk sends."""
    known = rows(due.today(now), Desk.the(), Policy.the())
    until = Weeks.beginning(known.today.weekday(), weeks)
    filters = _as_bought(known.filters, known.today)
    jobs = _in_time(jobs_of(known, WhatIf(), until).of(np.arange(len(filters.slot))), filters, known.policy)
    first = by_week(due_by(jobs, until, Smoke()))
    held = np.flatnonzero(jobs.booked >= 0)
    first[held] = jobs.booked[held, None] == np.arange(weeks)
    again = renewed(jobs, first, until, Smoke())
    ours = np.where(filters.by_desk | filters.sent, 1.0, np.where(filters.medium < 0, 0.0, known.share))[
        :, None
    ]
    return Demand(filters, known.branches, until.ends, first * ours, again * ours)


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
    """A filter that is sent has to be there on its day; no letters are waited for first."""
    waited = np.where(filters.sent & ~filters.by_desk, float(waits_days(policy)), 0.0)
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
    """One medium. ``by_week``: expected number; ``needed``: what suffices at the desk's level until an order
    after this one has arrived; ``on_hand`` None where nobody counts it; ``cheapest`` where that was asked."""

    media: Media
    by_week: list[float]
    needed: int
    on_hand: int | None
    on_order: int
    loaded: int
    days: int
    cheapest: Cheapest | None = None

    @property
    def buy(self) -> int:
        """How many to order now."""
        return max(0, self.needed - (self.on_hand or 0) - self.on_order)

    @property
    def price(self) -> Decimal | None:
        """What they cost."""
        return None if self.media.price is None else self.media.price * self.buy

    @property
    def expected(self) -> int:
        """Days until an order of today is here."""
        return self.days - BETWEEN_ORDERS_DAYS

    @property
    def miscounted(self) -> bool:
        """Whether more went out than was there."""
        return self.on_hand is not None and self.on_hand < 0


@dataclass(frozen=True)
class NoMedium:
    """A size asked for where no medium is on record in the slot; ``sold``: whether any of that size is."""

    size: str
    expected: float
    filters: int
    sold: bool


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
    ordered, loaded = _on_order(), _loaded(today)
    by_medium = _sums(asked, keys)
    spans = np.array([_days(media[key], policy) if key in media else 0 for key in keys], dtype=np.int64)
    needed = _needed(asked, keys, spans, np.full(len(keys), policy.stock_level))
    cheapest = _cheapest(asked, keys, media, spans, prices) if prices else {}
    lines = [
        BuyLine(
            media=media[key],
            by_week=[float(value) for value in by_medium[place][:weeks]],
            needed=int(needed[place]),
            on_hand=media[key].on_hand,
            on_order=_here_in_time(ordered.get(key, []), today, int(spans[place])),
            loaded=loaded.get(key, 0),
            days=int(spans[place]),
            cheapest=cheapest.get(key),
        )
        for place, key in enumerate(keys)
        if key in media
    ]
    lines.sort(key=lambda line: (line.media.nominal_size, line.media.merv, line.media.name))
    return ToBuy(lines, _without(asked), begins, policy.stock_level)


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
    known = asked.filters.medium > 0
    kind = np.repeat(np.searchsorted(keys, asked.filters.medium[known]), 2)
    for days in np.unique(spans[spans > 0]).tolist():
        places = np.flatnonzero(spans == days)
        level = enough_of_each(asked.within(days)[known].ravel(), kind, len(keys), levels)
        out[places] = level[places]
    return out


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


def _loaded(today: date) -> dict[int, int]:
    """What stands in vans for today and later."""
    ticks = VanTick.objects.filter(day__gte=today, media__isnull=False)
    return dict(ticks.values_list("media").annotate(count=Sum("count")))


def _without(asked: Demand) -> list[NoMedium]:
    bare = np.flatnonzero(asked.filters.medium == 0)
    sizes = dict(
        FilterSlot.objects.filter(pk__in=asked.filters.slot[bare].tolist()).values_list("pk", "nominal_size")
    )
    sold = set(
        Media.objects.filter(nominal_size__in=set(sizes.values())).values_list("nominal_size", flat=True)
    )
    found: dict[str, list[float]] = defaultdict(list)
    for place in bare.tolist():
        found[sizes[int(asked.filters.slot[place])]].append(float(asked.expected[place].sum()))
    return [NoMedium(size, sum(times), len(times), size in sold) for size, times in sorted(found.items())]
