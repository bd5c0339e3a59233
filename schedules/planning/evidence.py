"""Lives and readings of a fleet in exposure: how much air each filter had passed, and what it read then."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.facts import FleetFacts, Slots
from schedules.planning.fan import Fan
from schedules.planning.loading import Lives, Prior, Readings, features_of
from schedules.planning.messages import Households
from schedules.planning.oddities import below_clean, counts
from schedules.planning.pooling import learn
from schedules.planning.runtime import USUAL_DAILY_HOURS

# Dose a filter may already have when the record finds it, as a share of half a usual year's exposure.
_EARLIER_SHARES = (0.0, 0.1, 0.25, 0.45, 0.7)
_USUAL_VELOCITY_MS = 1.5


@dataclass(frozen=True)
class Evidence:
    """Lives and readings in exposure, as learning wants them, with the readings' instants ``at``;
    ``earlier_m`` [n] is what each filter had passed before the record found it."""

    lives: Lives
    readings: Readings
    at: FloatArray
    earlier_m: FloatArray


def face_velocity(slots: Slots) -> FloatArray:
    """Face velocity in m/s of each slot's filter, a usual one where its airflow is unknown."""
    velocity = slots.airflow_m3s / slots.area_m2
    return np.where(np.isnan(velocity), _USUAL_VELOCITY_MS, velocity)


def evidence_of(facts: FleetFacts, fan: Fan, velocity: FloatArray, prior: Prior) -> Evidence:
    """``facts`` in exposure by the hours of ``fan`` at face ``velocity`` [n]; ``prior`` weighs what a filter
    of unknown age had passed before."""
    slots, rows = facts.slots, facts.lives
    system = slots.system[rows.slot]
    ended = np.append(rows.began[1:], 0.0)
    ended[rows.current] = facts.as_of + 1.0
    passed = fan.laden_until(system, ended) - fan.laden_until(system, rows.began)
    passed = passed * 3600 * velocity[rows.slot]
    lives = Lives(
        rows.slot,
        features_of(slots, rows.slot, rows.merv),
        np.where(rows.clean_pa > 0, rows.clean_pa, 1.0),
        passed,
        rows.current,
    )
    readings, at = _in_exposure(facts, fan, velocity)
    earlier = _earlier_exposure(slots, lives, readings, fan.unknown[slots.system], prior, velocity)
    added = np.where(lives.current, earlier[lives.slot], 0.0)
    shifted = replace(readings, exposure_m=readings.exposure_m + added[readings.life])
    return Evidence(replace(lives, end_m=passed + added), shifted, at, earlier)


def _in_exposure(facts: FleetFacts, fan: Fan, velocity: FloatArray) -> tuple[Readings, FloatArray]:
    """The usable readings, each at the exposure since its life began, and their instants."""
    slots, lives, rows = facts.slots, facts.lives, facts.readings
    slot = lives.slot[rows.life]
    hours = since_change(facts, fan.laden_until, slice(None))
    keep = (lives.clean_pa[rows.life] > 0) & ~np.isnan(slots.airflow_m3s[slot]) & ~below_clean(facts)
    exposure = np.maximum(hours * 3600 * velocity[slot], 1.0)
    return Readings(rows.life, exposure, rows.drop_pa, counts(facts)).of(keep), rows.at[keep]


def since_change(
    facts: FleetFacts, until: Callable[[IntArray, FloatArray], FloatArray], rows: IntArray | slice
) -> FloatArray:
    """Hours by ``until`` from each filter's change to the readings ``rows``."""
    life = facts.readings.life[rows]
    system = facts.slots.system[facts.lives.slot[life]]
    return until(system, facts.readings.at[rows]) - until(system, facts.lives.began[life])


def _earlier_exposure(
    slots: Slots, lives: Lives, seen: Readings, unlogged: FloatArray, prior: Prior, velocity: FloatArray
) -> FloatArray:
    """Mean exposure before the first record, weighed by how well each supposition explains the readings."""
    n = len(slots.system)
    unknown = slots.recorded & ~slots.began_known
    mine = np.flatnonzero(lives.current & unknown[lives.slot])
    if not len(mine):
        return np.zeros(n)
    half_year = USUAL_DAILY_HOURS * 182 * 3600 * velocity[lives.slot[mine]]
    place = np.full(len(lives.slot), -1)
    place[mine] = np.arange(len(mine))
    of_mine = place[seen.life] >= 0
    few = Lives(
        np.arange(len(mine)),
        lives.features[mine],
        lives.clean_pa[mine],
        lives.end_m[mine],
        lives.current[mine],
    )
    life = place[seen.life[of_mine]]
    scores = []
    for share in _EARLIER_SHARES:
        added = share * half_year
        some = seen.of(of_mine)
        read = replace(some, life=life, exposure_m=some.exposure_m + added[life])
        aged = replace(few, end_m=few.end_m + added)
        apart = Households(np.arange(len(mine)), unlogged[lives.slot[mine]])
        scores.append(learn(apart, aged, read, prior).evidence)
    weight = np.exp(np.array(scores) - np.max(scores, axis=0))
    mean = (weight * np.array(_EARLIER_SHARES)[:, None]).sum(axis=0) / weight.sum(axis=0)
    out = np.zeros(n)
    out[lives.slot[mine]] = mean * half_year
    return out
