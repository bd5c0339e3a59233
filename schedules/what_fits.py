"""Which media of a slot's size may go into it, with the figures behind each verdict."""

import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db.models import Q, QuerySet

from equipment.airflow import design_airflow, published_floor
from equipment.airside.media import LabelCurve
from equipment.bounds import METER_ERROR
from equipment.curves import Medium, media_with_curves
from equipment.look_up_sizes import Sides, as_sides, as_size, same_sides
from equipment.models import FilterSlot, Media
from equipment.verdict import Answer, Question, judge
from schedules import due
from schedules.air_path import meet
from schedules.fit_question import ORDER, SlotAir, judged, slot_air
from schedules.fleet import prior_of_the_day
from schedules.gather import Gatherer
from schedules.planning.facts import Slots
from schedules.planning.forecast import FleetForecast, forecast
from schedules.planning.interval import NEVER
from schedules.planning.year_of_changes import changes_a_year
from schedules.slot_rows import systems_of_home
from shared.units import METRE_PER_INCH

GOOD = ORDER[:2]
# What lasts less than this here is no filter to live by, though it may do for a few days. Our own bound.
SHORTEST_LIFE_DAYS = 21
# What dust fills sooner than this is not worth fitting for a while either. Our own bound.
FEWEST_DAYS = 4
MOST_ALSO = 8
# A frame is so much smaller than its nominal size at the most.
MOST_UNDER_M = 0.6 * METRE_PER_INCH


@dataclass(frozen=True)
class Candidate:
    """A medium put to the question: the verdict, and what would come of fitting it today.

    ``loss_at_limit_percent`` is the airflow lost to design with the filter at its limit, ``days`` those from
    now to the due date that it would get, ``price_a_year`` its price alone over a year of changes, summer
    and winter, ``limit_pa`` the drop at which it is changed here; None for unknown.
    """

    media: Media
    answer: Answer
    fitted: bool
    loss_at_limit_percent: float | None
    days: int | None
    changes_a_year: float | None
    limit_pa: float | None
    floor_m3s: float | None = None
    airflow_at_limit_m3s: float | None = None

    @property
    def starves_when_full(self) -> bool:
        """Whether it may go in, and lets less than the least airflow through once it is at its limit."""
        floor, airflow = self.floor_m3s, self.airflow_at_limit_m3s
        low = floor is not None and airflow is not None and airflow < floor * (1 - METER_ERROR)
        return low and self.answer.verdict in GOOD

    @property
    def price_a_year(self) -> float | None:
        """None too for a washable medium, which is bought once, and for what nobody would live by."""
        lived_by = self.media.kind != Media.Kind.WASHABLE and not self.full_at_once
        price = self.media.price if lived_by else None
        return None if price is None or self.changes_a_year is None else float(price) * self.changes_a_year

    @property
    def full_at_once(self) -> bool:
        """Whether the rule lets it in and dust ends it within days, so that nobody would live by it."""
        short = self.days is not None and self.days < SHORTEST_LIFE_DAYS
        return short and self.answer.verdict in GOOD

    @property
    def for_days(self) -> bool:
        """Whether it may go in for a while: smoke passes within days."""
        return self.answer.verdict in GOOD and (self.days is None or self.days >= FEWEST_DAYS)

    @property
    def will_do(self) -> bool:
        return self.answer.verdict in GOOD and not self.full_at_once


def candidates(
    slot: FilterSlot, fitted: Media | None, now: datetime, units: str = "ip", also: str = ""
) -> list[Candidate]:
    """Every medium of the slot's size, the one that is in there first, then by verdict and price a year.

    ``also`` asks about media of that size or MERV, or whose name holds it, the first few.
    """
    rows = Media.objects.filter(_near("short_m", slot.short_m), _near("long_m", slot.long_m))
    ids = {row.pk for row in rows.filter(_near("depth_m", slot.depth_m))} | ({fitted.pk} if fitted else set())
    if also:
        ids |= set(_named(also).values_list("pk", flat=True)[:MOST_ALSO])
    media = media_with_curves(ids)
    air, (whole, _note) = slot_air(slot), design_airflow(slot.system)
    floor = slot.system.airflow_floor_m3s or published_floor(slot.system)
    found = []
    for medium in media.values():
        answer = judged(slot, medium, air, units)
        life = _life(slot, medium, now) if answer.verdict != "refuse" else _Life()
        at_limit = _airflow_at_limit(slot, medium.curve, air, life.limit_pa, answer)
        found.append(
            Candidate(
                medium.row,
                answer,
                fitted is not None and medium.row.pk == fitted.pk,
                _lost(at_limit, whole * air.share if whole else None),
                life.days,
                life.changes_a_year,
                life.limit_pa,
                floor * air.share if floor else None,
                at_limit,
            )
        )
    return sorted(found, key=_rank)


