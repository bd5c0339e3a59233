"""From a forecast to plans: dates, codes of what was supposed, and findings of each slot."""

import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime

from equipment.models import FilterSlot
from schedules.dust import dust_notes
from schedules.findings import findings_of
from schedules.gather import Gathered
from schedules.lives import SlotFacts
from schedules.models import Plan
from schedules.planning.arrays import IntArray
from schedules.planning.climate import day_of
from schedules.planning.forecast import FleetForecast
from schedules.planning.interval import NEVER, Reason
from schedules.planning.loading import Prior
from schedules.planning.oddities import Odd

# A filter that is full sooner than this, likelier than not, calls for a technician.
FAST_DAYS = 30

# Of the chance that a log is wrong.
_DOUBT_TOLD_FROM = 0.05


@dataclass(frozen=True)
class Dated:
    """A slot with its dates, not yet stored."""

    slot: FilterSlot
    plan: Plan


def plans_of(gathered: Gathered, result: FleetForecast, prior: Prior, now: datetime) -> Iterator[Dated]:
    """The plan of every slot gathered, in their order."""
    as_of, pace = day_of(gathered.facts.as_of), "fleet_pace" if prior.learned_from else "usual_pace"
    odd: dict[int, list[Odd]] = defaultdict(list)
    for one in result.odd:
        odd[one.slot].append(one)
    told = _Told(result)
    for place, slot in enumerate(gathered.slots):
        plan = _plan(slot, place, told, odd[place], as_of, now)
        plan.notes.append(pace)
        yield Dated(slot.row, plan)


class _Told:
    """A forecast's columns as lists: one number of an array costs more than one of a list."""

    def __init__(self, result: FleetForecast) -> None:
        self.due, self.p10, self.p50, self.p90 = (
            _days(days) for days in (result.due, result.p10, result.p50, result.p90)
        )
        self.reason = [Reason(reason) for reason in result.reason.tolist()]
        self.drop_now_pa, self.run_hours, self.began = (
            column.tolist() for column in (result.drop_now_pa, result.run_hours, result.began)
        )
        self.accepted = _risks(result)
        self.odd_readings = result.odd_readings.tolist()
        self.unlogged, self.log_doubt = result.unlogged.tolist(), result.log_doubt.tolist()
        self.computable = result.computable.tolist()
        self.full_days, self.p90_ordinal = result.full_days.tolist(), result.p90.tolist()


def _risks(result: FleetForecast) -> list[float | None]:
    """The risk of each filter where waiting was weighed; none where one holds for all."""
    if not result.weighed:
        return [None] * len(result.accepted)
    return [round(risk, 3) for risk in result.accepted.tolist()]


def _days(days: IntArray) -> list[date | None]:
    return [None if day == NEVER else day_of(day) for day in days.tolist()]


def _plan(slot: SlotFacts, place: int, told: _Told, odd: list[Odd], as_of: date, now: datetime) -> Plan:
    station = slot.site.station
    notes = [*slot.notes, *_log_notes(slot, place, told)]
    findings = findings_of(slot, odd, notes, as_of)
    return Plan(
        slot=slot.row,
        due_on=told.due[place],
        reason=told.reason[place].name.lower(),
        p10_on=told.p10[place],
        p50_on=told.p50[place],
        p90_on=told.p90[place],
        drop_now_pa=_number(told.drop_now_pa[place]),
        clean_drop_pa=_number(slot.clean_pa),
        limit_drop_pa=_number(slot.limit_pa),
        run_hours=_number(told.run_hours[place]),
        accepted_risk=told.accepted[place],
        life_began_on=_began_on(slot, told.began[place]),
        notes=notes,
        findings=findings,
        finding_count=sum(finding["present"] for finding in findings),
        as_of=as_of,
        facts_at=slot.row.facts_changed_at,
        weather_at=station.weather_changed_at if station else None,
        made_at=now,
    )


def _number(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 6)


def _began_on(slot: SlotFacts, dated_from: float) -> date | None:
    if "no_record" in slot.notes:
        return None
    at_end = slot.now.at_end or dated_from != slot.now.began
    return day_of(int(dated_from) - 1 if at_end and dated_from % 1 == 0 else int(dated_from))


def _log_notes(slot: SlotFacts, place: int, told: _Told) -> list[str]:
    notes = [f"readings:{len(slot.now.readings)}", f"past_lives:{len(slot.lives) - 1}"]
    if slot.out_by is not None and told.reason[place] == Reason.CALENDAR:
        notes.append("out_again" if told.due[place] == slot.out_by else "for_a_while")
    elif slot.out_by is not None:
        notes.append("for_a_while")
    if told.odd_readings[place]:
        notes.append("below_clean")
    if told.began[place] != slot.now.began:
        notes.append("begun_anew")
    if told.log_doubt[place] > _DOUBT_TOLD_FROM:
        notes.append("log_doubted")
    elif told.unlogged[place] > 0.0:
        notes.append("no_log" if told.unlogged[place] == 1.0 else "short_log")
    if slot.site.station is None:
        notes.append("no_station")
    if told.full_days[place] < FAST_DAYS and "fitted_unknown" not in notes:
        notes.append("loads_fast")
    if told.computable[place]:
        notes.extend(dust_notes(slot, told.p90_ordinal[place]))
    return notes
