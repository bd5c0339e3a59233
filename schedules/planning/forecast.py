"""Facts of a fleet in, dates of a fleet out: the one way from readings and fan hours to a day."""

from dataclasses import dataclass

import numpy as np

from schedules.planning.age_replacement import fair_chance
from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.chance import Reach, Scatter, reach
from schedules.planning.doubted import doubted, off_label
from schedules.planning.evidence import Evidence, evidence_of, face_velocity
from schedules.planning.facts import FleetFacts, Settings, Slots
from schedules.planning.fan import Fan
from schedules.planning.fitting import fit
from schedules.planning.idle import heard
from schedules.planning.interval import KNOTS, NEVER, Decision, Outlook, YearAhead, decide, outlook
from schedules.planning.least_cost import Filters, cost_days
from schedules.planning.loading import HIGHEST_PA, Prior
from schedules.planning.messages import Households
from schedules.planning.oddities import Odd, OddKind, below_clean, screen
from schedules.planning.pooling import Learned, learn
from schedules.planning.runtime import USUAL_DAILY_HOURS
from schedules.planning.supposed import suppose

# At these parts of its age the chance that a filter was past its limit is looked at.
_SHARES_OF_AGE = (0.01, 0.05, 0.2, 0.5)
_COST_EFFICIENCY = 0.15


@dataclass(frozen=True)
class FleetForecast:
    """Dates as ordinals (NEVER for none), drops in Pa (NaN for unknown), all [n].

    ``odd`` are the readings that no filter's life explains; ``began`` is the instant from which the
    present filter is dated, other than the record's where a hidden change is supposed; ``run_hours``
    count from the last change on record all the same. ``unlogged`` is what is unknown for want of a log,
    ``log_doubt`` the chance that it is wrong on days of the present filter or to come. ``noise``: how far
    the desk's readings scatter, beside the usual. ``accepted`` is the risk by which dust asks for a change;
    ``weighed``: whether each filter has its own. ``full_days`` are those from the change to the day
    by which a filter is likelier past its limit than not, be that behind us. ``by_dust`` is the day that
    dust alone asks for, by risk or cost, whatever medium and calendar say.
    """

    due: IntArray
    reason: IntArray
    by_dust: IntArray
    p10: IntArray
    p50: IntArray
    p90: IntArray
    drop_now_pa: FloatArray
    run_hours: FloatArray
    computable: BoolArray
    accepted: FloatArray
    weighed: bool
    full_days: FloatArray
    scatter: Scatter
    noise: float
    unlogged: FloatArray
    log_doubt: FloatArray
    odd_readings: IntArray
    odd: list[Odd]
    began: FloatArray
    used_m: FloatArray
    velocity_ms: FloatArray
    learned: Learned
    where: Reach
    ahead: YearAhead
    fan: Fan


