"""Fan logs of next to no hours beside a meter that shows the filter loaded: how far each is believed.

A logger may count another fan, or tell minutes for hours. For a system that was read while its log told of
few hours the readings are weighed twice: by the log, and by what weather and the rest of the log make
likely on those days. Its hours are then those of both, by their odds; so no bound of hours or drops moves
a date by leaps.
"""

from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.evidence import evidence_of, face_velocity
from schedules.planning.facts import FleetFacts
from schedules.planning.fan import Fan, fan_hours
from schedules.planning.loading import HIGHEST_PA, Prior, dose_at, features
from schedules.planning.messages import Households
from schedules.planning.oddities import Odd, OddKind
from schedules.planning.pooling import learn

# Hours a day about a day, from which on its log is not doubted, and below which it is doubted wholly.
# Own bounds, as all here.
_ENOUGH_HOURS, _FEW_HOURS = 2.0, 1.0
_ABOUT_DAYS = 31
# Before any reading one log of few hours in twenty is wrong. A reading may be wrong itself, so that it weighs
# at most ten to one; those of one day count as one.
_ODDS_WRONG = 0.05
_MOST_A_READING = np.log(10.0)
# A reading of so little more than the clean drop says nothing against a log, nor does one that by the log
# asks for a pace of less than so much, in its logarithm, above such a filter's usual one.
_LOADED = 1.15
_FASTER = 1.0
_USUAL_SHAPE = np.array(0.7)
# Told from so much doubt on.
_TOLD_FROM = 0.3


@dataclass(frozen=True)
class Heard:
    """The fan hours by logs as far as they are believed, and the findings."""

    fan: Fan
    odd: list[Odd]


def heard(facts: FleetFacts, prior: Prior) -> Heard:
    """Fan hours of the fleet, logs of few hours weighed against the readings under ``prior``."""
    fan = fan_hours(facts.as_of, facts.weather, facts.systems)
    rows = _loaded_though_idle(facts, fan, prior)
    if not len(rows):
        return Heard(fan, [])
    system = facts.slots.system[facts.lives.slot[facts.readings.life[rows]]]
    suspect = np.unique(system)
    few, by_log = facts.of(suspect), fan.of(suspect)
    share = _share_of_few(few.systems.hours)
    without = np.where(share > 0.0, np.nan, few.systems.hours)
    otherwise = fan_hours(facts.as_of, few.weather, replace(few.systems, hours=without))
    most = _MOST_A_READING * _read_on_days(np.searchsorted(suspect, system), facts.readings.at[rows])
    gained = _evidence(few, otherwise, prior) - _evidence(few, by_log, prior)
    doubt = _doubt(np.minimum(gained, most)) * _of_those(share)
    of_all = np.zeros(len(fan.unlogged))
    of_all[suspect] = doubt
    return Heard(fan.put(suspect, _mixed(by_log, otherwise, doubt)), _told(facts, rows, of_all))


def _loaded_though_idle(facts: FleetFacts, fan: Fan, prior: Prior) -> IntArray:
    """Rows of the readings that stand higher than usual though the log has few hours since their filter went
    in."""
    read, lives, slots = facts.readings, facts.lives, facts.slots
    slot = lives.slot[read.life]
    began, clean = lives.began[read.life], lives.clean_pa[read.life]
    high = (clean > 0) & (read.drop_pa > _LOADED * clean) & ~np.isnan(slots.airflow_m3s[slot])
    rows = np.flatnonzero(high & (read.at > began))
    system, began, at = slots.system[slot[rows]], began[rows], read.at[rows]
    few = fan.until(system, at) - fan.until(system, began) < _ENOUGH_HOURS * (at - began)
    few &= fan.unlogged[system] < 1.0
    rows, system, began = rows[few], system[few], began[few]
    life, slot = read.life[rows], slot[rows]
    hours = fan.laden_until(system, read.at[rows]) - fan.laden_until(system, began)
    passed = np.maximum(hours * 3600 * face_velocity(slots)[slot], 1.0)
    needed = np.log(dose_at(read.drop_pa[rows] / lives.clean_pa[life], _USUAL_SHAPE) / passed)
    kind = features(lives.merv[life], slots.depth_m[slot], slots.pets[slot], slots.smokers[slot])
    return rows[needed > kind @ prior.coefficients + _FASTER]


