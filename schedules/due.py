"""Gather facts, ask planning, store the plans that changed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import groupby
from operator import itemgetter

import numpy as np
from django.db.models import F, Q, QuerySet

from equipment.models import Desk, FilterSlot, Site, System
from schedules import kept_dates
from schedules.dust import dust_notes
from schedules.findings import findings_of
from schedules.fleet import prior_of_the_day
from schedules.gather import Gatherer
from schedules.lives import SlotFacts
from schedules.models import Plan, Policy
from schedules.planning.arrays import IntArray
from schedules.planning.climate import day_of
from schedules.planning.facts import Settings
from schedules.planning.forecast import FleetForecast, forecast
from schedules.planning.interval import NEVER, Reason
from schedules.planning.loading import Prior
from shared import clock

# Systems a batch: some hundred megabytes of daily hours at fifteen years a system.
BATCH_SYSTEMS = 250
# A filter that is full sooner than this, likelier than not, calls for a technician.
FAST_DAYS = 30
# So many stale slots at once are an import or a new day: worth learning the fleet's pace anew.
MANY_SLOTS = 200
_COMPARED = (
    "due_on", "reason", "p10_on", "p50_on", "p90_on", "drop_now_pa", "clean_drop_pa", "limit_drop_pa",
    "run_hours", "life_began_on", "notes", "findings", "finding_count", "as_of", "facts_at", "weather_at",
)  # fmt: skip


@dataclass(frozen=True)
class Dated:
    """A slot with its dates, not yet stored."""

    slot: FilterSlot
    plan: Plan


def settings() -> Settings:
    """The desk's decision rules as the engine wants them."""
    policy = Policy.the()
    return Settings(policy.accepted_risk, policy.electricity_price_kwh, policy.shortest_days)


def today(now: datetime) -> date:
    """Today where the desk is."""
    return clock.local_day(now, Desk.the().zone)


def end_of_today(now: datetime, desk: Desk) -> datetime:
    """When the desk's local day ends, in UTC."""
    zone = desk.zone
    return clock.end_of_day(clock.local_day(now, zone), zone)


def dated(as_of: date, now: datetime, prior: Prior, systems: Sequence[int] | None = None) -> Iterator[Dated]:
    """Every slot in the homes of ``systems`` (None: of all) with its dates, a batch at a time."""
    gatherer, rules = Gatherer(as_of), settings()
    for batch in _batches(systems):
        gathered = gatherer.gather(batch)
        if not gathered.slots:
            continue
        result = forecast(gathered.facts, rules, prior)
        for place, slot in enumerate(gathered.slots):
            plan = _plan(slot, place, result, as_of, now)
            plan.notes.append("fleet_pace" if prior.learned_from else "usual_pace")
            yield Dated(slot.row, plan)


def _batches(systems: Sequence[int] | None) -> Iterator[list[int]]:
    """Systems in batches that part no home: the slots of a home hear of each other's dust."""
    rows = System.objects.order_by("site", "pk")
    if systems is not None:
        rows = rows.filter(site__in=Site.objects.filter(systems__in=systems))
    batch: list[int] = []
    for _site, home in groupby(rows.values_list("site", "pk"), key=itemgetter(0)):
        batch.extend(pk for _, pk in home)
        if len(batch) >= BATCH_SYSTEMS:
            yield batch
            batch = []
    if batch:
        yield batch


def _plan(slot: SlotFacts, place: int, result: FleetForecast, as_of: date, now: datetime) -> Plan:
    station = slot.row.system.site.station
    notes = [*slot.notes, *_log_notes(slot, place, result)]
    findings = findings_of(slot, place, result, notes, as_of)
    return Plan(
        slot=slot.row,
        due_on=_day(result.due, place),
        reason=Reason(int(result.reason[place])).name.lower(),
        p10_on=_day(result.p10, place),
        p50_on=_day(result.p50, place),
        p90_on=_day(result.p90, place),
        drop_now_pa=_number(result.drop_now_pa[place]),
        clean_drop_pa=_number(slot.clean_pa),
        limit_drop_pa=_number(slot.limit_pa),
        run_hours=_number(result.run_hours[place]),
        life_began_on=_began_on(slot, float(result.began[place])),
        notes=notes,
        findings=findings,
        finding_count=sum(finding["present"] for finding in findings),
        as_of=as_of,
        facts_at=slot.row.facts_changed_at,
        weather_at=station.weather_changed_at if station else None,
        made_at=now,
    )


