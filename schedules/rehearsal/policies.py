"""The same future lived under each policy of changing filters, and what it came to."""

from collections.abc import Iterable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from schedules.planning.age_replacement import least_rate
from schedules.planning.arrays import BoolArray, FloatArray, IntArray
from schedules.planning.facts import FleetFacts, Settings
from schedules.planning.forecast import fit_prior, forecast
from schedules.planning.loading import Prior
from schedules.planning.runtime import USUAL_DAILY_HOURS
from schedules.rehearsal.course import State, drop_at, one_day
from schedules.rehearsal.desk import DeskRecord
from schedules.rehearsal.fleet import Fleet
from schedules.rehearsal.meters import Meters

LOOK_AGAIN_DAYS = 7
# A home that fills a filter within days is not made to change one every week: a desk may set a shortest
# interval, and a larger filter is the remedy there.
SHORTEST_DAYS = 30
LEARN_AGAIN_DAYS = 91
# Of the filters that come out so many are read first; the rest of the readings are the visits'.
READ_AT_CHANGE = 0.45
# Price of a filter and of putting it in, of a kWh, and overall efficiency of blower and motor.
CHANGE_PRICE, ENERGY_PRICE, EFFICIENCY = 18.0, 0.17, 0.3
# Ages in days at which a life is looked at.
_AGES = np.concatenate([np.arange(0.0, 120.0, 4.0), np.geomspace(120.0, 1500.0, 40)])


class Policy(Protocol):
    """Says on each day which filters come out."""

    family: str
    setting: float

    def due(self, day: int, record: DeskRecord, share: FloatArray) -> BoolArray:
        """Slots [n] whose filter comes out at the end of ``day``; ``share`` [n] is the true drop over its
        limit, which only the one who knows all may look at."""


@dataclass
class FixedDays:
    """Every so many days."""

    setting: float
    family: str = "fixed days"

    def due(self, day: int, record: DeskRecord, share: FloatArray) -> BoolArray:
        """Slots whose filter has been in for the days set."""
        return np.asarray(day + 1 - _began(record) >= self.setting)


@dataclass
class RunHours:
    """Every so many hours of the fan; where no log is kept, of a usual fan."""

    setting: float
    family: str = "run-hours"

    def due(self, day: int, record: DeskRecord, share: FloatArray) -> BoolArray:
        """Slots whose fan has run for the hours set."""
        fleet, house = record.fleet, record.fleet.plant.slots.house
        running = np.cumsum(record.hours[:, : day - fleet.start + 1], axis=1)
        since = np.clip(_began(record) - fleet.start - 1, 0, None).astype(np.int64)
        ran = running[house, -1] - running[house, np.minimum(since, running.shape[1] - 1)]
        usual = (day + 1 - _began(record)) * USUAL_DAILY_HOURS
        return np.asarray(np.where(record.logged[house], ran, usual) >= self.setting)


@dataclass
class KnowsAll:
    """When the true drop has come to the limit, but not within so many days of the last change: the best
    that anybody could do."""

    setting: float
    family: str = "knows all, from so many d"

    def due(self, day: int, record: DeskRecord, share: FloatArray) -> BoolArray:
        """Slots whose filter is full."""
        return np.asarray((share >= 1.0) & (day + 1 - _began(record) >= self.setting))


class Ours:
    """By the engine's due dates, looked at once a week: at one accepted risk for all, or where so many
    ``late_days`` past the limit weigh as much as one change."""

    def __init__(
        self,
        risk: float | None = None,
        *,
        late_days: float | None = None,
        shortest_days: int = 0,
        capped: bool = False,
    ) -> None:
        self.setting = risk or late_days or 0.0
        words = ["ours, late days" if late_days else "ours"]
        words += [f"from {shortest_days} d"] * (shortest_days > 0) + ["with caps"] * capped
        self.family = ", ".join(words)
        self.capped = capped
        self._settings = Settings(risk or 0.2, shortest_days=shortest_days, late_days=late_days)
        self._days: IntArray = np.zeros(0, dtype=np.int64)
        self._prior = Prior()
        self._learned = self._looked = -10_000

    def due(self, day: int, record: DeskRecord, share: FloatArray) -> BoolArray:
        """Slots whose due date has come."""
        began = _began(record)
        if day - self._looked >= LOOK_AGAIN_DAYS:
            facts = record.facts(day)
            if day - self._learned >= LEARN_AGAIN_DAYS:
                self._prior, self._learned = fit_prior(facts), day
            self._days = forecast(facts, self._settings, self._prior).due
            self._looked = day
        # A filter that went in since, be it on the evening of that very day, has no date yet.
        return np.asarray((self._days <= day) & (began < self._looked + 1))


