"""Fan logs that cannot be: hardly an hour since the filter went in, and yet the meter shows it loaded."""

from dataclasses import dataclass, replace

import numpy as np

from schedules.planning.arrays import IntArray
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
    if not len(rows):
        return Heard(facts, fan, [])
    read = facts.readings
    life = read.life[rows]
    slot = facts.lives.slot[life]
    pairs = np.unique(np.stack([slot, np.floor(read.at[rows]).astype(np.int64)]), axis=1)
    often = np.bincount(pairs[0], minlength=len(facts.slots.system)) >= _DAYS_TO_TELL
    told = [
        Odd(int(one), True, OddKind.IDLE_LOG, float(at), float(seen), float(clean))
        for one, at, seen, clean in zip(
            slot, read.at[rows], read.drop_pa[rows], facts.lives.clean_pa[life], strict=True
        )
        if often[one]
    ]
    if not told:
        return Heard(facts, fan, [])
    hours = facts.systems.hours.copy()
    for one in np.flatnonzero(often).tolist():
        log = hours[facts.slots.system[one]]
        since = max(int(facts.slots.began[one]) - facts.systems.first_day, 0)
        before = log[:since][~np.isnan(log[:since])]
        # A log that was idle before as well never told anything.
        log[since if before.size and before.mean() > _IDLE_HOURS else 0 :] = np.nan
    facts = replace(facts, systems=replace(facts.systems, hours=hours))
    return Heard(facts, fan_hours(facts.as_of, facts.weather, facts.systems), told)


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
