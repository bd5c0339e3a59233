"""The nightly pass of a large desk: the new day's dates, part by part, by as many workers as there are.

A small desk needs none of this: its sweep plans all filters anew within seconds of midnight. A part is
done once whoever does it, may be taken up by another worker when the first one is lost, and comes to the
same plans however often it is done.
"""

import logging
import time as clocks
from collections.abc import Callable
from datetime import date, datetime, timedelta
from typing import Any

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Case, Count, F, IntegerField, Max, Min, Q, QuerySet, Value, When

from equipment import fan_fold
from equipment.models import FilterSlot, Site, Station, System
from schedules import due, plan_store
from schedules.fleet import of_numbers, prior_of_the_day, to_numbers
from schedules.models import Night, NightPart
from schedules.uncollected import uncollected
from schedules.weather_rows import WeatherRecord

HOMES_A_PART = settings.NIGHT_PART_HOMES
# A batch of a part takes a second or so: a worker that was not heard of for so long is lost.
LOST_AFTER = timedelta(minutes=3)
# After so many tries a part is left, and its trouble told; between them one minute, two, four, ...
MOST_TRIES = 5
_FIRST_PAUSE = timedelta(minutes=1)
# A date fewer days off is looked at every night, every second, every third, ...; one that is past every third
# night, and one long past like one that is far off: within that time about a quarter of the dates
# move by more than a day (6,500 invented filters on eight days after each other).
NEARER_THAN = {10: 1, 20: 2, 30: 3, 40: 4, 50: 5, 60: 6}
PAST, LONG_PAST_DAYS = 3, 10
RARELY = 7
KEPT_NIGHTS = 60
FOLD_EVERY_DAYS = 28

Clock = Callable[[], datetime]
_read: dict[str, Any] = {}
log = logging.getLogger(__name__)


class LostError(Exception):
    """Another worker has taken the part up meanwhile."""


def begin(now: datetime) -> Night | None:
    """Today's pass with its parts, made where nobody has made it yet; None on a small desk."""
    if not due.is_large():
        return None
    day = due.today(now)
    found = Night.objects.filter(day=day).first()
    if found is not None:
        return found
    prior = to_numbers(prior_of_the_day(day, now))
    with transaction.atomic():
        night, new = Night.objects.get_or_create(day=day, defaults={"started_at": now, "prior": prior})
        if new:
            NightPart.objects.bulk_create(_parts(night))
            Night.objects.filter(day__lt=day - timedelta(days=KEPT_NIGHTS)).delete()
    if new:
        log.info("night of %s begun: %d parts", day, night.parts.count())
    return night


def _parts(night: Night) -> list[NightPart]:
    ends = Site.objects.aggregate(first=Min("pk"), last=Max("pk"))
    return [
        NightPart(night=night, first_site=first, last_site=first + HOMES_A_PART - 1)
        for first in range(ends["first"], ends["last"] + 1, HOMES_A_PART)
    ]


def free_parts(now: datetime) -> QuerySet[NightPart]:
    """The parts of today's pass that nobody has, or whose worker is lost."""
    untaken = Q(claimed_at=None) | Q(claimed_at__lt=now - LOST_AFTER)
    rested = Q(free_at=None) | Q(free_at__lte=now)
    return NightPart.objects.filter(
        untaken, rested, night__day=due.today(now), done_at=None, tries__lt=MOST_TRIES
    )


def in_trouble() -> QuerySet[NightPart]:
    """Parts of the last pass that went wrong and are not done, those among them whose worker was killed each
    time."""
    last = Night.objects.order_by("-day").values("pk")[:1]
    wrong = ~Q(trouble="") | Q(tries__gte=MOST_TRIES)
    return NightPart.objects.filter(wrong, night__in=last, done_at=None)


def give_back(now: datetime) -> int:
    """Let the parts of today's pass that were given up be tried again; how many."""
    given_up = NightPart.objects.filter(night__day=due.today(now), done_at=None, tries__gte=MOST_TRIES)
    return given_up.update(tries=0, claimed_at=None, free_at=None, trouble="")