class LeastRegret:
    """At the age at which changes cost least a day, one past its limit ``setting`` times as much as one
    before; by what the engine holds of each slot's lives."""

    def __init__(self, late: float, *, shortest_days: int = 0) -> None:
        self.setting = late
        self.family = "least regret" + f", from {shortest_days} d" * (shortest_days > 0)
        self._shortest = shortest_days
        self._age: FloatArray = np.zeros(0)
        self._prior = Prior()
        self._learned = self._looked = -10_000

    def due(self, day: int, record: DeskRecord, share: FloatArray) -> BoolArray:
        """Slots whose filter has come to that age."""
        if day - self._looked >= LOOK_AGAIN_DAYS:
            facts = record.facts(day)
            if day - self._learned >= LEARN_AGAIN_DAYS:
                self._prior, self._learned = fit_prior(facts), day
            self._age = self._best(facts)
            self._looked = day
        age = day + 1 - _began(record)
        return np.asarray((age >= np.maximum(self._age, self._shortest)) & (age > day - self._looked))

    def _best(self, facts: FleetFacts) -> FloatArray:
        result = forecast(facts, Settings(0.2), self._prior)
        age = np.maximum(facts.as_of + 1 - result.began, 1.0)
        where, rows = result.where, np.arange(len(age))
        past = []
        for days in _AGES:
            part = np.log(np.maximum(days, 1e-6) / age)
            so_far = where.pace.present.beyond(where.limit - part[:, None])
            ahead = np.maximum(np.ceil(days - age), 0).astype(np.int64)
            later = where.after(result.ahead.until(ahead), result.scatter.over(ahead, rows), rows)
            past.append(np.where(days <= age, so_far, later))
        survival = 1.0 - np.maximum.accumulate(np.stack(past, axis=1), axis=1)
        best, _rate = least_rate(_AGES, survival, 1.0, self.setting)
        return np.where(result.computable, best, np.inf)


def _began(record: DeskRecord) -> FloatArray:
    latest = np.zeros(record.fleet.count)
    np.maximum.at(latest, np.array(record.life_slot), np.array(record.life_began))
    return latest


@dataclass(frozen=True)
class Outcome:
    """What a policy came to, each for a filter a year: changes, days past the limit, cost in money of one
    kind; and the mean share of the way to its limit that a filter taken out had still to go."""

    family: str
    setting: float
    changes: float
    days_past: float
    thrown_away: float
    cost: float


def live(fleet: Fleet, logged: BoolArray, policy: Policy, days: int) -> Outcome:
    """``days`` days after the as-of day under ``policy``; the same air, fans and dust for every policy."""
    capped = isinstance(policy, Ours) and policy.capped
    record = DeskRecord.of(fleet, logged, days, capped=capped)
    course, own = np.random.default_rng([fleet.seed, 5]), np.random.default_rng([fleet.seed, 6])
    state, meters, visits = deepcopy(fleet.state), Meters(fleet.plant.world, own), _Visits(fleet, own)
    tally = _Tally(fleet)
    for day in range(fleet.as_of + 1, fleet.as_of + days + 1):
        temperature, hours = one_day(fleet.plant, state, day, course)
        record.hours[:, day - fleet.start] = hours[:, 0]
        record.temps_c[:, day - fleet.start] = temperature[:, 0]
        tally.day(state, hours)
        out = policy.due(day, record, tally.share(state))
        read = visits.today(day) | (out & (own.random(fleet.count) < READ_AT_CHANGE))
        _read(record, meters, state, np.flatnonzero(read), day)
        _change(record, state, tally, np.flatnonzero(out), day, own)
    return tally.outcome(policy, days)


class _Visits:
    """Technicians come whatever the policy is, and read."""

    def __init__(self, fleet: Fleet, rng: np.random.Generator) -> None:
        world, house = fleet.plant.world, fleet.plant.slots.house
        houses = len(fleet.plant.systems.slots)
        every = rng.uniform(*world.visit_days, houses).astype(np.int64)
        visited = rng.random(houses) < world.agreement
        self._every = np.where(visited, every, 10**7)[house]
        self._first = (fleet.as_of + rng.integers(1, 200, houses))[house]

    def today(self, day: int) -> BoolArray:
        return np.asarray((day >= self._first) & ((day - self._first) % self._every == 0))


