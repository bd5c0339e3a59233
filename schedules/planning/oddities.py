"""Readings that one filter's life cannot explain: a jump, a dip, or a fall that tells of a change.

A filter only loads, so a drop that falls by more than the meter's noise has a cause. Three are weighed
for every life with such a fall: one reading that is wrong, a change that nobody wrote down, or noise
after all. Each is fitted with growth curves over pace, shape and lasting factor; the odds before the
readings are our own estimates: one reading in fifty is wrong, one interval in thirty hides a change.
Only lives with a fall are fitted, so a night's work stays that of the arrays.
"""

from dataclasses import dataclass, replace
from enum import IntEnum

import numpy as np

from schedules.planning.arrays import BoolArray, FloatArray, IntArray, SingleArray, rows_of
from schedules.planning.facts import FleetFacts, LifeRows, ReadingRows, Slots
from schedules.planning.fan import Fan
from schedules.planning.loading import (
    HIGHEST_PA,
    METER_PA,
    METHOD_SHARE,
    Prior,
    features_of,
    growth,
    growth_in_single,
)

# A reading under this share of the clean drop is more than meter and method away from it.
BELOW_CLEAN = 0.6
# Under this one it is told, though it counts in part.
HARDLY_CLEAN = 0.75
# With a lasting factor of 0.84 and a meter's hundredth a clean filter reads as little as this.
_WELL_ABOVE = 0.8
# Two readings of one visit lie within half a day, and differ beyond so many deviations of both.
_ONE_VISIT_DAYS = 0.5
_ONE_VISIT_SIGMAS = 3.0
# Standard deviations of two readings' difference by which a drop must fall to be looked at.
_FALL_SIGMAS = 2.5
_FEW_BEFORE = 3
# The odds, as twice a negative logarithm, and by how much a cause must beat mere noise.
_WRONG_READING = 2 * np.log(50)
_HIDDEN_CHANGE = 2 * np.log(30)
_MARGIN = 5.0
# The last so many readings of a life are looked at; more than that in one life is a logger's work.
MOST_READINGS = 16
_ROUNDS = 3
_AT_ONCE = 64
_PACES = np.arange(-2.6, 2.61, 0.2)
_PACE_SPREAD = 0.75
_LIFE_SPREAD = 0.3 * np.sqrt(2)
# Curves are all pairs of shape and lasting factor, shape by shape.
_SHAPES = np.array([0.3, 1.8], dtype=np.float32)
_LOG_FACTORS = np.array([-0.15, 0.0, 0.15], dtype=np.float32)
_CURVES = len(_SHAPES) * len(_LOG_FACTORS)
_FACTOR_SPREAD = 0.12
# Far beyond what a blower moves.
_MOST_GROWN = np.float32(50.0)
_PARTS = (0.05, 0.5, 0.95)
# Exposure in m a filter may have passed before the record found it: shares of half a usual year.
_EARLIER_M = np.array([0.0, 1.2e6, 3.2e6])


class OddKind(IntEnum):
    """What a reading that does not fit is taken for."""

    JUMP = 1
    DIP = 2
    FALL = 3
    DOUBTED = 4
    APART = 5
    ABOVE_LABEL = 6
    BELOW_LABEL = 7
    IDLE_LOG = 8
    UNDER_EARLIER = 9


@dataclass(frozen=True)
class Odd:
    """A finding: slot row, whether in its present life by the record, the instant of the reading
    (ordinal), what it read and what its life would explain, in Pa; of a fall the instants of the last
    high and the first low reading and the instant from which a new filter is supposed."""

    slot: int
    present: bool
    kind: OddKind
    at: float
    seen_pa: float
    beside_pa: float
    until: float = np.nan
    began: float = np.nan


@dataclass(frozen=True)
class Screened:
    """Facts without the readings and with the lives that the findings speak of."""

    facts: FleetFacts
    odd: list[Odd]


def screen(facts: FleetFacts, fan: Fan, velocity_ms: FloatArray) -> Screened:
    """``facts`` as they may date a filter: wrong readings left out, a life that hides a change parted.

    The new part of a present life has no known start: its dose so far is weighed by its readings. What no
    meter shows is taken for the highest that one does.
    """
    odd: list[Odd] = []
    facts = within_reach(facts)
    original = facts.slots.began
    for _ in range(_ROUNDS):
        lives, chosen = _falling(facts)
        if not len(lives):
            break
        causes = [
            cause
            for start in range(0, len(lives), _AT_ONCE)
            for cause in _causes(facts, fan, velocity_ms, lives[start : start + _AT_ONCE], chosen)
        ]
        if not causes:
            break
        odd.extend(_told(facts, cause, original) for cause in causes)
        facts = _without(facts, causes)
    return Screened(facts, [*odd, *_left_to_scatter(facts)])


