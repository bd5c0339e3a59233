"""How good dates are: coverage, pinball loss and median error over slots not yet past their limit."""

import csv
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.rehearsal.fleet import Fleet
from schedules.rehearsal.future import HORIZON_DAYS, oracle, truth
from schedules.rehearsal.sheets import slot_name

CHANCES = (0.1, 0.5, 0.9)
SIX_MONTHS = 182.0
# The number of run-hours that loses least on fleets of seeds 1 to 5, so that the habit is seen at its best.
RUN_HOURS = 700.0


@dataclass(frozen=True)
class Promise:
    """Days [3, slots] from the as-of day at 10, 50 and 90 %, nothing beyond ten years."""

    days: FloatArray


def clipped(days: FloatArray) -> FloatArray:
    """Days within nought and the horizon; what is not said counts as the horizon."""
    return np.clip(np.where(np.isnan(days), HORIZON_DAYS, days), 0.0, HORIZON_DAYS)


def read_promise(path: Path, fleet: Fleet) -> tuple[Promise, BoolArray]:
    """The dates of a file that ``forecast --out`` wrote for the fleet's sheets, and of which slots anything
    was said: those without any record are honestly left open."""
    with path.open(encoding="utf-8") as file:
        rows = {row["filter_slot"]: row for row in csv.DictReader(file)}
    days = np.full((3, fleet.count), np.nan)
    said = np.ones(fleet.count, dtype=np.bool_)
    for slot in range(fleet.count):
        row = rows[slot_name(slot)]
        said[slot] = row["reason"] != "unknown"
        for place, column in enumerate(("p10_on", "p50_on", "p90_on")):
            if row[column]:
                days[place, slot] = date.fromisoformat(row[column]).toordinal() - fleet.as_of
    return Promise(clipped(days)), said


def perfect(fleet: Fleet, draws: int = 100) -> Promise:
    """What the oracle promises."""
    told = oracle(fleet, draws)
    return Promise(clipped(np.stack([told.p10, told.p50, told.p90])))


@dataclass(frozen=True)
class Known:
    """What a desk knows of each slot, [slots]: for splitting scores and for the habits of the trade."""

    readings: IntArray
    past_lives: IntArray
    logged: BoolArray
    since: FloatArray
    run_hours: FloatArray
    share: FloatArray


def known(fleet: Fleet, logged: BoolArray) -> Known:
    """Readings since the last reported change, reported changes, days and true fan hours since then."""
    last = fleet.began[fleet.plant.slots.house].astype(np.int64)
    lives = np.zeros(fleet.count, dtype=np.int64)
    for slot, day, _, _ in fleet.record.changes:
        last[slot] = max(last[slot], day)
        lives[slot] += 1
    readings = np.zeros(fleet.count, dtype=np.int64)
    for slot, day, _, _, _ in fleet.record.readings:
        readings[slot] += day > last[slot]
    running = np.concatenate(
        [np.zeros((len(fleet.record.hours), 1)), np.cumsum(fleet.record.hours, axis=1)], axis=1
    )
    house = fleet.plant.slots.house
    ran = running[house, -1] - running[house, np.clip(last - fleet.start + 1, 0, running.shape[1] - 1)]
    clean = fleet.plant.media.true_clean(fleet.plant.slots.medium, fleet.design)
    share = (fleet.drop_now() - clean) / np.maximum(fleet.limit_pa - clean, 1e-9)
    return Known(readings, lives, logged[house], (fleet.as_of - last).astype(np.float64), ran, share)


def six_months(what: Known) -> Promise:
    """The calendar habit: the same day at every chance."""
    return Promise(np.tile(clipped(SIX_MONTHS - what.since), (3, 1)))


def run_hours(what: Known, daily: FloatArray) -> Promise:
    """The hour meter's habit: ``RUN_HOURS`` since the change at ``daily`` hours a day [slots]."""
    return Promise(np.tile(clipped((RUN_HOURS - what.run_hours) / np.maximum(daily, 0.05)), (3, 1)))


@dataclass(frozen=True)
class Score:
    """Over ``count`` slots: share of truths within 10-90 %, mean pinball loss and median error in days."""

    count: int
    coverage: float
    pinball: float
    median_error: float


def score(promise: Promise, happened: FloatArray, chosen: BoolArray) -> Score:
    """The score of ``promise`` over the slots ``chosen``; ``happened`` is days to the limit."""
    told, days = promise.days[:, chosen], clipped(happened[chosen])
    inside = (told[0] <= days) & (days <= told[2])
    gap = days - told
    loss = np.where(gap >= 0, np.array(CHANCES)[:, None] * gap, (np.array(CHANCES)[:, None] - 1) * gap)
    error = np.abs(days - told[1])
    return Score(int(chosen.sum()), float(inside.mean()), float(loss.mean()), float(np.median(error)))


def splits(what: Known, happened: FloatArray) -> dict[str, BoolArray]:
    """The slots to score, whole and by what is known of them. Slots already past their limit are left out."""
    ahead = happened > 0
    parts = {
        "all": np.ones(len(happened), dtype=bool),
        "no reading": what.readings == 0,
        "one reading": what.readings == 1,
        "several readings": what.readings > 1,
        "past lives": what.past_lives > 0,
        "first life": what.past_lives == 0,
        "log": what.logged,
        "no log": ~what.logged,
        "near": what.share >= 0.5,
        "far": what.share < 0.5,
    }
    return {name: ahead & part for name, part in parts.items()}


@dataclass
class Pool:
    """Promises and truths of several fleets, laid end to end."""

    promises: dict[str, list[FloatArray]]
    happened: list[FloatArray]
    parts: dict[str, list[BoolArray]]

    @classmethod
    def empty(cls) -> "Pool":
        """Nothing yet."""
        return cls({}, [], {})

    def add(self, fleet: Fleet, what: Known, promises: dict[str, Promise], said: BoolArray) -> None:
        """Take in one fleet; slots of which nothing was ``said`` are scored for nobody."""
        happened = truth(fleet)
        self.happened.append(happened)
        for name, promise in promises.items():
            self.promises.setdefault(name, []).append(promise.days)
        for name, part in splits(what, happened).items():
            self.parts.setdefault(name, []).append(part & said)

    def scores(self) -> Iterable[tuple[str, str, Score]]:
        """Split, forecaster and score, pooled over the fleets."""
        happened = np.concatenate(self.happened)
        for split, parts in self.parts.items():
            chosen = np.concatenate(parts)
            if chosen.any():
                for name, days in self.promises.items():
                    yield split, name, score(Promise(np.concatenate(days, axis=1)), happened, chosen)
