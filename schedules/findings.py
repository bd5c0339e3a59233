"""What a slot's record says that cannot be so: found, kept out of the date, told."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import compress
from typing import Any

import numpy as np

from equipment.curves import Medium
from equipment.fan_log import FanLog
from schedules.finding_rows import Finding, found
from schedules.lives import Life, SlotFacts, carry_all
from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.climate import day_of
from schedules.planning.oddities import BELOW_CLEAN, HARDLY_CLEAN, Odd
from schedules.planning.visit_rules import (
    beyond_blower,
    grille_readings,
    high_when_new,
    highest_static,
    log_stopped,
    odd_one_by_one,
    stands_high,
)

# Notes of a plan that somebody should look into, dated by when the filter went in.
NOTED = ("nothing_left", "size_differs", "loads_fast")


def set_aside(slots: list[SlotFacts], media: dict[int, Medium], as_of: date) -> None:
    """Carry the readings of all lives to design airflow, take out those that are no filter's drop, and note
    them as findings."""
    read = [slot for slot in slots if not slot.ended and any(life.readings for life in slot.lives)]
    for slot in read:
        _beyond_blower(slot)
    carry_all(slots, media)
    for slot in _worth_a_look(read):
        _at_design(slot)


def note_silent_logs(slots: list[SlotFacts], log: FanLog, as_of: date) -> None:
    """Note the slots whose system's log has stopped."""
    systems, of = np.unique(log.system, return_inverse=True)
    last = np.zeros(len(systems), dtype=np.int64)
    np.maximum.at(last, of, log.day)
    silent = log_stopped(np.bincount(of, minlength=len(systems)), last, as_of.toordinal())
    stopped = dict(zip(systems[silent].tolist(), last[silent].tolist(), strict=True))
    for slot in slots:
        if slot.row.system_id in stopped and not slot.ended:
            slot.findings.append(found("log_stopped", [float(stopped[slot.row.system_id])], True))


def findings_of(slot: SlotFacts, odd_readings: Sequence[Odd], notes: list[str], as_of: date) -> list[Finding]:
    """All findings of a slot of whose readings some are odd, those of the present filter first; some of a
    plan's ``notes`` are findings too."""
    odd = [_of_odd(one) for one in odd_readings]
    clean = _number(slot.clean_pa)
    noted = [found(note, [slot.now.began], True, beside_pa=clean) for note in notes if note in NOTED]
    noted.extend(_look_due(slot, as_of))
    every = sorted([*slot.findings, *odd, *noted], key=lambda finding: finding["on"], reverse=True)
    return sorted(every, key=lambda finding: not finding["present"])


def _look_due(slot: SlotFacts, as_of: date) -> list[Finding]:
    """A filter that is in for a while and that nobody has read since, by the day somebody was to look."""
    if slot.look_by is None or slot.look_by > as_of:
        return []
    looked = any(reading[0] > slot.now.began + 1 for reading in slot.now.readings)
    until = slot.out_by.isoformat() if slot.out_by else None
    return [] if looked else [found("look_due", [float(slot.look_by.toordinal())], True, until=until)]


def _number(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 3)


def _of_odd(odd: Odd) -> Finding:
    more: dict[str, Any] = {"seen_pa": round(odd.seen_pa, 3), "beside_pa": round(odd.beside_pa, 3)}
    if np.isfinite(odd.began):
        began = int(odd.began) - 1 if odd.began % 1 == 0 else int(odd.began)
        more |= {"began": day_of(began).isoformat(), "until": day_of(int(odd.until)).isoformat()}
    return found(odd.kind.name.lower(), [odd.at], odd.present, **more)


def _beyond_blower(slot: SlotFacts) -> None:
    system = slot.system
    highest = highest_static(system.blower_table, system.rated_external_static_pa)
    if np.isinf(highest):
        return
    for life in slot.lives:
        beyond = beyond_blower(np.array([reading[1] for reading in life.readings]), highest)
        for row in np.flatnonzero(beyond):
            at, drop, _ = life.readings[row]
            slot.findings.append(
                found("beyond_blower", [at], life is slot.now, seen_pa=drop, beside_pa=highest)
            )
        _keep(life, ~beyond)


