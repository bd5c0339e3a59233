"""Gather facts, ask planning, store the plans that changed."""

import math
import secrets
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from itertools import groupby
from operator import itemgetter

from django.conf import settings as conf
from django.core.cache import cache
from django.db.models import F, Q, QuerySet

from equipment import bulk_read
from equipment.models import Desk, FilterSlot, Site, System
from schedules import plan_store
from schedules.fleet import prior_of_the_day
from schedules.gather import Gatherer
from schedules.left_out import as_far_as_possible, left_out
from schedules.models import Policy
from schedules.plan_rows import Dated, plans_of
from schedules.planning.facts import Settings
from schedules.planning.forecast import forecast
from schedules.planning.loading import Prior
from schedules.uncollected import uncollected
from schedules.weather_rows import WeatherRecord
from shared import clock

# Systems a batch: some hundred megabytes of daily hours at fifteen years a system.
BATCH_SYSTEMS = 1000
AT_ONCE = 2000
# So many stale slots at once are an import or a new day: worth learning the fleet's pace anew.
MANY_SLOTS = 200
# A desk that has numbered more slots than this is large.
LARGE = conf.LARGE_DESK_FILTERS
OF_LATE = timedelta(hours=6)
# In between the sweep looks at what was touched since; a long transaction's stamps come late.
JUST_NOW, _ALL_OF_LATE, _ALL_OF_LATE_S = timedelta(minutes=10), "all-of-late", 60
# One worker sweeps at a time, and goes on for so long while there is much to do; a sweep that was killed is
# waited for no longer than the second.
_SWEEPING, _SWEEP_S, _SWEEP_LOST_S = "sweeping", 20.0, 120

Home = tuple[int, list[int]]


def settings() -> Settings:
    """The desk's decision rules as the engine wants them."""
    policy = Policy.the()
    return Settings(
        policy.accepted_risk, policy.electricity_price_kwh, policy.shortest_days, policy.late_days
    )


def today(now: datetime) -> date:
    """Today where the desk is."""
    return clock.local_day(now, Desk.the().zone)


def end_of_today(now: datetime, desk: Desk) -> datetime:
    """When the desk's local day ends, in UTC."""
    zone = desk.zone
    return clock.end_of_day(clock.local_day(now, zone), zone)


def dated(as_of: date, now: datetime, prior: Prior, systems: Sequence[int] | None = None) -> Iterator[Dated]:
    """Every slot in the homes of ``systems`` (None: of all) with its dates, a batch at a time."""
    homes = None if systems is None else Site.objects.filter(systems__in=systems).values_list("pk", flat=True)
    for batch in dated_by_batch(as_of, now, prior, homes):
        yield from batch


def dated_by_batch(
    as_of: date,
    now: datetime,
    prior: Prior,
    homes: Iterable[int] | None,
    weather: WeatherRecord | None = None,
) -> Iterator[list[Dated]]:
    """The same of some homes (None: of all), batch by batch; with ``weather`` that was read before."""
    gatherer, rules = Gatherer(as_of, weather), settings()

    def plans(homes: Sequence[Home]) -> list[Dated]:
        gathered = gatherer.gather([system for _, systems in homes for system in systems])
        if not gathered.slots:
            return []
        return list(plans_of(gathered, forecast(gathered.facts, rules, prior), prior, now))

    for batch in _batches(homes):
        yield from filter(None, as_far_as_possible(batch, plans, _by_name))


def _by_name(home: Home) -> tuple[int, str]:
    site, systems = home
    return site, f"home {site} with the systems {systems} cannot be planned"


def _batches(homes: Iterable[int] | None) -> Iterator[list[Home]]:
    """Homes and their systems in batches of about one size: the slots of a home hear of each other's dust."""
    rows, size = System.objects.order_by("site", "pk").values_list("site", "pk"), BATCH_SYSTEMS
    if homes is not None:
        rows = bulk_read.among(rows, "site_id", homes)
        # All of about one size: a handful left over would cost nearly what a whole batch does.
        size = math.ceil(len(rows) / max(1, round(len(rows) / BATCH_SYSTEMS)))
    batch: list[Home] = []
    systems = 0
    for site, home in groupby(rows, key=itemgetter(0)):
        batch.append((site, [pk for _, pk in home]))
        systems += len(batch[-1][1])
        if systems >= size:
            yield batch
            batch, systems = [], 0
    if batch:
        yield batch


