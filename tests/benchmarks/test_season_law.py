"""When does a filter first fall due? Laws of ``season.due_by`` beside what simulated desks lived through.

On day 0 every slot has a plan. At the end of each of the twelve weeks after it the desk plans anew from what
is known by then; the first week whose plan names a day at or before its end is the one in which the slot
first fell due (plans made anew every day find as many, to one or two in a hundred). Two desks: one that
finds a fleet as households kept it and changes nothing for twelve weeks, and one that has lived by its own
dates for half a year and changes at the end of a week what fell due in it. In neither can a slot be changed
before it falls due, so that nothing is censored. What is due on day 0 already is certain under every law and
is left out. ``season.due_by`` was fitted to eighteen other fleets (seeds 61 to 63, 71 to 73, 81 to 89, 91 to
93: log score and squared errors by due day and by week together), laws f and g to the first three. What a
desk learns of its whole fleet moves all dates at once: of single fleets as many as a third more or fewer fell
due in week one than was told, so that six stand here.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from datetime import date

import numpy as np
import pytest
from scipy.special import log_ndtr, ndtr

from schedules.planning.arrays import BoolArray, FloatArray
from schedules.planning.facts import FleetFacts, Settings
from schedules.planning.forecast import FleetForecast, fit_prior, forecast
from schedules.planning.interval import NEVER, Reason
from schedules.planning.season import Z90, Jobs, Smoke, Weeks, due_by, split_normal, split_quantile
from schedules.rehearsal.desk import DeskRecord
from schedules.rehearsal.fleet import simulate
from schedules.rehearsal.policies import Ours, live

pytestmark = pytest.mark.long

RISK, WEEKS, SLOTS = 0.2, 12, 500
# Day 0 in spring, at the end of summer and in winter.
STARTS = (date(2026, 4, 14), date(2026, 8, 25), date(2026, 12, 8))
FLEETS = tuple(zip(range(101, 107), STARTS + STARTS, strict=True))
SETTLED_DAYS = 182
# A chance of nought or one that did not come true would cost without end.
LEAST_CHANCE = 1e-3


@dataclass(frozen=True)
class Seen:
    """Slots not due on day 0, all [n] in days from it: ``due`` (as dust asks), ``low`` and ``high`` (p10 to
    p50 and p50 to p90), ``limit`` (p50), ``cap``; ``readings`` of the present life, and the end ``first`` of
    the week in which each fell due (inf: in none)."""

    due: FloatArray
    low: FloatArray
    high: FloatArray
    limit: FloatArray
    cap: FloatArray
    readings: FloatArray
    first: FloatArray

    def of(self, rows: BoolArray) -> "Seen":
        return Seen(*(getattr(self, field.name)[rows] for field in fields(self)))


def joined(parts: list[Seen]) -> Seen:
    return Seen(*(np.concatenate([getattr(part, field.name) for part in parts]) for field in fields(Seen)))


class Watched(Ours):
    """The desk's usual policy; from day 0 on it plans once a week and notes what first falls due."""

    def __init__(self, day_0: int, *, keeps: bool) -> None:
        super().__init__(RISK, capped=True)
        self.day_0, self.keeps = day_0, keeps
        self.planned: tuple[FloatArray, ...] = ()
        self.open = np.zeros(0, dtype=np.bool_)
        self.first = np.zeros(0)

    def due(self, day: int, record: DeskRecord, share: FloatArray) -> BoolArray:
        ahead = day - self.day_0
        if ahead < 0:
            return super().due(day, record, share) & self.keeps
        if ahead % 7:
            return np.zeros(record.fleet.count, dtype=np.bool_)
        facts = record.facts(day)
        plan = forecast(facts, Settings(RISK), fit_prior(facts))
        due = plan.due <= day
        if ahead == 0:
            self.planned, self.open = plans(facts, plan), ~due
            self.first = np.full(len(due), np.inf)
        else:
            self.first[due & np.isinf(self.first)] = ahead
        return due & self.keeps

    def result(self) -> Seen:
        return Seen(*self.planned, self.first).of(self.open)


