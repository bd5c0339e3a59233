"""Facts of a fleet in, dates of a fleet out: the one way from readings and fan hours to a day."""

from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.facts import FleetFacts, Settings, Slots
from schedules.planning.fan import Fan, fan_hours
from schedules.planning.interval import (
    NEVER,
    Decision,
    Reach,
    YearAhead,
    days_until,
    decide,
    least_cost_hours,
    reach,
)
from schedules.planning.loading import (
    GRID,
    SHAPES,
    Lives,
    Loading,
    Readings,
    class_mean,
    growth,
    learn,
)
from schedules.planning.runtime import USUAL_DAILY_HOURS

# Dose a filter may already have when the record finds it, as a share of half a usual year's exposure.
_EARLIER_SHARES = (0.0, 0.1, 0.25, 0.45, 0.7)
_USUAL_VELOCITY_MS = 1.5
# A reading under this share of the clean drop is more than meter and method away from it.
BELOW_CLEAN = 0.7
_COST_EFFICIENCY = 0.15


@dataclass(frozen=True)
class FleetForecast:
    """Dates as ordinals (NEVER for none), drops in Pa (NaN for unknown), all [n]."""

    due: IntArray
    reason: IntArray
    p10: IntArray
    p50: IntArray
    p90: IntArray
    drop_now_pa: FloatArray
    run_hours: FloatArray
    computable: BoolArray
    has_log: BoolArray
    odd_readings: IntArray
    used_m: FloatArray
    velocity_ms: FloatArray
    loading: Loading
    ahead: YearAhead
    fan: Fan


def forecast(facts: FleetFacts, settings: Settings) -> FleetForecast:
    """Dates, drop and run hours of every slot, all at once.

    Nothing raises on odd numbers: where the drop cannot be reckoned (no medium, no airflow, no limit)
    the quantiles are NEVER and the caps decide.
    """
    fan = fan_hours(facts.as_of, facts.weather, facts.systems)
    slots = facts.slots
    end = np.full(len(slots.system), facts.as_of + 1.0)
    velocity = _velocity(slots)
    run_hours = fan.until(slots.system, end) - fan.until(slots.system, slots.began)
    loading, earlier_m = _learn(facts, fan, velocity)
    used = run_hours * 3600 * velocity + earlier_m
    computable = (slots.clean_pa > 0) & (slots.limit_pa > 0) & ~np.isnan(slots.airflow_m3s) & slots.recorded
    ratio = np.where(computable, slots.limit_pa / np.where(slots.clean_pa > 0, slots.clean_pa, 1.0), 2.0)
    where = reach(loading, ratio)
    ahead = YearAhead(np.cumsum(fan.ahead[slots.system], axis=1) * 3600 * velocity[:, None])
    extra = np.where(fan.has_log[slots.system], 0.05, 0.15)
    at_once = computable & (ratio <= 1.0)

    def day(chance: float) -> IntArray:
        days = np.where(at_once, 0, days_until(chance, where, used, ahead, extra))
        return _ordinals(facts.as_of, days, computable)

    risk = day(settings.accepted_risk)
    risk = np.where(risk == facts.as_of, _day_it_was(facts, fan, where, velocity, earlier_m, settings), risk)
    decision = _decide(facts, settings, risk, run_hours, fan)
    drop = _drop_now(loading, used) * slots.clean_pa
    return FleetForecast(
        due=decision.due,
        reason=decision.reason,
        p10=day(0.1),
        p50=day(0.5),
        p90=day(0.9),
        drop_now_pa=np.where(slots.recorded & ~np.isnan(slots.airflow_m3s), drop, np.nan),
        run_hours=np.where(slots.recorded, run_hours, np.nan),
        computable=computable,
        has_log=fan.has_log[slots.system],
        odd_readings=_odd_readings(facts),
        used_m=used,
        velocity_ms=velocity,
        loading=loading,
        ahead=ahead,
        fan=fan,
    )


def _velocity(slots: Slots) -> FloatArray:
    velocity = slots.airflow_m3s / slots.area_m2
    return np.where(np.isnan(velocity), _USUAL_VELOCITY_MS, velocity)


def _ordinals(as_of: int, days: IntArray, computable: BoolArray) -> IntArray:
    return np.where(computable & (days != NEVER), as_of + np.where(days == NEVER, 0, days), NEVER).astype(
        np.int64
    )


def _learn(facts: FleetFacts, fan: Fan, velocity: FloatArray) -> tuple[Loading, FloatArray]:
    """Posterior of every slot, and the exposure [n] its filter had before the record found it."""
    slots, lives, rows = facts.slots, facts.lives, facts.readings
    depth, pets, smokers = (value[lives.slot] for value in (slots.depth_m, slots.pets, slots.smokers))
    centre = class_mean(lives.merv, depth, pets, smokers)
    flat = Lives(lives.slot, centre, np.where(lives.clean_pa > 0, lives.clean_pa, 1.0), lives.current)
    slot_of = lives.slot[rows.life]
    system = slots.system[slot_of]
    hours = fan.until(system, rows.at) - fan.until(system, lives.began[rows.life])
    keep = (lives.clean_pa[rows.life] > 0) & ~np.isnan(slots.airflow_m3s[slot_of]) & ~_below_clean(facts)
    seen = Readings(
        rows.life[keep], np.maximum(hours * 3600 * velocity[slot_of], 1.0)[keep], rows.drop_pa[keep]
    )
    prior_centre = np.zeros(len(slots.system))
    prior_centre[lives.slot[lives.current]] = centre[lives.current]
    has_log = fan.has_log[slots.system]
    earlier = _earlier_exposure(slots, flat, seen, has_log, prior_centre, velocity)
    shifted = replace(
        seen,
        exposure_m=seen.exposure_m + np.where(flat.current[seen.life], earlier[flat.slot[seen.life]], 0.0),
    )
    return learn(len(slots.system), flat, shifted, has_log, prior_centre), earlier