def forecast(facts: FleetFacts, settings: Settings, prior: Prior | None = None) -> FleetForecast:
    """Dates, drop and run hours of every slot, all at once; without ``prior`` the fixed one holds.

    Nothing raises on odd numbers: where the drop cannot be reckoned (no medium, no airflow, no limit)
    the quantiles are NEVER and the caps decide.
    """
    prior = prior or Prior()
    first = heard(facts, prior)
    fan, slots = first.fan, facts.slots
    end = np.full(len(slots.system), facts.as_of + 1.0)
    velocity = face_velocity(slots)
    run_hours = fan.until(slots.system, end) - fan.until(slots.system, slots.began)
    screened = screen(facts, fan, velocity)
    facts, slots = screened.facts, screened.facts.slots
    evidence = evidence_of(facts, fan, velocity, prior)
    unknown = fan.unknown[slots.system]
    learned = learn(Households(slots.home, unknown), evidence.lives, evidence.readings, prior)
    laden_hours = fan.laden_until(slots.system, end) - fan.laden_until(slots.system, slots.began)
    used = laden_hours * 3600 * velocity + evidence.earlier_m
    computable = (slots.clean_pa > 0) & (slots.limit_pa > 0) & ~np.isnan(slots.airflow_m3s) & slots.recorded
    ratio = np.where(computable, slots.limit_pa / np.where(slots.clean_pa > 0, slots.clean_pa, 1.0), 2.0)
    where = reach(learned, ratio, used)
    ahead = _year_ahead(fan, slots.system, velocity)
    scatter = Scatter(unknown, prior.life)
    at_once = computable & (ratio <= 1.0)

    coming = outlook(where, ahead, scatter)
    accepted = _accepted(settings, coming, _age(slots, end, evidence.earlier_m, velocity))
    risk, p10, p50, p90 = (
        _ordinals(facts.as_of, np.where(at_once, 0, coming.until(chance)), computable)
        for chance in (accepted, 0.1, 0.5, 0.9)
    )
    passed = _Passed(used, evidence.earlier_m, velocity)
    over = np.flatnonzero(risk == facts.as_of)
    risk[over] = _day_it_was(facts, fan, where.of(over), passed.of(over), accepted[over], over)
    soonest = _counts_from(slots) + settings.shortest_days
    risk, cost = (
        np.maximum(day, soonest) for day in (risk, _cost_day(facts, settings, passed, learned, ahead))
    )
    decision = _decide(slots, risk, cost)
    drop = np.minimum(where.pace.present.ratio(0.5) * slots.clean_pa, HIGHEST_PA)
    return FleetForecast(
        due=decision.due,
        reason=decision.reason,
        by_dust=np.minimum(risk, cost),
        p10=p10,
        p50=p50,
        p90=p90,
        drop_now_pa=np.where(slots.recorded & ~np.isnan(slots.airflow_m3s), drop, np.nan),
        run_hours=np.where(slots.recorded, run_hours, np.nan),
        computable=computable,
        accepted=accepted,
        weighed=settings.late_days is not None,
        full_days=_full_days(facts, fan, where, passed, p50, at_once),
        scatter=scatter,
        noise=prior.noise,
        unlogged=fan.unlogged[slots.system],
        log_doubt=first.doubt,
        odd_readings=_odd_readings(facts),
        odd=[*first.odd, *screened.odd, *_beside(first.odd, evidence, learned)],
        began=slots.began,
        used_m=used,
        velocity_ms=velocity,
        learned=learned,
        where=where,
        ahead=ahead,
        fan=fan,
    )


def _beside(logs: list[Odd], evidence: Evidence, learned: Learned) -> list[Odd]:
    """Readings that the date does not follow; where the log is in doubt that tells of the same already."""
    told, read = {odd.slot for odd in logs}, (evidence.lives, evidence.readings, evidence.at)
    hardly = [
        odd for odd in doubted(*read, learned) if odd.kind is not OddKind.DOUBTED or odd.slot not in told
    ]
    return [*hardly, *off_label(*read, learned)]


def _full_days(
    facts: FleetFacts, fan: Fan, where: Reach, passed: "_Passed", p50: IntArray, at_once: BoolArray
) -> FloatArray:
    """Infinite where that day is beyond ten years, and where a clean filter is too much."""
    began = facts.slots.began
    days = np.where((p50 == NEVER) | at_once, np.inf, p50 - began)
    behind = np.flatnonzero((p50 <= facts.as_of) & ~at_once)
    half = np.full(len(behind), 0.5)
    days[behind] = _day_it_was(facts, fan, where.of(behind), passed.of(behind), half, behind) - began[behind]
    return days


def _age(slots: Slots, end: FloatArray, earlier_m: FloatArray, velocity: FloatArray) -> FloatArray:
    """Days [n] that filters have been in, those before the first record by a usual fan's hours."""
    return np.asarray(end - slots.began + earlier_m / (USUAL_DAILY_HOURS * 3600 * velocity))


def _accepted(settings: Settings, coming: Outlook, age: FloatArray) -> FloatArray:
    """The risk [n] by which a change is asked for, of filters ``age`` [n] days old; dust that was announced
    once is not held to come to every filter."""
    if settings.late_days is None:
        return np.full(len(age), settings.accepted_risk)
    if coming.ahead.surplus is not None:
        coming = outlook(coming.where, YearAhead(coming.ahead.running), coming.scatter)
    age = np.maximum(age, 1.0)[:, None]
    so_far = [coming.where.past_at(share) for share in _SHARES_OF_AGE]
    ages = np.column_stack([age * np.array([*_SHARES_OF_AGE, 1.0]), age + KNOTS])
    past = np.column_stack([*so_far, coming.past, coming.reached])
    return fair_chance(ages, np.maximum.accumulate(past, axis=1), settings.late_days)