def replan(now: datetime, slots: QuerySet[FilterSlot] | None = None, *, learn_anew: bool = False) -> int:
    """Plan ``slots`` and what shares their homes (None: all) again; how many plans changed.

    ``learn_anew`` after many new facts.
    """
    systems = None if slots is None else sorted(set(slots.values_list("system_id", flat=True)))
    if systems == []:
        return 0
    prior = prior_of_the_day(today(now), now, anew=learn_anew or slots is None)
    homes = None if systems is None else Site.objects.filter(systems__in=systems).values_list("pk", flat=True)
    with uncollected():
        return sum(plan_store.store(batch).written for batch in dated_by_batch(today(now), now, prior, homes))


# Without a plan, or with facts other than the plan's.
TOUCHED = Q(plan=None) | ~Q(plan__facts_at=F("facts_changed_at"))
_OTHER_WEATHER = Q(system__site__station__weather_changed_at__isnull=False) & (
    Q(plan__weather_at=None) | ~Q(plan__weather_at=F("system__site__station__weather_changed_at"))
)


def stale(now: datetime) -> QuerySet[FilterSlot]:
    """Slots whose facts or weather are other than their plan's, or whose plan is of an earlier day."""
    return FilterSlot.objects.filter(TOUCHED | Q(plan__as_of__lt=today(now)) | _OTHER_WEATHER)


def is_large() -> bool:
    """Whether a new day and new weather are taken up by the nightly pass, not by the sweep."""
    last = FilterSlot.objects.order_by("-pk").values_list("pk", flat=True).first()
    return bool((last or 0) > LARGE)


def to_sweep(now: datetime, back: timedelta = OF_LATE) -> QuerySet[FilterSlot]:
    """What is stale; on a large desk only what was touched of late: to ask of all filters every few seconds
    would take longer than that. What an import of many hours leaves behind, the night finds."""
    if not is_large():
        return stale(now)
    return FilterSlot.objects.filter(TOUCHED, facts_changed_at__gte=now - back)


def _back() -> timedelta:
    """After an import all that of late takes a second: it is looked at once a minute, and at once again while
    more of it is left than a sweep can do; what was touched just now each time."""
    return OF_LATE if cache.add(_ALL_OF_LATE, True, _ALL_OF_LATE_S) else JUST_NOW


def sweep(clock: Callable[[], datetime]) -> int:
    """Plan what is stale, again and again while much is, for some seconds; how many slots. Nothing where
    another worker is at it: the same ones would be planned twice."""
    claim = secrets.token_hex(8)
    if not cache.add(_SWEEPING, claim, _SWEEP_LOST_S):
        return 0
    began, total, back = clock(), 0, _back()
    try:
        while True:
            done = replan_stale(clock(), AT_ONCE, back)
            total += done
            if done < AT_ONCE:
                return total
            if (clock() - began).total_seconds() > _SWEEP_S:
                if back == OF_LATE:
                    cache.delete(_ALL_OF_LATE)
                return total
    finally:
        # Whoever took longer than a claim holds has lost it to another.
        if cache.get(_SWEEPING) == claim:
            cache.delete(_SWEEPING)


def replan_stale(now: datetime, at_most: int = AT_ONCE, back: timedelta | None = None) -> int:
    """Plan at most ``at_most`` stale slots again, on a large desk those touched since ``back``; how many
    there were.

    Many of them teach a small desk's fleet anew; a large one learns by night alone, or the parts of a night
    would not all be reckoned from the same.
    """
    waiting = to_sweep(now, back or _back())
    rows = list(waiting.order_by("pk").values_list("pk", "system__site")[:at_most])
    left = left_out({home for _, home in rows})
    chosen = [pk for pk, home in rows if home not in left]
    if chosen:
        many = len(chosen) >= MANY_SLOTS and not is_large()
        replan(now, FilterSlot.objects.filter(pk__in=chosen), learn_anew=many)
    return len(chosen)