def _below_clean(facts: FleetFacts) -> BoolArray:
    """Readings no filter in place could give, [readings]: they tell of a missing or bypassed filter,
    nothing of its loading."""
    rows = facts.readings
    return np.asarray(
        ~(rows.drop_pa >= BELOW_CLEAN * np.nan_to_num(facts.lives.clean_pa[rows.life], nan=0.0))
    )


def _odd_readings(facts: FleetFacts) -> IntArray:
    """How many readings of each slot's present life lie below the clean drop, [n]."""
    life = facts.readings.life[_below_clean(facts)]
    mine = facts.lives.slot[life[facts.lives.current[life]]]
    return np.bincount(mine, minlength=len(facts.slots.system)).astype(np.int64)


def _earlier_exposure(
    slots: Slots, lives: Lives, seen: Readings, has_log: BoolArray, centre: FloatArray, velocity: FloatArray
) -> FloatArray:
    """Mean exposure before the first record, weighed by how well each supposition explains the readings."""
    n = len(slots.system)
    unknown = slots.recorded & ~slots.began_known
    if not unknown.any():
        return np.zeros(n)
    half_year = USUAL_DAILY_HOURS * 182 * 3600 * velocity
    mine = unknown[lives.slot[seen.life]]
    chosen = Readings(seen.life[mine], seen.exposure_m[mine], seen.drop_pa[mine])
    scores = []
    for share in _EARLIER_SHARES:
        added = replace(chosen, exposure_m=chosen.exposure_m + share * half_year[lives.slot[chosen.life]])
        scores.append(learn(n, lives, added, has_log, centre).evidence)
    weight = np.exp(np.array(scores) - np.max(scores, axis=0))
    mean = (weight * np.array(_EARLIER_SHARES)[:, None]).sum(axis=0) / weight.sum(axis=0)
    return np.where(unknown, mean * half_year, 0.0)


def _day_it_was(
    facts: FleetFacts, fan: Fan, where: Reach, velocity: FloatArray, earlier_m: FloatArray, settings: Settings
) -> IntArray:
    """The past day on which, by what is known now, the accepted risk was reached."""
    slots = facts.slots
    hours = (where.quantile(settings.accepted_risk) - earlier_m) / (3600 * velocity)
    wanted = fan.until(slots.system, slots.began) + np.maximum(hours, 0.0)
    passed = (fan.running[slots.system, 1:] < wanted[:, None]).sum(axis=1)
    first = np.floor(slots.began).astype(np.int64)
    return np.asarray(np.clip(fan.first_day + passed, first, facts.as_of), dtype=np.int64)


def _decide(
    facts: FleetFacts, settings: Settings, risk: IntArray, run_hours: FloatArray, fan: Fan
) -> Decision:
    slots = facts.slots
    began = _counts_from(slots)
    return decide(
        risk,
        _after(began, slots.medium_days),
        _after(began, slots.cap_days),
        _cost_day(facts, settings, run_hours, fan),
        slots.recorded,
    )


def _counts_from(slots: Slots) -> IntArray:
    """The day that caps count from. A change known by its day alone lies at that day's end, n + 1.0."""
    whole = slots.began.astype(np.int64)
    return np.where(slots.began_at_end & (slots.began % 1 == 0), whole - 1, whole)


def _after(began: IntArray, days: FloatArray) -> IntArray:
    known = ~np.isnan(days)
    return np.where(known, began + np.where(known, days, 0).astype(np.int64), NEVER)


def _cost_day(facts: FleetFacts, settings: Settings, run_hours: FloatArray, fan: Fan) -> IntArray:
    slots = facts.slots
    n = len(slots.system)
    if settings.energy_price_kwh is None:
        return np.full(n, NEVER)
    sensible = slots.constant_airflow & (slots.change_price > 0) & (slots.limit_pa > slots.clean_pa)
    daily = fan.ahead.mean(axis=1)[slots.system]
    rise = np.where(sensible, (slots.limit_pa - slots.clean_pa) / (182 * daily), 0.0)
    price = np.where(sensible, slots.change_price, 0.0)
    airflow = np.nan_to_num(slots.airflow_m3s, nan=0.0)
    hours = least_cost_hours(price, settings.energy_price_kwh, airflow, rise, _COST_EFFICIENCY)
    days = (hours - run_hours) / daily
    usable = sensible & np.isfinite(days) & (days < 3652)
    return np.where(usable, facts.as_of + np.where(usable, days, 0).astype(np.int64), NEVER)


def _drop_now(loading: Loading, used_m: FloatArray) -> FloatArray:
    """Median ratio of drop to clean drop at exposure ``used_m`` [n]."""
    dose = np.exp(loading.centre[:, None] + GRID) * used_m[:, None]
    ratio = growth(dose[:, None, :], SHAPES[None, :, None]).reshape(len(used_m), -1)
    order = np.argsort(ratio, axis=1)
    weight = np.take_along_axis(loading.weight.reshape(len(used_m), -1), order, axis=1)
    running = np.cumsum(weight, axis=1)
    place = (running < 0.5).sum(axis=1)
    return np.asarray(np.take_along_axis(ratio, np.take_along_axis(order, place[:, None], 1), 1)[:, 0])