def _read(record: DeskRecord, meters: Meters, state: State, slots: IntArray, day: int) -> None:
    if len(slots):
        fleet = record.fleet
        read = meters.read(fleet.plant, state, slots, (day - fleet.start) / 365.25)
        for slot, drop, airflow in zip(read.slot, read.drop_inwc, read.airflow_cfm, strict=True):
            record.add_reading(int(slot), day + 0.5, float(drop), float(airflow))


def _change(
    record: DeskRecord,
    state: State,
    tally: "_Tally",
    slots: IntArray,
    day: int,
    rng: np.random.Generator,
) -> None:
    if len(slots):
        tally.changed(state, slots)
        state.dust[slots] = 0.0
        state.piece[slots] = np.exp(record.fleet.plant.world.piece_sd * rng.standard_normal((len(slots), 1)))
        for slot in slots.tolist():
            record.add_life(slot, day + 1.0)


class _Tally:
    """Counts as the days go by."""

    def __init__(self, fleet: Fleet) -> None:
        self.fleet = fleet
        self.changes, self.past, self.joules, self.left = 0, 0, 0.0, 0.0

    def day(self, state: State, hours: FloatArray) -> None:
        """One day's drops and fan hours."""
        plant = self.fleet.plant
        self.past += int((self._drop(state) >= self.fleet.limit_pa).sum())
        flow = plant.airflow(plant.ratio(state.dust))
        power = drop_at(plant, state, flow) * flow / EFFICIENCY
        self.joules += float((power[:, 0] * hours[plant.slots.house, 0] * 3600.0).sum())

    def changed(self, state: State, slots: IntArray) -> None:
        """Filters that come out today."""
        plant, limit = self.fleet.plant, self.fleet.limit_pa[slots]
        clean = plant.media.true_clean(plant.slots.medium, self.fleet.design)[slots]
        share = (self._drop(state)[slots] - clean) / np.maximum(limit - clean, 1e-9)
        self.left += float(np.clip(1.0 - share, 0.0, 1.0).sum())
        self.changes += len(slots)

    def share(self, state: State) -> FloatArray:
        """True drop over limit, [slots]."""
        return np.asarray(self._drop(state) / self.fleet.limit_pa)

    def _drop(self, state: State) -> FloatArray:
        return np.asarray(drop_at(self.fleet.plant, state, self.fleet.design[:, None])[:, 0])

    def outcome(self, policy: Policy, days: int) -> Outcome:
        """All of it for a filter a year."""
        years = self.fleet.count * days / 365.25
        cost = self.changes * CHANGE_PRICE + self.joules / 3.6e6 * ENERGY_PRICE
        return Outcome(
            policy.family,
            policy.setting,
            self.changes / years,
            self.past / years,
            self.left / max(self.changes, 1),
            cost / years,
        )


def everyday() -> Iterator[Policy]:
    """The policies that are compared."""
    yield from (KnowsAll(days) for days in (0.0, 14.0, SHORTEST_DAYS))
    yield from (FixedDays(days) for days in (45.0, 60.0, 90.0, 120.0, 182.0, 270.0, 365.0))
    yield from (RunHours(hours) for hours in (250.0, 350.0, 500.0, 700.0, 1000.0, 1400.0, 2000.0))
    for shortest in (14, SHORTEST_DAYS):
        yield from (Ours(risk, shortest_days=shortest) for risk in (0.05, 0.1, 0.2, 0.35, 0.5, 0.7))
        yield from (
            Ours(late_days=days, shortest_days=shortest) for days in (4.0, 6.0, 9.0, 12.0, 20.0, 40.0)
        )
    yield Ours(0.2, shortest_days=SHORTEST_DAYS, capped=True)
    yield from (LeastRegret(late, shortest_days=14) for late in (2.0, 3.0, 5.0, 10.0))


def at_same(outcomes: Iterable[Outcome], family: str, held: str, value: float, wanted: str) -> float:
    """What ``family`` would show of ``wanted`` where its ``held`` is ``value``, between its settings; NaN
    beyond them."""
    rows = sorted((getattr(o, held), getattr(o, wanted)) for o in outcomes if o.family == family)
    known, told = (np.array([row[part] for row in rows]) for part in (0, 1))
    if not len(known) or not known[0] <= value <= known[-1]:
        return float("nan")
    return float(np.interp(value, known, told))