def _year_ahead(fan: Fan, system: IntArray, velocity: FloatArray) -> YearAhead:
    """Expected exposure of each slot's year, with what announced dust adds to it."""

    def totals(daily: FloatArray) -> FloatArray:
        return np.asarray(np.cumsum(daily[system], axis=1) * 3600 * velocity[:, None])

    return YearAhead(totals(fan.ahead), None if fan.surplus is None else totals(fan.surplus))


def _ordinals(as_of: int, days: IntArray, computable: BoolArray) -> IntArray:
    return np.where(computable & (days != NEVER), as_of + np.where(days == NEVER, 0, days), NEVER).astype(
        np.int64
    )


def fit_prior(facts: FleetFacts) -> Prior:
    """The fleet's own prior, from all lives of ``facts``; the fixed one where too few were read."""
    fan = heard(facts, Prior()).fan
    velocity = face_velocity(facts.slots)
    facts = screen(facts, fan, velocity).facts
    evidence = evidence_of(facts, fan, velocity, Prior())
    slots = Households(facts.slots.home, fan.unknown[facts.slots.system])
    return fit(slots, evidence.lives, evidence.readings)


def _odd_readings(facts: FleetFacts) -> IntArray:
    """How many readings of each slot's present life lie below the clean drop, [n]."""
    life = facts.readings.life[below_clean(facts)]
    mine = facts.lives.slot[life[facts.lives.current[life]]]
    return np.bincount(mine, minlength=len(facts.slots.system)).astype(np.int64)


@dataclass(frozen=True)
class _Passed:
    """Exposure in m that n filters have passed, that of it before the first record, and face velocity."""

    used_m: FloatArray
    earlier_m: FloatArray
    velocity_ms: FloatArray

    def of(self, rows: IntArray) -> "_Passed":
        return _Passed(self.used_m[rows], self.earlier_m[rows], self.velocity_ms[rows])


def _day_it_was(
    facts: FleetFacts, fan: Fan, where: Reach, passed: _Passed, chance: FloatArray, rows: IntArray
) -> IntArray:
    """The past day on which the slots ``rows`` [k], to which ``where`` and ``passed`` belong, had reached
    their limit with ``chance`` [k], by what is known now."""
    system, began = facts.slots.system[rows], facts.slots.began[rows]
    metres = passed.used_m * where.share(chance) - passed.earlier_m
    hours = np.maximum(metres / (3600 * passed.velocity_ms), 0.0)
    wanted = fan.laden_until(system, began) + hours
    days = (fan.loading[system, 1:] < wanted[:, None]).sum(axis=1)
    first = np.floor(began).astype(np.int64)
    return np.asarray(np.clip(fan.first_day + days, first, facts.as_of), dtype=np.int64)


def _decide(slots: Slots, risk: IntArray, cost: IntArray) -> Decision:
    began = _counts_from(slots)
    medium, calendar = _after(began, slots.medium_days), _after(began, slots.cap_days)
    return decide(risk, medium, calendar, cost, slots.recorded)


def _counts_from(slots: Slots) -> IntArray:
    """The day that caps count from. A change known by its day alone lies at that day's end, n + 1.0."""
    whole = slots.began.astype(np.int64)
    return np.where(slots.began_at_end & (slots.began % 1 == 0), whole - 1, whole)


def _after(began: IntArray, days: FloatArray) -> IntArray:
    known = ~np.isnan(days)
    return np.where(known, began + np.where(known, days, 0).astype(np.int64), NEVER)


def _cost_day(
    facts: FleetFacts, settings: Settings, passed: _Passed, learned: Learned, ahead: YearAhead
) -> IntArray:
    slots = facts.slots
    if settings.energy_price_kwh is None:
        return np.full(len(slots.system), NEVER)
    filters = Filters(slots.clean_pa, slots.airflow_m3s, passed.velocity_ms, passed.used_m, suppose(learned))
    price = np.where(slots.constant_airflow & slots.recorded, slots.change_price, np.nan)
    age = facts.as_of + 1 - slots.began
    days = cost_days(filters, ahead, price, settings.energy_price_kwh, age, _COST_EFFICIENCY)
    return np.where(days == NEVER, NEVER, facts.as_of + np.where(days == NEVER, 0, days))