def _left_to_scatter(facts: FleetFacts) -> list[Odd]:
    """The last readings of present filters that lie below the few before them though no cause explains that
    better than the meter's scatter. The last alone, beside their mean: of many one always lies low."""
    rows = np.flatnonzero(_usable(facts))
    life, drop = facts.readings.life[rows], facts.readings.drop_pa[rows]
    last = np.flatnonzero(np.diff(life, append=-1))
    last = last[facts.lives.current[life[last]]]
    earlier = last[:, None] - np.arange(1, _FEW_BEFORE + 1)
    mine = (earlier >= 0) & (life[np.maximum(earlier, 0)] == life[last][:, None])
    count = mine.sum(axis=1)
    mean = np.where(mine, drop[np.maximum(earlier, 0)], 0.0).sum(axis=1) / np.maximum(count, 1)
    noise = np.hypot(scatter(mean) / np.sqrt(np.maximum(count, 1)), scatter(drop[last]))
    low = (count > 0) & (mean - drop[last] > _FALL_SIGMAS * noise)
    picked = rows[last[low]]
    columns = facts.lives.slot[life[last[low]]], facts.readings.at[picked], drop[last[low]], mean[low]
    found = zip(*(column.tolist() for column in columns), strict=True)
    return [Odd(slot, True, OddKind.UNDER_EARLIER, *rest) for slot, *rest in found]


def within_reach(facts: FleetFacts) -> FleetFacts:
    """What no meter shows is taken for the highest that one does."""
    if not (facts.readings.drop_pa > HIGHEST_PA).any():
        return facts
    drop = np.minimum(facts.readings.drop_pa, HIGHEST_PA)
    return replace(facts, readings=replace(facts.readings, drop_pa=drop))


def counts(facts: FleetFacts) -> FloatArray:
    """By how much each reading counts, [readings]: between what no filter in place could give and what one
    may well give it is less and less likely that air passed through the filter alone."""
    rows = facts.readings
    clean = facts.lives.clean_pa[rows.life]
    share = rows.drop_pa / np.where(clean > 0, clean, 1.0)
    return np.clip((share - BELOW_CLEAN) / (_WELL_ABOVE - BELOW_CLEAN), 0.0, 1.0)


def below_clean(facts: FleetFacts) -> BoolArray:
    """Readings no filter in place could give, [readings]: they tell of a missing or bypassed filter,
    nothing of its loading."""
    rows = facts.readings
    return np.asarray(
        ~(rows.drop_pa >= BELOW_CLEAN * np.nan_to_num(facts.lives.clean_pa[rows.life], nan=0.0))
    )


def scatter(drop_pa: FloatArray) -> FloatArray:
    """Standard deviation in Pa of a reading of about ``drop_pa``: meter and method."""
    return np.asarray(np.sqrt(METER_PA**2 + np.square(METHOD_SHARE * drop_pa)))


def at_odds(life: IntArray, at: FloatArray, drop_pa: FloatArray) -> BoolArray:
    """Which readings, in order of life and time, differ from the one before by more than meter and method
    though only hours lie between."""
    noise = np.hypot(scatter(drop_pa[1:]), scatter(drop_pa[:-1]))
    differ = (np.abs(np.diff(drop_pa)) > _ONE_VISIT_SIGMAS * noise) & (np.diff(life) == 0)
    return np.append(False, differ & (np.diff(at) < _ONE_VISIT_DAYS))[: len(life)]


@dataclass(frozen=True)
class _Cause:
    """In ``life``, reading row ``row`` is wrong, or the last before a change from ``began`` on."""

    life: int
    kind: OddKind
    row: int
    following: int
    expected_pa: float
    began: float = np.nan