def _share_of_few(hours: FloatArray) -> FloatArray:
    """By how much each logged day of ``hours`` [m, d] counts as one of few hours, by those about it."""
    known = ~np.isnan(hours)
    about = _about(np.where(known, hours, 0.0)) / np.maximum(_about(known.astype(np.float64)), 1.0)
    share = np.clip((_ENOUGH_HOURS - about) / (_ENOUGH_HOURS - _FEW_HOURS), 0.0, 1.0)
    return np.where(known, share, 0.0)


def _about(daily: FloatArray) -> FloatArray:
    """Sums [m, d] of the days about each."""
    days = daily.shape[1]
    totals = np.concatenate([np.zeros((len(daily), 1)), np.cumsum(daily, axis=1)], axis=1)
    place = np.arange(days)
    low, high = np.maximum(place - _ABOUT_DAYS // 2, 0), np.minimum(place + _ABOUT_DAYS // 2 + 1, days)
    return np.asarray(totals[:, high] - totals[:, low])


def _of_those(share: FloatArray) -> FloatArray:
    """Mean [m] of ``share`` [m, d], each day weighed by its own."""
    return np.asarray(np.square(share).sum(axis=1) / np.maximum(share.sum(axis=1), 1e-9))


def _read_on_days(system: IntArray, at: FloatArray) -> FloatArray:
    """On how many days, in parts where readings lie closer, each system was read, [systems]."""
    order = np.lexsort((at, system))
    system, at = system[order], at[order]
    apart = np.where(np.diff(system, prepend=-1) != 0, 1.0, np.minimum(np.diff(at, prepend=-np.inf), 1.0))
    return np.asarray(np.bincount(system, apart), dtype=np.float64)


def _evidence(facts: FleetFacts, fan: Fan, prior: Prior) -> FloatArray:
    """Log evidence [m] of the readings of each system by the hours of ``fan``, each slot by itself."""
    capped = replace(facts.readings, drop_pa=np.minimum(facts.readings.drop_pa, HIGHEST_PA))
    facts = replace(facts, readings=capped)
    found = evidence_of(facts, fan, face_velocity(facts.slots), prior)
    system = facts.slots.system
    apart = Households(np.arange(len(system)), fan.unlogged[system])
    told = learn(apart, found.lives, found.readings, prior).evidence
    return np.asarray(np.bincount(system, told, minlength=len(fan.unlogged)), dtype=np.float64)


def _doubt(gained: FloatArray) -> FloatArray:
    """Chance that a log is wrong whose readings are likelier without it by ``gained`` in log evidence."""
    odds = _ODDS_WRONG / (1.0 - _ODDS_WRONG) * np.exp(gained)
    return np.asarray(odds / (1.0 + odds))


def _mixed(by_log: Fan, otherwise: Fan, doubt: FloatArray) -> Fan:
    """Hours of both by their odds; what is not known of hours grows with them too."""
    part = doubt[:, None]

    def both(one: FloatArray | None, other: FloatArray | None) -> FloatArray | None:
        return None if one is None or other is None else (1.0 - part) * one + part * other

    return replace(
        by_log,
        running=(1.0 - part) * by_log.running + part * otherwise.running,
        ahead=(1.0 - part) * by_log.ahead + part * otherwise.ahead,
        unlogged=np.maximum(by_log.unlogged, (1.0 - doubt) * by_log.unlogged + doubt * otherwise.unlogged),
        laden=both(by_log.laden, otherwise.laden),
        surplus=both(by_log.surplus, otherwise.surplus),
    )


def _told(facts: FleetFacts, rows: IntArray, doubt: FloatArray) -> list[Odd]:
    """A finding at each slot of the doubted logs: its own newest reading that stands against the log, or
    the newest of its system."""
    read, lives, slots = facts.readings, facts.lives, facts.slots
    slot = lives.slot[read.life[rows]]
    by_time = np.argsort(read.at[rows], kind="stable")
    newest_of_system = np.full(len(doubt), -1)
    newest_of_system[slots.system[slot[by_time]]] = rows[by_time]
    newest = newest_of_system[slots.system]
    newest[slot[by_time]] = rows[by_time]
    mine = np.flatnonzero(slots.recorded & (doubt[slots.system] >= _TOLD_FROM))
    picked = newest[mine]
    columns = mine, read.at[picked], read.drop_pa[picked], lives.clean_pa[read.life[picked]]
    found = zip(*(column.tolist() for column in columns), strict=True)
    return [Odd(one, True, OddKind.IDLE_LOG, *rest) for one, *rest in found]