def _named(also: str) -> QuerySet[Media]:
    """Media of that size, of that MERV, or with that in their name."""
    rows = Media.objects.order_by("name")
    sides = as_sides(also)
    if sides is not None:
        return rows.filter(same_sides(sides) | _of_frame(sides))
    merv = re.fullmatch(r"merv\s*(\d{1,2})", also.strip().lower())
    return rows.filter(merv=int(merv[1])) if merv else rows.filter(name__icontains=also)


def _of_frame(sides: Sides) -> Q:
    """Media whose frame measures so, to a sixteenth of an inch or so."""
    short, long = sides.face
    face: Q = _near("actual_short_m", short) & _near("actual_long_m", long)
    return face & _near("actual_depth_m", sides.size.depth_m) if sides.size else face


def also_media(also: str) -> bool:
    """Whether any medium answers to what was asked about."""
    return _named(also).exists()


def of_another_size(slot: FilterSlot, also: str, units: str) -> str:
    """By what a size that was asked about differs from the slot's, on record or not; empty for another
    question and for the slot's own size."""
    size = as_size(also)
    if size is None:
        return ""
    place = (slot.short_m, slot.long_m, slot.depth_m)
    # A side that measures so much under the nominal one is sold as it.
    typed = [
        whole if -0.001 <= whole - side <= MOST_UNDER_M else side
        for side, whole in zip(size.triple, place, strict=True)
    ]
    if tuple(typed) == place:
        return ""
    answer = judge(Question(slot_size=place, medium_size=(typed[0], typed[1], typed[2])), units)
    return answer.why if answer.wrong_size else ""


def place_in_order(one: Candidate) -> int:
    """By verdict; what is full at once comes after all that will do."""
    return len(GOOD) if one.full_at_once else ORDER.index(one.answer.verdict)


def _rank(one: Candidate) -> tuple[bool, int, float, str]:
    price = one.price_a_year if one.price_a_year is not None else np.inf
    return not one.fitted, place_in_order(one), price, one.media.name


def _near(field: str, side_m: float) -> Any:
    return Q(**{f"{field}__range": (side_m - 0.002, side_m + 0.002)})


@dataclass(frozen=True)
class _Life:
    """What became of a medium that went in today: days to its due date, changes a year, limit in Pa."""

    days: int | None = None
    changes_a_year: float | None = None
    limit_pa: float | None = None


def _life(slot: FilterSlot, medium: Medium, now: datetime) -> _Life:
    today = due.today(now)
    gathered = Gatherer(today).gather(systems_of_home(slot), fresh={slot.pk: medium.row.pk})
    place = next(at for at, facts in enumerate(gathered.slots) if facts.row.pk == slot.pk)
    result = forecast(gathered.facts, due.settings(), prior_of_the_day(today, now))
    day, slots = int(result.due[place]), gathered.facts.slots
    limit = float(slots.limit_pa[place])
    return _Life(
        None if day == NEVER else (date.fromordinal(day) - today).days,
        None if day == NEVER else _changes_a_year(result, slots, place, today),
        None if np.isnan(limit) else limit,
    )


def _changes_a_year(result: FleetForecast, slots: Slots, place: int, today: date) -> float:
    by_dust = int(result.by_dust[place])
    ahead = result.ahead.of(np.array([place]))
    days = np.array([max(by_dust - today.toordinal(), 1)])
    holds_m = np.inf if by_dust == NEVER else float(ahead.until(days)[0])
    cap = np.fmin(slots.cap_days[place], slots.medium_days[place])
    return changes_a_year(ahead.running[0], holds_m, np.inf if np.isnan(cap) else float(cap))


def _airflow_at_limit(
    slot: FilterSlot, curve: LabelCurve | None, air: SlotAir, limit_pa: float | None, answer: Answer
) -> float | None:
    """Airflow in m3/s through the slot once the filter is at its limit; None where that cannot be told."""
    system, (whole, _note) = slot.system, design_airflow(slot.system)
    if curve is None or limit_pa is None or not whole:
        return None
    clean = float(curve.clean_drop(np.array([whole * air.share]))[0])
    moved = air.measured_m3s if answer.as_measured else None
    met = meet(system, curve, air.share, np.array([limit_pa / clean]), moved)
    airflow = np.nan if met is None else float(met.points.airflow_m3s[0])
    return None if np.isnan(airflow) else airflow


def _lost(airflow_m3s: float | None, design_m3s: float | None) -> float | None:
    """Percent of the design airflow that is missing."""
    return None if airflow_m3s is None or not design_m3s else 100.0 * (1.0 - airflow_m3s / design_m3s)


def for_a_while(found: list[Candidate]) -> list[Candidate]:
    """What may go in for a while, the finest first."""
    good = [one for one in found if not one.fitted and one.for_days]
    return sorted(good, key=lambda one: -one.media.merv)
