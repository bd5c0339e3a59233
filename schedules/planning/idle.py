"""Fan logs of next to no hours beside a meter that shows the filter loaded: how far each is believed.

A logger may count another fan, or tell minutes for hours. For a system that was read while its log told of
few hours the readings are weighed twice: by the log, and by what weather and the rest of the log make
likely on those days. Its hours are then those of both, by their odds; so no bound of hours moves a date
by leaps.
"""

from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.evidence import evidence_of, face_velocity, since_change
from schedules.planning.facts import FleetFacts
from schedules.planning.fan import Fan, fan_hours
from schedules.planning.loading import Prior, dose_at, features_of
from schedules.planning.messages import Households
from schedules.planning.oddities import Odd, OddKind, scatter, within_reach
from schedules.planning.pooling import learn

# Hours a day about a day, from which on its log is not doubted, and below which it is doubted wholly.
# Own bounds, as all here.
_ENOUGH_HOURS, _FEW_HOURS = 3.0, 1.0
_ABOUT_DAYS = 31
# Before any reading one log of few hours in twenty is wrong. A reading may be wrong itself, so that it weighs
# at most ten to one; those of one day count as one.
_ODDS_WRONG = 0.05
_MOST_A_READING = np.log(10.0)
# Of what the evidence has to say beyond that so much counts.
_BEYOND = 0.1
# A reading, less the meter's scatter, says nothing against a log that by it asks for a pace of less than so
# much, in its logarithm, above such a filter's usual one, and all it has to say from so much on.
_FASTER, _MUCH_FASTER = 1.0, 2.0
_USUAL_SHAPE = np.array(0.7)
_LEAST_DOSE = 1e-12
# Told from so much doubt on.
_TOLD_FROM = 0.3


@dataclass(frozen=True)
class Heard:
    """The fan hours by logs as far as they are believed; the chance that its log is wrong on days of a
    slot's present filter or to come, ``doubt`` [n]; and the findings."""

    fan: Fan
    doubt: FloatArray
    odd: list[Odd]


def heard(facts: FleetFacts, prior: Prior) -> Heard:
    """Fan hours of the fleet, logs of few hours weighed against the readings under ``prior``."""
    facts, fan = within_reach(facts), fan_hours(facts.as_of, facts.weather, facts.systems)
    against = _against(facts, fan, prior)
    if not len(against.rows):
        return Heard(fan, np.zeros(len(facts.slots.system)), [])
    suspect = np.unique(against.system)
    few, by_log = facts.of(suspect), fan.of(suspect)
    share = _share_of_few(few.systems.hours)
    without = np.where(share > 0.0, np.nan, few.systems.hours)
    otherwise = fan_hours(facts.as_of, few.weather, replace(few.systems, hours=without))
    most = _MOST_A_READING * _read_on_days(against, facts.readings.at[against.rows])
    gained = _evidence(few, otherwise, prior) - _evidence(few, by_log, prior)
    doubt = _doubt(gained, most) * _of_those(share)
    of_slots = np.zeros(len(facts.slots.system))
    mine = np.flatnonzero(np.isin(facts.slots.system, suspect))
    of_slots[mine] = doubt[few.slots.system] * _lately(few, share)
    mixed = fan.put(suspect, by_log.mixed(otherwise, doubt))
    return Heard(mixed, of_slots, _told(facts, against, of_slots))


def _lately(facts: FleetFacts, share: FloatArray) -> BoolArray:
    """Whether a day of few hours [n] lies in the present filter's life or in the month that is ending."""
    days = share.shape[1]
    began = np.floor(facts.slots.began).astype(np.int64) - facts.systems.first_day
    since = np.clip(np.minimum(began, days - _ABOUT_DAYS), 0, days - 1)
    last = days - 1 - np.argmax(share[:, ::-1] > 0.0, axis=1)
    last[~(share > 0.0).any(axis=1)] = -1
    return np.asarray(last[facts.slots.system] >= since)


@dataclass(frozen=True)
class _Against:
    """Rows of the readings that stand against their system's log, the systems, and by how much they count."""

    rows: IntArray
    system: IntArray
    counts: FloatArray


