"""What a slot's record says that cannot be so: found, kept out of the date, told."""

from collections import defaultdict
from datetime import date
from typing import Any

import numpy as np

from equipment.curves import Medium
from schedules.finding_rows import Finding, found
from schedules.lives import Life, SlotFacts, carried, retired
from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.climate import day_of
from schedules.planning.forecast import FleetForecast
from schedules.planning.oddities import BELOW_CLEAN, Odd
from schedules.planning.visit_rules import (
    beyond_blower,
    grille_readings,
    high_when_new,
    highest_static,
    log_stopped,
)

# Notes of a plan that somebody should look into, dated by when the filter went in.
NOTED = ("nothing_left", "size_differs", "loads_fast")


def set_aside(slots: list[SlotFacts], media: dict[int, Medium], as_of: date) -> None:
    """Take out of every slot's lives the readings that are no filter's drop, and note them as findings."""
    for slot in slots:
        if any(life.readings for life in slot.lives) and not retired(slot.row, as_of):
            _beyond_blower(slot)
            _at_design(slot, media)


def note_silent_logs(slots: list[SlotFacts], runtime: list[tuple[int, date, float]], as_of: date) -> None:
    """Note the slots whose system's log has stopped; ``runtime`` holds system, day and hours."""
    logs: dict[int, list[int]] = defaultdict(list)
    for system, day, _hours in runtime:
        logs[system].append(day.toordinal())
    stopped = {
        system: max(days)
        for system, days in logs.items()
        if log_stopped(np.array(days, dtype=np.int64), as_of.toordinal())
    }
    for slot in slots:
        if slot.row.system_id in stopped and not retired(slot.row, as_of):
            slot.findings.append(found("log_stopped", [float(stopped[slot.row.system_id])], True))


def findings_of(
    slot: SlotFacts, place: int, result: FleetForecast, notes: list[str], as_of: date
) -> list[Finding]:
    """All findings of the slot at ``place`` of the forecast, those of the present filter first; some of a
    plan's ``notes`` are findings too."""
    odd = [_of_odd(one) for one in result.odd if one.slot == place]
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
    return None if np.isnan(value) else round(value, 3)


def _of_odd(odd: Odd) -> Finding:
    more: dict[str, Any] = {"seen_pa": round(odd.seen_pa, 3), "beside_pa": round(odd.beside_pa, 3)}
    if np.isfinite(odd.began):
        began = int(odd.began) - 1 if odd.began % 1 == 0 else int(odd.began)
        more |= {"began": day_of(began).isoformat(), "until": day_of(int(odd.until)).isoformat()}
    return found(odd.kind.name.lower(), [odd.at], odd.present, **more)


def _beyond_blower(slot: SlotFacts) -> None:
    system = slot.row.system
    highest = highest_static(system.blower_table, system.rated_external_static_pa)
    for life in slot.lives:
        drops = np.array([reading[1] for reading in life.readings], dtype=np.float64)
        beyond = beyond_blower(drops, highest)
        for row in np.flatnonzero(beyond):
            at, drop, _ = life.readings[row]
            slot.findings.append(
                found("beyond_blower", [at], life is slot.now, seen_pa=drop, beside_pa=highest)
            )
        _keep(life, ~beyond)


def _keep(life: Life, kept: Any) -> None:
    if not kept.all():
        life.readings = [reading for reading, stays in zip(life.readings, kept, strict=True) if stays]


def _at_design(slot: SlotFacts, media: dict[int, Medium]) -> None:
    """Readings below clean are told (planning leaves them out itself), those at a grille taken out."""
    rows: list[tuple[int, float, float, float, float]] = []
    for number, life in enumerate(slot.lives):
        medium = media.get(life.media or 0)
        if medium is None or medium.curve is None or np.isnan(slot.airflow_m3s) or not life.readings:
            continue
        clean_pa = float(medium.curve.clean_drop(np.array([slot.airflow_m3s]))[0])
        read = carried(slot, life, medium.curve)
        rows.extend((number, when, when - life.began, seen, clean_pa) for when, seen in read)
    if not rows:
        return
    life_of, at, age, drop, clean = (np.array(column) for column in zip(*rows, strict=True))
    _note_below(slot, life_of, at, drop, clean)
    known = np.array([slot.lives[number].known_start for number in life_of])
    right = known & (drop >= BELOW_CLEAN * clean)
    grille = np.zeros(len(rows), dtype=np.bool_)
    grille[right] = grille_readings(life_of[right], age[right], drop[right], clean[right])
    if grille.any():
        seen, beside = float(np.median(drop[grille])), float(np.median(clean[grille]))
        present = bool((life_of[grille] == len(slot.lives) - 1).any())
        slot.findings.append(found("grille", at[grille].tolist(), present, seen_pa=seen, beside_pa=beside))
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
    for row in np.flatnonzero(drop < BELOW_CLEAN * clean):
        present = bool(life_of[row] == len(slot.lives) - 1)
        seen, beside = float(drop[row]), float(clean[row])
        slot.findings.append(found("below_clean", [float(at[row])], present, seen_pa=seen, beside_pa=beside))