def plans(facts: FleetFacts, plan: FleetForecast) -> tuple[FloatArray, ...]:
    """The plans of a day as ``season_jobs`` makes jobs of them: due, low, high, limit, cap, and readings."""

    def days(ordinals: np.ndarray) -> FloatArray:
        return np.where(ordinals == NEVER, np.nan, (ordinals - facts.as_of).astype(np.float64))

    due, p10, p50, p90 = (days(part) for part in (plan.due, plan.p10, plan.p50, plan.p90))
    low = np.nan_to_num(np.maximum(p50 - p10, 0.0))
    high = np.where(np.isnan(p50), 0.0, np.where(np.isnan(p90), low, np.maximum(p90 - p50, 0.0)))
    asked = np.maximum(p50 + split_quantile(RISK, low, high), due)
    by_risk = plan.reason == Reason.RISK
    dust = np.where(by_risk, due, np.where(np.isnan(asked), np.inf, asked))
    cap = np.maximum(plan.began - facts.as_of - 1 + facts.slots.cap_days, due)
    cap = np.where(plan.reason == Reason.CALENDAR, due, cap)
    life = facts.readings.life[facts.lives.current[facts.readings.life]]
    readings = np.bincount(facts.lives.slot[life], minlength=len(due)).astype(np.float64)
    return dust, low, high, p50, cap, readings


def watch(seed: int, day_0: date, *, keeps: bool) -> Seen:
    """One fleet's slots through the twelve weeks; ``keeps``: the desk has lived by its dates and goes on."""
    before = SETTLED_DAYS if keeps else 1
    fleet = simulate(seed, SLOTS, date.fromordinal(day_0.toordinal() - before))
    logged = np.random.default_rng([seed, 7]).random(len(fleet.plant.systems.slots))
    desk = Watched(day_0.toordinal(), keeps=keeps)
    live(fleet, logged < fleet.plant.world.logged, desk, before + 7 * WEEKS)
    return desk.result()


# What is due by the end of day t lies below the half day after it.
ENDS = 7.0 * np.arange(1, WEEKS + 1) + 0.5
Law = Callable[[Seen], FloatArray]


def split(seen: Seen) -> FloatArray:
    columns = (seen.due[:, None], seen.low[:, None], seen.high[:, None])
    return split_normal(ENDS[None, :], *columns)


def not_yet(seen: Seen) -> FloatArray:
    columns = (seen.due[:, None], seen.low[:, None], seen.high[:, None])
    now = split_normal(np.full((1, 1), 0.5), *columns)
    return (split_normal(ENDS[None, :], *columns) - now) / np.maximum(1.0 - now, 1e-9)


def no_scatter(seen: Seen) -> FloatArray:
    return (seen.due[:, None] <= ENDS).astype(np.float64)


def passage(scale: float, *, towards: float = 0.0, later: float = 0.0) -> Law:
    """First passage of a Brownian motion that drifts to nought, a day a day, from the due day, or from so far
    ``towards`` the median of the limit, or from ``later`` standard deviations after the due day: as the span
    narrows, its early quantile wanders on. ``scale``: of the span that is learned on the way."""

    def law(seen: Seen) -> FloatArray:
        sigma = (seen.low + seen.high) / (2 * Z90)
        due = np.minimum(seen.due, 1e5)
        limit = np.fmax(seen.limit, due)
        mean = due + towards * (limit - due) + later * sigma
        shape, mean = (mean**2 / np.maximum((scale * sigma) ** 2 / limit, 1e-4))[:, None], mean[:, None]
        root = np.sqrt(shape / ENDS)
        again = np.exp(2 * shape / mean + log_ndtr(-root * (ENDS / mean + 1)))
        return np.minimum(ndtr(root * (ENDS / mean - 1)) + again, 1.0)

    return law


def as_stored(seen: Seen) -> FloatArray:
    """``due_by`` as the page has it, whichever law that is."""
    zero = np.zeros(len(seen.due))
    given = {"due": seen.due, "low": seen.low, "high": seen.high, "cap": seen.cap, "limit": seen.limit}
    jobs = Jobs(**{field.name: given.get(field.name, zero) for field in fields(Jobs)})
    return due_by(jobs, Weeks(7 * np.arange(1, WEEKS + 1) + 1), Smoke())


