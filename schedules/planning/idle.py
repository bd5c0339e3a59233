"""Fan logs that cannot be: hardly an hour since the filter went in, and yet the meter shows it loaded."""

from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.facts import FleetFacts
from schedules.planning.fan import Fan, fan_hours
from schedules.planning.oddities import Odd, OddKind, scatter

# A fan of fewer hours a day hardly moves air: fifteen minutes. Own bounds.
_IDLE_HOURS = 0.25
_AGE_DAYS = 7.0
_LOADED = 1.4
_SIGMAS = 3.5
# One reading may be wrong; two of different days tell of the log.
_DAYS_TO_TELL = 2


@dataclass(frozen=True)
class Heard:
    """Facts with the logs that are believed, the fan hours by them, and the findings."""

    facts: FleetFacts
    fan: Fan
    odd: list[Odd]


def heard(facts: FleetFacts) -> Heard:
    """``facts`` without the hours since their change that two readings of the present filter or more
    contradict."""
    fan = fan_hours(facts.as_of, facts.weather, facts.systems)
    rows = _loaded_though_idle(facts, fan)
    slot = facts.lives.slot[facts.readings.life[rows]]
    idle = _read_on_days(slot, facts.readings.at[rows], len(facts.slots.system)) >= _DAYS_TO_TELL
    if not idle.any():
        return Heard(facts, fan, [])
    told = _told(facts, rows[idle[slot]])
    facts = _without_idle_hours(facts, np.flatnonzero(idle))
    return Heard(facts, fan_hours(facts.as_of, facts.weather, facts.systems), told)


def _read_on_days(slot: IntArray, at: FloatArray, count: int) -> IntArray:
    """On how many days each of ``count`` slots was read, [count]."""
    days = np.unique(np.stack([slot, np.floor(at).astype(np.int64)]), axis=1)
    return np.bincount(days[0], minlength=count)


def _told(facts: FleetFacts, rows: IntArray) -> list[Odd]:
    read, life = facts.readings, facts.readings.life[rows]
    columns = facts.lives.slot[life], read.at[rows], read.drop_pa[rows], facts.lives.clean_pa[life]
    findings = zip(*(column.tolist() for column in columns), strict=True)
    return [Odd(slot, True, OddKind.IDLE_LOG, *rest) for slot, *rest in findings]


def _without_idle_hours(facts: FleetFacts, slots: IntArray) -> FleetFacts:
    """The logs of these few slots' systems end with their changes; one that was idle before as well never
    told anything."""
    hours = facts.systems.hours.copy()
    for slot in slots.tolist():
        log = hours[facts.slots.system[slot]]
        since = max(int(facts.slots.began[slot]) - facts.systems.first_day, 0)
        before = log[:since][~np.isnan(log[:since])]
        log[since if before.size and before.mean() > _IDLE_HOURS else 0 :] = np.nan
    return replace(facts, systems=replace(facts.systems, hours=hours))


def _loaded_though_idle(facts: FleetFacts, fan: Fan) -> IntArray:
    """Rows of the readings of present filters that stand high while the log has next to no hours."""
    read, lives = facts.readings, facts.lives
    rows = np.flatnonzero(lives.current[read.life])
    life = read.life[rows]
    clean, seen = lives.clean_pa[life], read.drop_pa[rows]
    high = (clean > 0) & (seen > _LOADED * clean + _SIGMAS * scatter(clean))
    rows, life = rows[high], life[high]
    system, began, at = facts.slots.system[lives.slot[life]], lives.began[life], read.at[rows]
    ran = fan.until(system, at) - fan.until(system, began)
    known = facts.slots.began_known[lives.slot[life]]
    return rows[known & (at - began > _AGE_DAYS) & (ran < _IDLE_HOURS * (at - began))]
