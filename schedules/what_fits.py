"""Which media of a slot's size may go into it, with the figures behind each verdict."""

import re
from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db.models import Q, QuerySet

from equipment.air_side import table_at_home
from equipment.airflow import design_airflow
from equipment.airside.media import LabelCurve
from equipment.airside.operating import fixed_speed
from equipment.curves import Medium, media_with_curves
from equipment.models import FilterSlot, Media, System
from equipment.verdict import Answer, Question, judge
from schedules import due
from schedules.air_path import paths_of, tables_of
from schedules.fleet import prior_of_the_day
from schedules.gather import Gatherer
from schedules.planning.facts import Slots
from schedules.planning.forecast import FleetForecast, forecast
from schedules.planning.interval import NEVER
from schedules.planning.year_of_changes import changes_a_year
from shared.sizes import NotASize, parse_size

ORDER = ("fits", "fits_with_care", "ask", "refuse")
GOOD = ORDER[:2]
# What lasts less than this here is no filter to live by, though it may do for a few days. Our own bound.
SHORTEST_LIFE_DAYS = 21
MOST_ALSO = 8


@dataclass(frozen=True)
class Candidate:
    """A medium put to the question: the verdict, and what would come of fitting it today.

    ``loss_at_limit_percent`` is the airflow lost to design with the filter at its limit, ``days`` those from
    now to the due date that it would get, ``price_a_year`` its price alone over a year of changes, summer
    and winter; None for unknown.
    """

    media: Media
    answer: Answer
    fitted: bool
    loss_at_limit_percent: float | None
    days: int | None
    changes_a_year: float | None

    @property
    def price_a_year(self) -> float | None:
        """None for a washable medium too: it is bought once and washed, nobody knows how often."""
        price = None if self.media.kind == Media.Kind.WASHABLE else self.media.price
        return None if price is None or self.changes_a_year is None else float(price) * self.changes_a_year

    @property
    def full_at_once(self) -> bool:
        """Whether the rule lets it in and dust ends it within days, so that nobody would live by it."""
        short = self.days is not None and self.days < SHORTEST_LIFE_DAYS
        return short and self.answer.verdict in GOOD

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
    share = share_of(slot)
    found = []
    for medium in media.values():
        answer = judge(question_for(slot, medium, share), units)
        life = _life(slot, medium, now) if answer.verdict != "refuse" else _Life()
        found.append(
            Candidate(
                medium.row,
                answer,
                fitted is not None and medium.row.pk == fitted.pk,
                _loss_at_limit(slot, medium.curve, share, life.limit_pa),
                life.days,
                life.changes_a_year,
            )
        )
    return sorted(found, key=_rank)


def _named(also: str) -> QuerySet[Media]:
    """Media of that size, of that MERV, or with that in their name."""
    rows = Media.objects.order_by("name")
    with suppress(NotASize):
        return rows.filter(nominal_size=parse_size(also).label)
    merv = re.fullmatch(r"merv\s*(\d{1,2})", also.strip().lower())
    return rows.filter(merv=int(merv[1])) if merv else rows.filter(name__icontains=also)


def also_media(also: str) -> bool:
    """Whether any medium answers to what was asked about."""
    return _named(also).exists()


def place_in_order(one: Candidate) -> int:
    """By verdict; what is full at once comes after all that will do."""
    return len(GOOD) if one.full_at_once else ORDER.index(one.answer.verdict)


def _rank(one: Candidate) -> tuple[bool, int, float, str]:
    price = one.price_a_year if one.price_a_year is not None else np.inf
    return not one.fitted, place_in_order(one), price, one.media.name


def _near(field: str, side_m: float) -> Any:
    return Q(**{f"{field}__range": (side_m - 0.002, side_m + 0.002)})


def share_of(slot: FilterSlot) -> float:
    """The slot's share of its system's air, by nominal area among the slots in use."""
    areas = [one.area_m2 for one in FilterSlot.objects.in_use().filter(system=slot.system_id)]
    return slot.area_m2 / max(sum(areas), slot.area_m2)


def question_for(slot: FilterSlot, medium: Medium, share: float) -> Question:
    """The verdict's question; of a system with several slots this one's share of airflow and capacity."""
    system, row = slot.system, medium.row
    whole, _note = design_airflow(system)
    table = tuple((flow * share, static) for flow, static in table_at_home(system))
    fixed, measured = system.blower == System.Blower.FIXED_SPEED, _measured(system)
    notes = []
    if fixed and not table and measured:
        # Nobody knows how this blower gives way; what it moved when measured is the best to judge by.
        fixed, whole = False, measured
        notes.append("airflow as measured, without the blower's table")
    if share < 1:
        notes.append("the system's other filters taken to be like it")
    return Question(
        slot_size=(slot.short_m, slot.long_m, slot.depth_m),
        medium_size=(row.short_m, row.long_m, row.depth_m),
        curve=medium.curve,
        high_velocity=system.kind == System.Kind.HIGH_VELOCITY,
        fixed_speed=fixed,
        capacity_w=system.capacity_w * share if system.capacity_w else None,
        design_airflow_m3s=whole * share if whole else None,
        return_budget_pa=system.return_budget_pa,
        return_static_pa=system.return_static_pa,
        rated_external_static_pa=system.rated_external_static_pa,
        supply_static_pa=system.supply_static_pa,
        blower_table=table,
        floor_m3s=system.airflow_floor_m3s * share if system.airflow_floor_m3s else None,
        measured_m3s=measured * share if measured else None,
        notes=tuple(notes),
        opening=_pair(slot.opening_short_m, slot.opening_long_m),
        medium_face=_pair(row.actual_short_m, row.actual_long_m),
    )


def _measured(system: System) -> float | None:
    """The airflow last measured, in m3/s."""
    newest = system.air_records.filter(airflow_m3s__isnull=False).order_by("-measured_at")
    return newest.values_list("airflow_m3s", flat=True).first()


def _pair(one: float | None, other: float | None) -> tuple[float, float] | None:
    return None if one is None or other is None else (one, other)


@dataclass(frozen=True)
class _Life:
    """What became of a medium that went in today: days to its due date, changes a year, limit in Pa."""

    days: int | None = None
    changes_a_year: float | None = None
    limit_pa: float | None = None


def _life(slot: FilterSlot, medium: Medium, now: datetime) -> _Life:
    today = due.today(now)
    gathered = Gatherer(today).gather([slot.system_id], fresh={slot.pk: medium.row.pk})
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


def _loss_at_limit(
    slot: FilterSlot, curve: LabelCurve | None, share: float, limit_pa: float | None
) -> float | None:
    """Percent of the design airflow that a fixed-speed blower loses once the filter is at its limit."""
    system = slot.system
    whole, _note = design_airflow(system)
    if curve is None or limit_pa is None or not whole:
        return None
    if system.blower != System.Blower.FIXED_SPEED:
        return 0.0
    if len(system.blower_table) < 2:
        return None
    statics = (system.return_static_pa or 0.0) + (system.supply_static_pa or 0.0)
    design = whole * share
    clean = float(curve.clean_drop(np.array([design]))[0])
    paths = paths_of(curve, design, statics, np.array([limit_pa / clean]))
    points = fixed_speed(tables_of(table_at_home(system), share, 1), paths)
    lost = 100.0 * (1.0 - points.airflow_m3s[0] / design)
    return None if np.isnan(lost) else float(lost)