def _day(days: IntArray, place: int) -> date | None:
    return None if days[place] == NEVER else day_of(int(days[place]))


def _number(value: float) -> float | None:
    return None if np.isnan(value) else round(float(value), 6)


def _began_on(slot: SlotFacts, dated_from: float) -> date | None:
    if "no_record" in slot.notes:
        return None
    at_end = slot.now.at_end or dated_from != slot.now.began
    return day_of(int(dated_from) - 1 if at_end and dated_from % 1 == 0 else int(dated_from))


def _log_notes(slot: SlotFacts, place: int, result: FleetForecast) -> list[str]:
    notes = [f"readings:{len(slot.now.readings)}", f"past_lives:{len(slot.lives) - 1}"]
    if slot.out_by is not None and result.reason[place] == Reason.CALENDAR:
        notes.append("out_again" if day_of(int(result.due[place])) == slot.out_by else "for_a_while")
    elif slot.out_by is not None:
        notes.append("for_a_while")
    if result.odd_readings[place]:
        notes.append("below_clean")
    if result.began[place] != slot.now.began:
        notes.append("begun_anew")
    if not result.has_log[place]:
        notes.append("no_log")
    if slot.row.system.site.station is None:
        notes.append("no_station")
    if result.p50[place] - slot.now.began < FAST_DAYS:
        notes.append("loads_fast")
    if result.computable[place]:
        notes.extend(dust_notes(slot, int(result.p90[place])))
    return notes


def replan(now: datetime, slots: QuerySet[FilterSlot] | None = None, *, learn_anew: bool = False) -> int:
    """Plan ``slots`` and what shares their homes (None: all) again; how many plans changed.

    ``learn_anew`` after many new facts.
    """
    systems = None if slots is None else sorted(set(slots.values_list("system_id", flat=True)))
    if systems == []:
        return 0
    changed, count = [], 0
    prior = prior_of_the_day(today(now), now, anew=learn_anew or slots is None)
    for item in dated(today(now), now, prior, systems):
        changed.append(item)
        if len(changed) == BATCH_SYSTEMS:
            count += _store(changed)
            changed = []
    return count + _store(changed)


def _store(items: list[Dated]) -> int:
    """Write the plans that differ from the stored ones."""
    stored = {plan.slot_id: plan for plan in Plan.objects.filter(slot__in=[item.slot.pk for item in items])}
    fresh = [item.plan for item in items if _differs(item.plan, stored.get(item.slot.pk))]
    kept_dates.note([(stored[plan.slot_id], plan) for plan in fresh if plan.slot_id in stored])
    Plan.objects.bulk_create(
        fresh,
        update_conflicts=True,
        unique_fields=["slot"],
        update_fields=[*_COMPARED, "made_at"],
        batch_size=500,
    )
    return len(fresh)


def _differs(plan: Plan, stored: Plan | None) -> bool:
    return stored is None or any(getattr(plan, name) != getattr(stored, name) for name in _COMPARED)


def stale(now: datetime) -> QuerySet[FilterSlot]:
    """Slots whose facts, weather or day are other than their plan's."""
    return FilterSlot.objects.filter(
        Q(plan=None)
        | ~Q(plan__facts_at=F("facts_changed_at"))
        | ~Q(plan__as_of=today(now))
        | (
            Q(system__site__station__weather_changed_at__isnull=False)
            & (Q(plan__weather_at=None) | ~Q(plan__weather_at=F("system__site__station__weather_changed_at")))
        )
    )


def replan_stale(now: datetime, at_most: int = 2000) -> int:
    """Plan at most ``at_most`` stale slots again; how many there were."""
    chosen = list(stale(now).order_by("pk").values_list("pk", flat=True)[:at_most])
    if chosen:
        many = len(chosen) >= MANY_SLOTS
        replan(now, FilterSlot.objects.filter(pk__in=chosen), learn_anew=many)
    return len(chosen)