def _usable(facts: FleetFacts) -> BoolArray:
    """Readings that may tell of a wrong one or of a hidden change. Of the last two of a life that differ
    within one visit nobody knows which is wrong: both stay with the date, and neither is evidence here."""
    rows = facts.readings
    last = np.append(np.diff(rows.life) != 0, True)[: len(rows.life)]
    second = at_odds(rows.life, rows.at, rows.drop_pa) & last
    either = second | np.append(second[1:], False)[: len(second)]
    clean = facts.lives.clean_pa[facts.readings.life]
    airflow = facts.slots.airflow_m3s[facts.lives.slot[facts.readings.life]]
    return np.asarray((clean > 0) & ~np.isnan(airflow) & ~below_clean(facts) & ~either)


def _falling(facts: FleetFacts) -> tuple[IntArray, IntArray]:
    """Lives in which a drop falls, and the rows of all usable readings in order."""
    rows = np.flatnonzero(_usable(facts))
    life, drop = facts.readings.life[rows], facts.readings.drop_pa[rows]
    if len(rows) < 2:
        return np.zeros(0, dtype=np.int64), rows
    # The highest so far within the life: one running maximum over all, each life lifted above the last.
    lift = life * (drop.max() + 1.0)
    before = np.append(-1.0, np.maximum.accumulate(drop + lift)[:-1]) - lift
    same = np.append(False, life[1:] == life[:-1])
    before = np.where(same, before, drop)
    fell = before - drop > _FALL_SIGMAS * np.hypot(scatter(before), scatter(drop))
    return np.unique(life[fell]), rows


def _causes(
    facts: FleetFacts, fan: Fan, velocity: FloatArray, lives: IntArray, rows: IntArray
) -> list[_Cause]:
    """What explains each of ``lives`` better than noise, where anything does."""
    table = _Table.of(facts, fan, velocity, lives, rows)
    misfit = table.misfit(table.exposure_m)
    held = table.held
    whole = misfit.sum(axis=1) + held
    alone = whole.min(axis=(1, 2))
    count, most = table.known.shape
    wrong = (whole[:, None] - misfit).min(axis=(2, 3)) + np.float32(_WRONG_READING)
    parted, parts = np.full((count, most), np.inf), np.zeros((count, most), dtype=np.int64)
    for place in range(most - 1):
        some = np.flatnonzero(table.falls_after(place))
        if len(some):
            few = table.some(some)
            parted[some, place], parts[some, place] = few.parted(misfit[some], place)
    wrong[~table.known] = np.inf
    out = []
    for row in range(count):
        best_wrong, best_part = int(wrong[row].argmin()), int(parted[row].argmin())
        cost = min(wrong[row, best_wrong], parted[row, best_part])
        if alone[row] - cost < _MARGIN:
            continue
        if parted[row, best_part] <= wrong[row, best_wrong]:
            out.append(table.a_fall(row, best_part, int(parts[row, best_part])))
        else:
            out.append(table.a_wrong_one(row, best_wrong, whole[row] - misfit[row, best_wrong]))
    return out