LAWS: dict[str, Law] = {
    "season.due_by": as_stored,
    "a split normal": split,
    "b split, not yet due": not_yet,
    "c passage": passage(1.0),
    "d no scatter": no_scatter,
    "e passage, c 0.75": passage(0.75),
    "e passage, c 0.50": passage(0.5),
    "e passage, c 0.25": passage(0.25),
    "f c 0.5, 0.3 to median": passage(0.5, towards=0.3),
    "g c 0.6, 0.25 sd later": passage(0.6, later=0.25),
    "g c 0.6, 0.30 sd later": passage(0.6, later=0.3),
}
# Due so many days from day 0; all that fell due had by the end of the week.
NEAR = ((0, 2), (2, 5), (5, 8), (8, 15), (15, 22), (22, 40))


@dataclass(frozen=True)
class Scored:
    """Mean log score and Brier score of "fallen due by the end of week w", over the first two weeks and all;
    jobs expected [W] by week."""

    log_2: float
    log: float
    brier_2: float
    brier: float
    expected: FloatArray


def scored(law: Law, seen: Seen) -> Scored:
    chance = np.where(seen.cap[:, None] < ENDS, 1.0, law(seen))
    happened = seen.first[:, None] < ENDS
    likely = np.clip(chance, LEAST_CHANCE, 1.0 - LEAST_CHANCE)
    logs, squares = -np.log(np.where(happened, likely, 1.0 - likely)), (chance - happened) ** 2
    weeks = np.diff(chance.sum(axis=0), prepend=0.0)
    return Scored(logs[:, :2].mean(), logs.mean(), squares[:, :2].mean(), squares.mean(), weeks)


def table(name: str, seen: Seen) -> dict[str, Scored]:
    """The scores of every law, printed beside what happened."""
    scores = {law: scored(of, seen) for law, of in LAWS.items()}
    weeks = np.diff((seen.first[:, None] < ENDS).sum(axis=0), prepend=0)
    print(f"\n{name}: {len(seen.due)} slots, {int(weeks.sum())} fell due")
    print(f"{'':26}{'log 2 w':>8}{'log':>7}{'Brier 2 w':>11}{'Brier':>7}   jobs by week")
    print(f"{'happened':26}{'':33}  {' '.join(f'{count:5d}' for count in weeks)}")
    for law, it in scores.items():
        jobs = " ".join(f"{count:5.0f}" for count in it.expected)
        print(f"{law:26}{it.log_2:8.3f}{it.log:7.3f}{it.brier_2:11.4f}{it.brier:7.4f}    {jobs}")
    return scores


def near_days(seen: Seen) -> list[tuple[float, float]]:
    """By due day from day 0: the chance told and the share that fell due within the first week, printed."""
    told, found = as_stored(seen)[:, 0], []
    for low, high in NEAR:
        some = (seen.due > low) & (seen.due <= high) & (seen.cap > ENDS[0])
        found.append((float(told[some].mean()), float((seen.first[some] < ENDS[0]).mean())))
        print(f"due in {low} to {high} days: told {found[-1][0]:.2f}, happened {found[-1][1]:.2f}")
    return found


def test_which_law_foretells_when_filters_first_fall_due() -> None:
    found, kept = (joined([watch(*fleet, keeps=keeps) for fleet in FLEETS]) for keeps in (False, True))
    both = joined([found, kept])
    table("a fleet as found, nothing changed", found)
    table("a desk that lives by its dates", kept)
    table("no reading in the present life", both.of(both.readings == 0))
    table("some readings", both.of(both.readings > 0))
    scores = table("all of them", both)
    happened = np.cumsum(np.diff((both.first[:, None] < ENDS).sum(axis=0), prepend=0))
    # The split normal pours what lies before today into the first week.
    assert scores["a split normal"].expected[0] > 1.5 * happened[0]
    best = scores["season.due_by"]
    assert max(abs(told - happened) for told, happened in near_days(both)) < 0.15
    for law in ("a split normal", "b split, not yet due", "c passage", "d no scatter"):
        assert best.log < scores[law].log
        assert best.log_2 < scores[law].log_2
        assert best.brier < scores[law].brier
        assert best.brier_2 < scores[law].brier_2
    assert np.abs(np.cumsum(best.expected) / happened - 1.0).max() < 0.25