def do_next(clock: Clock, by: str) -> NightPart | None:
    """Take the next free part and do it; None where there is none.

    Raises what went wrong, after noting it: the part is free again after a pause.
    """
    now = clock()
    part = _take(now, by)
    if part is None:
        return None
    began = clocks.perf_counter()
    try:
        with uncollected():
            part.filters, part.changed = _do(part, now, clock)
    except LostError:
        log.warning("night part %d was taken up by another worker", part.pk)
        return part
    except Exception as error:
        pause = _FIRST_PAUSE * 2 ** (part.tries - 1)
        _mine(part).update(
            claimed_at=None, free_at=clock() + pause, trouble=f"{type(error).__name__}: {error}"[:500]
        )
        raise
    part.done_at, part.seconds, part.trouble = clock(), round(clocks.perf_counter() - began, 3), ""
    told = {name: getattr(part, name) for name in ("filters", "changed", "done_at", "seconds", "trouble")}
    if not _mine(part).update(**told):
        log.warning("night part %d was taken up by another worker", part.pk)
        return part
    log.info(
        "night part %d done: %d filters, %d dates moved, %.1f s",
        part.pk, part.filters, part.changed, part.seconds,
    )  # fmt: skip
    _finish(part)
    return part


def _finish(part: NightPart) -> None:
    if not NightPart.objects.filter(night=part.night_id, done_at=None).exists():
        over = Night.objects.filter(pk=part.night_id, finished_at=None)
        if over.update(finished_at=part.done_at):
            log.info("night of %s finished", part.night.day)


def _mine(part: NightPart) -> QuerySet[NightPart]:
    """The part as long as nobody else has taken it up: each that does counts one try more."""
    return NightPart.objects.filter(pk=part.pk, tries=part.tries, done_at=None)


def _take(now: datetime, by: str) -> NightPart | None:
    # Another worker may be faster with the first ones.
    for pk in free_parts(now).order_by("first_site").values_list("pk", flat=True)[:64]:
        mine = free_parts(now).filter(pk=pk)
        if mine.update(claimed_at=now, claimed_by=by[:120], tries=F("tries") + 1):
            return NightPart.objects.select_related("night").get(pk=pk)
    return None


def _do(part: NightPart, now: datetime, clock: Clock) -> tuple[int, int]:
    """Plan the part's homes that are due for it; how many filters, and how many due dates moved."""
    day = part.night.day
    homes = list(
        to_look_at(day)
        .filter(system__site__gte=part.first_site, system__site__lte=part.last_site)
        .order_by()
        .values_list("system__site", flat=True)
        .distinct()
    )
    kept = part.night.prior
    prior = of_numbers(kept) if kept else prior_of_the_day(day, now)
    filters = moved = 0
    for batch in due.dated_by_batch(day, now, prior, homes, _weather(day)):
        filters += len(batch)
        moved += plan_store.store(batch).moved
        if not _mine(part).update(claimed_at=clock()):
            raise LostError
    _fold(part, day)
    return filters, moved


def _weather(day: date) -> WeatherRecord:
    """The stations' days, read once a process until there are newer ones."""
    stamp = Station.objects.aggregate(last=Max("weather_changed_at"), count=Count("pk"))
    key = (day, connection.settings_dict["NAME"], *stamp.values())
    if _read.get("key") != key:
        _read.update(key=key, weather=WeatherRecord(day))
    found: WeatherRecord = _read["weather"]
    return found


def _fold(part: NightPart, day: date) -> None:
    """Fold old fan hours, of each part every fourth week, so that no night has all of them."""
    if (day.toordinal() + part.first_site // HOMES_A_PART) % FOLD_EVERY_DAYS == 0:
        systems = System.objects.filter(site__gte=part.first_site, site__lte=part.last_site)
        fan_fold.fold(list(systems.values_list("pk", flat=True)), day - timedelta(days=fan_fold.WHOLE_DAYS))


def to_look_at(day: date) -> QuerySet[FilterSlot]:
    """The filters whose dates are made anew on a day: whatever changed, each near date nightly, and one far
    off the less often the further, at least once a week; a home's turn comes round by its number."""
    ahead = [(day + timedelta(days=days), nights) for days, nights in NEARER_THAN.items()]
    turn = Case(
        When(plan__due_on__lt=day - timedelta(days=LONG_PAST_DAYS), then=RARELY),
        When(plan__due_on__lt=day, then=PAST),
        *(When(plan__due_on__lt=until, then=nights) for until, nights in ahead),
        default=Value(RARELY),
        output_field=IntegerField(),
    )
    slots = FilterSlot.objects.annotate(turn=turn, place=(F("system__site") + day.toordinal()) % F("turn"))
    return slots.filter(
        due.TOUCHED | Q(plan__as_of__lt=day, place=0) | Q(plan__as_of__lte=day - timedelta(days=RARELY))
    )