@dataclass(frozen=True)
class _Table:
    """Readings of some lives side by side, [lives, readings], padded where ``known`` is False."""

    life: IntArray
    rows: IntArray
    known: BoolArray
    at: FloatArray
    exposure_m: FloatArray
    ratio: FloatArray
    clean_pa: FloatArray
    centre: FloatArray
    earlier_m: FloatArray
    began_m: FloatArray
    clock: "_Clock"

    @classmethod
    def of(
        cls, facts: FleetFacts, fan: Fan, velocity: FloatArray, lives: IntArray, rows: IntArray
    ) -> "_Table":
        life = facts.readings.life[rows]
        first, ends = np.searchsorted(life, lives), np.searchsorted(life, lives, side="right")
        first = np.maximum(first, ends - MOST_READINGS)
        places = first[:, None] + np.arange((ends - first).max())
        known = places < ends[:, None]
        picked = rows[np.where(known, places, first[:, None])]
        slot, clock = facts.lives.slot[lives], _Clock(facts, fan, velocity, facts.lives.slot[lives])
        at = facts.readings.at[picked]
        began = clock.passed(facts.lives.began[lives][:, None])
        clean = facts.lives.clean_pa[lives]
        unknown = facts.lives.current[lives] & ~facts.slots.began_known[slot]
        centre = features_of(facts.slots, slot, facts.lives.merv[lives]) @ Prior().coefficients
        ratio = facts.readings.drop_pa[picked] / clean[:, None]
        earlier = np.where(unknown[:, None], _EARLIER_M, 0.0)
        return cls(
            lives, picked, known, at, clock.passed(at) - began, ratio, clean, centre, earlier, began, clock
        )

    @property
    def held(self) -> SingleArray:
        """What pace and factor cost by themselves, [doses before the record by curve, paces]."""
        factor = np.tile(np.square(_LOG_FACTORS / _FACTOR_SPREAD), len(_EARLIER_M) * len(_SHAPES))
        return np.asarray(np.square(_PACES / _PACE_SPREAD) + factor[:, None]).astype(np.float32)

    def some(self, which: IntArray) -> "_Table":
        """The rows of some of the lives."""
        return rows_of(self, which, clock=replace(self.clock, slot=self.clock.slot[which]))

    def falls_after(self, place: int) -> BoolArray:
        """Whether [lives] the reading after ``place`` lies below one before it by more than a little."""
        before = self.ratio[:, : place + 1].max(axis=1) * self.clean_pa
        following = self.ratio[:, place + 1] * self.clean_pa
        return np.asarray(self.known[:, place + 1] & (before - following > scatter(before)))

    def misfit(self, exposure_m: FloatArray) -> SingleArray:
        """Of all readings, [lives, readings, doses before the record by curve, paces]."""
        cost = self._misfit(exposure_m[:, :, None] + self.earlier_m[:, None, :], slice(None))
        return cost.reshape((*cost.shape[:2], -1, len(_PACES)))

    def _misfit(self, passed_m: FloatArray, which: slice) -> SingleArray:
        """Squared misfit and what a wide scatter costs of the readings ``which`` once ``passed_m``
        [lives, readings, doses] went by, [lives, readings, doses, curves, paces]; in single precision,
        nought where padded."""
        dose = np.exp(self.centre)[:, None, None] * np.maximum(passed_m, 1.0)
        bent = _SHAPES[:, None] * np.multiply.outer(dose, np.exp(_PACES)).astype(np.float32)[..., None, :]
        grown = np.minimum(growth_in_single(bent, _SHAPES[:, None])[0], _MOST_GROWN)
        grown = grown[..., None, :] * np.exp(_LOG_FACTORS)[:, None]
        ratio = self.ratio[:, which].astype(np.float32).reshape((*passed_m.shape[:2], *[1] * 4))
        floor = np.square(METER_PA / self.clean_pa).astype(np.float32).reshape((-1, *[1] * 5))
        variance = floor + np.float32(METHOD_SHARE**2) * np.square(grown)
        cost = np.square(ratio - grown) / variance + np.log(variance)
        cost *= self.known[:, which].reshape(ratio.shape)
        return np.asarray(cost.reshape((*passed_m.shape, _CURVES, len(_PACES))))

    def parted(self, misfit: SingleArray, place: int) -> tuple[SingleArray, IntArray]:
        """Least cost [lives] of a change after reading ``place``, and at which of the parts of the gap."""
        first = misfit[:, : place + 1].sum(axis=1) + self.held
        first = first.reshape((len(first), -1, _CURVES, len(_PACES))).min(axis=1)
        second = self._anew(place)
        step = np.square((_PACES[:, None] - _PACES) / _LIFE_SPREAD).astype(np.float32)
        near = (second[..., None] + step).min(axis=3)
        cost = (first[:, None] + near).min(axis=(2, 3)) + np.float32(_HIDDEN_CHANGE)
        best = cost.argmin(axis=1)
        return cost[np.arange(len(best)), best], best

    def _anew(self, place: int) -> SingleArray:
        """Misfit [lives, parts, curves, paces] of the readings after ``place`` for a filter put in at each of
        the parts of the gap."""
        low, high = self.at[:, [place]], np.maximum(self.at[:, [place + 1]], self.at[:, [place]])
        began = self.clock.passed(low + np.array(_PARTS) * (high - low)) - self.began_m
        after = slice(place + 1, None)
        return np.asarray(self._misfit(self.exposure_m[:, after, None] - began[:, None], after).sum(axis=1))

    def a_fall(self, row: int, place: int, part: int) -> _Cause:
        """The change after reading ``place``: at a day's end where one lies between the readings."""
        low, high = self.at[row, place], self.at[row, place + 1]
        began = low + _PARTS[part] * (high - low)
        for day_end in (np.ceil(began), np.floor(began)):
            if low <= day_end < high:
                began = day_end
                break
        rows = self.rows[row]
        seen = float(self.ratio[row, place] * self.clean_pa[row])
        return _Cause(
            int(self.life[row]), OddKind.FALL, int(rows[place]), int(rows[place + 1]), seen, float(began)
        )

    def a_wrong_one(self, row: int, place: int, cost: SingleArray) -> _Cause:
        """The reading at ``place`` beside what the others make likely there."""
        sides = (self.earlier_m.shape[1], len(_SHAPES), len(_LOG_FACTORS), len(_PACES))
        earlier, shape, factor, pace = np.unravel_index(int(cost.argmin()), sides)
        passed = self.exposure_m[row, place] + self.earlier_m[row, earlier]
        dose = np.exp(self.centre[row] + _PACES[pace]) * np.maximum(passed, 1.0)
        grown = min(float(growth(dose, np.asarray(_SHAPES[shape], dtype=float))), float(_MOST_GROWN))
        expected = float(np.exp(_LOG_FACTORS[factor])) * grown
        kind = OddKind.JUMP if self.ratio[row, place] > expected else OddKind.DIP
        read = int(self.rows[row, place])
        beside = min(expected * float(self.clean_pa[row]), HIGHEST_PA)
        return _Cause(int(self.life[row]), kind, read, read, beside)