def _keep(life: Life, kept: Any) -> None:
    if not kept.all():
        life.readings = list(compress(life.readings, kept))
        life.at_design = list(compress(life.at_design, kept))


@dataclass(frozen=True)
class _Seen:
    """Readings of lives whose clean drop is known: number of the life, whether its start is known, instant,
    age in days, drop and clean drop at design airflow in Pa."""

    life: IntArray
    known: BoolArray
    at: FloatArray
    age: FloatArray
    drop: FloatArray
    clean: FloatArray


def _seen(slots: Iterable[SlotFacts]) -> tuple[IntArray, _Seen]:
    """The place among ``slots`` of every such reading, and the readings."""
    rows = [
        (
            place,
            number,
            life.known_start,
            reading[0],
            reading[0] - life.began,
            drop,
            slot.clean_of[life.media or 0],
        )
        for place, slot in enumerate(slots)
        for number, life in enumerate(slot.lives)
        if life.media in slot.clean_of
        for reading, drop in zip(life.readings, life.at_design, strict=True)
    ]
    place, life, known, *rest = zip(*rows, strict=True) if rows else ([],) * 7
    floats = (np.array(column, dtype=np.float64) for column in rest)
    seen = _Seen(np.array(life, dtype=np.int64), np.array(known, dtype=np.bool_), *floats)
    return np.array(place, dtype=np.int64), seen


def _worth_a_look(slots: list[SlotFacts]) -> list[SlotFacts]:
    """The slots among whose readings there may be a finding: most have none, and looking costs."""
    place, seen = _seen(slots)
    if not len(place):
        return []
    odd = odd_one_by_one(seen.age, seen.drop, seen.clean)
    high = np.bincount(place, seen.known & stands_high(seen.drop, seen.clean), len(slots))
    count = np.bincount(place, seen.known, len(slots))
    chosen = (np.bincount(place, odd, len(slots)) > 0) | ((count > 1) & (high == count))
    return [slots[number] for number in np.flatnonzero(chosen)]


def _at_design(slot: SlotFacts) -> None:
    """Readings below clean are told (planning leaves them out or in part itself), those at a grille taken
    out."""
    _place, seen = _seen([slot])
    life_of, at, drop, clean = seen.life, seen.at, seen.drop, seen.clean
    _note_below(slot, life_of, at, drop, clean)
    right = seen.known & (drop >= BELOW_CLEAN * clean)
    grille = np.zeros(len(at), dtype=np.bool_)
    grille[right] = grille_readings(life_of[right], seen.age[right], drop[right], clean[right])
    if grille.any():
        middle, beside = float(np.median(drop[grille])), float(np.median(clean[grille]))
        present = bool((life_of[grille] == len(slot.lives) - 1).any())
        slot.findings.append(found("grille", at[grille].tolist(), present, seen_pa=middle, beside_pa=beside))
        for number, life in enumerate(slot.lives):
            marked = set(at[grille & (life_of == number)].tolist())
            _keep(life, np.array([reading[0] not in marked for reading in life.readings], dtype=np.bool_))
    mine = right & ~grille & (life_of == len(slot.lives) - 1)
    if mine.any():
        _note_high(slot, life_of[mine], at[mine], drop[mine], clean[mine])


def _note_high(
    slot: SlotFacts, life_of: IntArray, at: FloatArray, drop: FloatArray, clean: FloatArray
) -> None:
    """The present filter stood far above clean when it was new: told, and left to the date's own weighing."""
    high = np.flatnonzero(high_when_new(life_of, at - slot.now.began, drop, clean))
    if len(high):
        seen, beside = float(np.median(drop[high])), float(clean[high[0]])
        slot.findings.append(found("high_new", at[high].tolist(), True, seen_pa=seen, beside_pa=beside))


def _note_below(
    slot: SlotFacts, life_of: IntArray, at: FloatArray, drop: FloatArray, clean: FloatArray
) -> None:
    for row in np.flatnonzero(drop < HARDLY_CLEAN * clean):
        present = bool(life_of[row] == len(slot.lives) - 1)
        seen, beside = float(drop[row]), float(clean[row])
        kind = "below_clean" if seen < BELOW_CLEAN * beside else "hardly_clean"
        slot.findings.append(found(kind, [float(at[row])], present, seen_pa=seen, beside_pa=beside))