def _against(facts: FleetFacts, fan: Fan, prior: Prior) -> _Against:
    """The readings that stand higher than usual though the log has few hours since their filter went in."""
    read, lives, slots = facts.readings, facts.lives, facts.slots
    slot = lives.slot[read.life]
    began, clean = lives.began[read.life], lives.clean_pa[read.life]
    high = (clean > 0) & (read.drop_pa > clean) & ~np.isnan(slots.airflow_m3s[slot]) & (read.at > began)
    rows = np.flatnonzero(high & (fan.unlogged[slots.system[slot]] < 1.0))
    ran = since_change(facts, fan.until, rows)
    rows = rows[ran < _ENOUGH_HOURS * (read.at[rows] - began[rows])]
    passed = since_change(facts, fan.laden_until, rows) * 3600 * face_velocity(slots)[slot[rows]]
    drop = read.drop_pa[rows] - scatter(clean[rows])
    dose = dose_at(drop / clean[rows], _USUAL_SHAPE)
    needed = np.log(np.maximum(dose, _LEAST_DOSE) / np.maximum(passed, 1.0))
    usual = features_of(slots, slot[rows], lives.merv[read.life[rows]]) @ prior.coefficients
    faster = needed - usual
    counts = np.clip((faster - _FASTER) / (_MUCH_FASTER - _FASTER), 0.0, 1.0)
    some = counts > 0.0
    return _Against(rows[some], slots.system[slot[rows[some]]], counts[some])


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


def _read_on_days(against: _Against, at: FloatArray) -> FloatArray:
    """On how many days, in parts where readings lie closer or count less, each system was read, [systems]."""
    place = np.unique(against.system, return_inverse=True)[1]
    order = np.lexsort((at, place))
    place, at = place[order], at[order]
    apart = np.where(np.diff(place, prepend=-1) != 0, 1.0, np.minimum(np.diff(at, prepend=-np.inf), 1.0))
    return np.asarray(np.bincount(place, apart * against.counts[order]), dtype=np.float64)


def _evidence(facts: FleetFacts, fan: Fan, prior: Prior) -> FloatArray:
    """Log evidence [m] of the readings of each system by the hours of ``fan``, each slot by itself."""
    found = evidence_of(facts, fan, face_velocity(facts.slots), prior)
    system = facts.slots.system
    apart = Households(np.arange(len(system)), fan.unknown[system])
    told = learn(apart, found.lives, found.readings, prior).evidence
    return np.asarray(np.bincount(system, told, minlength=len(fan.unlogged)), dtype=np.float64)


def _doubt(gained: FloatArray, most: FloatArray) -> FloatArray:
    """Chance that a log is wrong whose readings are likelier without it by ``gained`` in log evidence, of
    which what lies beyond ``most`` hardly counts."""
    told = np.minimum(gained, most + _BEYOND * np.maximum(gained - most, 0.0))
    odds = _ODDS_WRONG / (1.0 - _ODDS_WRONG) * np.exp(told)
    return np.asarray(odds / (1.0 + odds))


def _told(facts: FleetFacts, against: _Against, doubt: FloatArray) -> list[Odd]:
    """A finding at each slot of the doubted logs, whose ``doubt`` [n] is given: its own newest reading that
    stands against the log, or the newest of its system."""
    read, lives, slots = facts.readings, facts.lives, facts.slots
    rows = against.rows[np.argsort(read.at[against.rows], kind="stable")]
    slot = lives.slot[read.life[rows]]
    newest_of_system = np.full(slots.system.max() + 1, -1)
    newest_of_system[slots.system[slot]] = rows
    newest = newest_of_system[slots.system]
    newest[slot] = rows
    mine = np.flatnonzero(slots.recorded & (doubt >= _TOLD_FROM))
    picked = newest[mine]
    columns = mine, read.at[picked], read.drop_pa[picked], lives.clean_pa[read.life[picked]]
    found = zip(*(column.tolist() for column in columns), strict=True)
    return [Odd(one, True, OddKind.IDLE_LOG, *rest) for one, *rest in found]