@dataclass(frozen=True)
class _Clock:
    """Exposure of some slots by instant."""

    facts: FleetFacts
    fan: Fan
    velocity: FloatArray
    slot: IntArray

    def passed(self, instant: FloatArray) -> FloatArray:
        """Running exposure in m at ``instant`` [slots, k]."""
        system = np.broadcast_to(self.facts.slots.system[self.slot][:, None], instant.shape)
        return np.asarray(self.fan.laden_until(system, instant) * 3600 * self.velocity[self.slot][:, None])


def _told(facts: FleetFacts, cause: _Cause, original: FloatArray) -> Odd:
    rows, slot = facts.readings, int(facts.lives.slot[cause.life])
    at = float(rows.at[cause.row])
    present = bool(at >= original[slot])
    if cause.kind is OddKind.FALL:
        low, until = float(rows.drop_pa[cause.following]), float(rows.at[cause.following])
        return Odd(slot, present, cause.kind, at, cause.expected_pa, low, until, cause.began)
    return Odd(slot, present, cause.kind, at, float(rows.drop_pa[cause.row]), cause.expected_pa)


def _without(facts: FleetFacts, causes: list[_Cause]) -> FleetFacts:
    """Wrong readings taken out, lives with a hidden change parted in two."""
    falls = sorted((cause for cause in causes if cause.kind is OddKind.FALL), key=lambda cause: cause.life)
    wrong = [cause.row for cause in causes if cause.kind is not OddKind.FALL]
    parted = np.array([cause.life for cause in falls], dtype=np.int64)
    began = np.array([cause.began for cause in falls])
    lives, rows = facts.lives, facts.readings
    ends = np.full(len(lives.slot), np.inf)
    ends[parted] = began
    after = rows.at > ends[rows.life]
    current = lives.current.copy()
    present = current[parted]
    current[parted] = False
    keep = np.ones(len(rows.life), dtype=np.bool_)
    keep[wrong] = False
    # A past life's second part has no known start, so its readings cannot tell how fast it loaded.
    keep &= ~(after & ~lives.current[rows.life])
    shifted = rows.life + np.searchsorted(parted, rows.life) + after

    def insert(values: FloatArray, fresh: FloatArray) -> FloatArray:
        return np.insert(values, parted + 1, fresh)

    grown = LifeRows(
        np.insert(lives.slot, parted + 1, lives.slot[parted]),
        insert(lives.began, began),
        insert(lives.clean_pa, lives.clean_pa[parted]),
        insert(lives.merv, lives.merv[parted]),
        np.insert(current, parted + 1, present),
    )
    kept = ReadingRows(shifted[keep], rows.at[keep], rows.drop_pa[keep])
    slots = _begun_anew(facts.slots, lives.slot[parted[present]], began[present])
    return replace(facts, lives=grown, readings=kept, slots=slots)


def _begun_anew(slots: Slots, which: IntArray, began: FloatArray) -> Slots:
    since, known, at_end = slots.began.copy(), slots.began_known.copy(), slots.began_at_end.copy()
    since[which], known[which], at_end[which] = began, False, began % 1 == 0
    return replace(slots, began=since, began_known=known, began_at_end=at_end)
