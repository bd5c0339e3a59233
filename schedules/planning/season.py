"""What falls due in the weeks to come, by the chance of each date: jobs, trips and minutes by week.

The model, in four steps.

1. *When a job first falls due.* The plan names a due day; what is learned from day to day moves it, and
   as the span narrows the early day that is kept to wanders towards the median. So the job falls due on the
   first day that meets the due day where it is by then: the first passage of Brownian motion, an inverse
   Gaussian. Its mean lies LATER * s^(2/3) days after the plan's due day, s the limit's standard deviation in
   days (5 days at s = 10, 22 at 100), and by the limit's median LEARNED * s is learned; less of both where
   the day is within some NEAR_DAYS, for then little is left to learn. Nothing falls on days that are past.
   Form and numbers are empirical: fitted to eighteen simulated fleets, and on others better than the laws
   beside them (``tests/benchmarks/test_season_law.py``). Calendar and medium move with nothing, so all chance
   beyond the cap lies on the cap itself, and what is due or overdue today is due in the first week for
   certain. Tasks have no scatter.
2. *Trips.* Jobs of one home that fall due within some weeks of the first share a trip, which is made when
   the first of them falls due: P(made by t) = 1 - product of (1 - P(job due by t)).
3. *Renewal.* A job that is done falls due again after its life, log-normal about the life as planned, on
   its own cap at the latest. Expected later jobs by week: m[k] = sum over j < k of (first[j] + m[j]) f[j, k],
   f the chance that what was done in week j is due again in week k. What is done in a week is taken as done
   on its middle day. Where lives end within some weeks of each other the way is shared again.
4. *Dust.* Weeks of smoke run the clock of dust faster by a factor; caps keep the calendar's time.

Days are counted from day nought, today; jobs scatter independently of each other, so the span leaves out
what hits all homes at once: weather, smoke, and what the desk learns of a whole fleet, which moved the first
week of single simulated fleets by as much as a third.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtr, ndtri

from schedules.planning.arrays import BoolArray, FloatArray, IntArray

# Days from day nought, whole or not.
Days = NDArray[np.floating[Any]]
Z90 = float(ndtri(0.9))
# The log of the next life about the life as planned: a slot's lives scatter by 0.3 and the dust to come
# by 0.18 (``loading.Prior``, ``chance.LASTING_SPREAD``).
LIFE_SCATTER = 0.35
LATER, LEARNED, NEAR_DAYS = 1.03, 0.55, 6.0
_LEAST_WIDTH = 1e-3


@dataclass(frozen=True)
class Weeks:
    """W weeks: ``ends`` [W] the first day after each, counted from day nought, which lies in the first."""

    ends: IntArray

    @classmethod
    def beginning(cls, weekday: int, count: int) -> "Weeks":
        """``count`` weeks ending on Sundays, where day nought is a ``weekday`` (0 is Monday)."""
        return cls(7 - weekday + 7 * np.arange(count))

    def __len__(self) -> int:
        return len(self.ends)

    @property
    def done(self) -> IntArray:
        """The day [W] on which what is done in a week is taken as done: its middle."""
        begins = np.concatenate([[0], self.ends[:-1]])
        return np.asarray((begins + self.ends - 1) // 2)


@dataclass(frozen=True)
class Smoke:
    """Weeks of smoke to come: ``factor`` times the usual dust over ``days`` days from day ``first``."""

    first: int = 0
    days: int = 0
    factor: float = 1.0

    def clock(self, days: Days) -> FloatArray:
        """Days of usual dust that pass until each of ``days``."""
        inside = np.clip(days - self.first, 0, self.days)
        return np.asarray(days + (self.factor - 1.0) * inside)


@dataclass(frozen=True)
class Jobs:
    """n jobs, all fields [n]; days from day nought, minutes at the home without the way and the arrival.

    ``home``: jobs with the same number may share a trip. ``skills``: a bit for each. ``due``: day the dust or
    the task asks for (inf: never); ``low`` and ``high``: days from p10 to p50 and p50 to p90; ``cap``: day of
    calendar or medium (inf: none). ``life``: days from a change to the next as dust asks, ``scatter`` of its
    log, ``life_cap`` its longest. ``share``: chance that a technician does it. ``booked``: the week in which
    a visit has it already, else -1. ``early_days``: how much sooner it may be done; ``waste_a_day``: money
    thrown away a day; ``limit``: median day of the limit (nan: not known).
    """

    home: IntArray
    branch: IntArray
    skills: IntArray
    due: FloatArray
    low: FloatArray
    high: FloatArray
    cap: FloatArray
    life: FloatArray
    scatter: FloatArray
    life_cap: FloatArray
    minutes: FloatArray
    share: FloatArray
    booked: IntArray
    early_days: FloatArray
    waste_a_day: FloatArray
    limit: FloatArray

    def __len__(self) -> int:
        return len(self.home)

    def of(self, rows: IntArray | BoolArray) -> "Jobs":
        """Some of the jobs."""
        return Jobs(**{name: getattr(self, name)[rows] for name in self.__dataclass_fields__})

    @property
    def overdue(self) -> BoolArray:
        """Which are due on day nought or were before."""
        return np.asarray(np.minimum(self.due, self.cap) <= 0)


def joined(parts: "list[Jobs]") -> Jobs:
    """Jobs one after the other."""
    names = Jobs.__dataclass_fields__
    return Jobs(**{name: np.concatenate([getattr(part, name) for part in parts]) for name in names})


def split_normal(days: FloatArray, middle: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """Chance of lying at or below ``days``, of a split normal with median ``middle``, p10 ``low`` below it
    and p90 ``high`` above; all broadcast."""
    away = days - middle
    width = np.maximum(np.where(away < 0, low, high) / Z90, _LEAST_WIDTH)
    return np.asarray(ndtr(away / width))


def split_quantile(chance: float | FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """Days from the median to the ``chance`` quantile, one or [n], of the split normal [n]."""
    z = np.asarray(ndtri(chance))
    return np.asarray(z / Z90 * np.where(z < 0, low, high))


def first_passage(days: FloatArray, mean: FloatArray, variance: FloatArray) -> FloatArray:
    """Chance that what lies ``mean`` days ahead (above nought) and wanders by ``variance`` square days a day
    has been met by ``days``, all broadcast: the inverse Gaussian law of mean ``mean`` and shape
    mean²/variance."""
    shape = mean**2 / np.maximum(variance, _LEAST_WIDTH**2 / mean)
    root = np.sqrt(shape / np.maximum(days, _LEAST_WIDTH))
    met = ndtr(root * (days / mean - 1.0))
    turned = np.exp(np.minimum(2.0 * shape / mean + log_ndtr(-root * (days / mean + 1.0)), 0.0))
    return np.asarray(np.where(days > 0, np.minimum(met + turned, 1.0), 0.0))


def due_by(jobs: Jobs, weeks: Weeks, smoke: Smoke) -> FloatArray:
    """Chance [n, W] that each job has fallen due for the first time by the end of each week."""
    dated = np.isfinite(jobs.due)
    width = (jobs.low + jobs.high) / (2.0 * Z90)
    due = np.where(dated, np.maximum(jobs.due, _LEAST_WIDTH), 1.0)
    far = 1.0 - np.exp(-((due / NEAR_DAYS) ** 1.5))
    learned = far * (LEARNED * width) ** 2 / np.fmax(due, jobs.limit)
    # Days are whole: what is due by Sunday lies below the half day after it.
    last = smoke.clock(weeks.ends - 0.5)
    chance = first_passage(last[None, :], (due + far * LATER * width ** (2 / 3))[:, None], learned[:, None])
    certain = (weeks.ends[None, :] > jobs.cap[:, None]) | jobs.overdue[:, None]
    return np.asarray(np.where(certain, 1.0, chance * dated[:, None]))


def by_week(until: FloatArray) -> FloatArray:
    """Chances of each week [n, W] from those of being through by its end."""
    return np.diff(until, axis=1, prepend=0.0)


def share_trips(home: IntArray, due: FloatArray, together: float) -> IntArray:
    """The trip [n] of each job: a home's jobs in order of due day join the first that is not too far off.

    A new trip begins with each job due more than ``together`` days after its trip's first. Trips are numbered
    from nought.
    """
    if not len(home):
        return np.zeros(0, dtype=np.int64)
    order = np.lexsort((due, home))
    homes, days = home[order], due[order]
    starts = np.flatnonzero(np.concatenate([[True], homes[1:] != homes[:-1]]))
    counts = np.diff(np.append(starts, len(home)))
    begins = np.zeros(len(home), dtype=np.bool_)
    begins[starts] = True
    opened = days[starts]
    for rank in range(1, int(counts.max())):
        some = np.flatnonzero(counts > rank)
        at = starts[some] + rank
        # What is never due is a trip of its own that never comes; inf less inf is no number.
        apart = ~(days[at] <= opened[some] + together)
        begins[at[apart]] = True
        opened[some[apart]] = days[at[apart]]
    trips = np.empty(len(home), dtype=np.int64)
    trips[order] = np.cumsum(begins) - 1
    return trips


@dataclass(frozen=True)
class Trips:
    """t trips: ``of`` [n] each job's, ``made`` [t, W] chance that it is made in each week, and what its jobs
    come to, all [t]: ``minutes`` with arrival and way, ``jobs`` how many."""

    of: IntArray
    made: FloatArray
    minutes: FloatArray
    jobs: IntArray
    skills: IntArray
    branch: IntArray
    share: FloatArray
    booked: IntArray


def trips_of(jobs: Jobs, weeks: Weeks, smoke: Smoke, together: float, trip_minutes: float) -> Trips:
    """Trips of the jobs; ``together`` in days, ``trip_minutes`` for arrival, leaving and the way."""
    of = share_trips(jobs.home, np.maximum(np.minimum(jobs.due, jobs.cap), 0.0), together)
    order = np.argsort(of, kind="stable")
    starts = np.searchsorted(of[order], np.arange(of.max() + 1)) if len(of) else np.zeros(0, dtype=np.int64)
    if not len(of):
        none = np.zeros(0)
        zero = np.zeros(0, dtype=np.int64)
        return Trips(of, np.zeros((0, len(weeks))), none, zero, zero, zero, none, zero)
    none_due = np.multiply.reduceat(1.0 - due_by(jobs, weeks, smoke)[order], starts, axis=0)
    first = order[starts]
    booked = jobs.booked[first]
    made = by_week(1.0 - none_due)
    held = np.flatnonzero(booked >= 0)
    made[held] = booked[held, None] == np.arange(len(weeks))
    return Trips(
        of,
        made,
        trip_minutes + np.add.reduceat(jobs.minutes[order], starts),
        np.diff(np.append(starts, len(of))),
        np.bitwise_or.reduceat(jobs.skills[order], starts),
        jobs.branch[first],
        jobs.share[first],
        booked,
    )


def life_by(jobs: Jobs, days: Days, dusty: Days) -> FloatArray:
    """Chance [n, len(days)] that a life is over ``days`` days after its change, through which ``dusty`` days
    of usual dust passed."""
    log = np.log(np.maximum(dusty, 1e-9))[None, :] - np.log(np.maximum(jobs.life, 1e-9))[:, None]
    chance = ndtr(log / np.maximum(jobs.scatter, _LEAST_WIDTH)[:, None])
    return np.asarray(np.where(days[None, :] > jobs.life_cap[:, None], 1.0, chance))


def renewed(jobs: Jobs, first: FloatArray, weeks: Weeks, smoke: Smoke) -> FloatArray:
    """Expected times [n, W] that each job falls due again in each week, ``first`` [n, W] the chance of its
    first."""
    again = np.zeros_like(first)
    known: tuple[FloatArray, FloatArray] = (np.zeros(0), np.zeros((len(first), 0)))
    for week in range(len(weeks) - 1):
        last, done = weeks.ends[week + 1 :] - 0.5, float(weeks.done[week])
        dusty = smoke.clock(last) - smoke.clock(np.array([done]))
        # Without smoke every full week begins the same lives: reckoned once.
        key = np.concatenate([last - done, dusty])
        if not _begins_with(known[0], key):
            known = key, np.diff(life_by(jobs, last - done, dusty), axis=1, prepend=0.0)
        chance = known[1][:, : len(last)]
        again[:, week + 1 :] += (first[:, week] + again[:, week])[:, None] * chance
    return again


def _begins_with(known: FloatArray, key: FloatArray) -> bool:
    half, wanted = len(known) // 2, len(key) // 2
    return (
        half >= wanted > 0
        and np.allclose(known[:wanted], key[:wanted])
        and np.allclose(known[half : half + wanted], key[wanted:])
    )


@dataclass(frozen=True)
class Load:
    """Work by group and week: ``branch`` and ``skills`` [g] name the groups; expected ``minutes``, their
    ``variance``, ``second`` (sum of squares times chance), ``jobs`` and ``trips``, all [g, W]."""

    branch: IntArray
    skills: IntArray
    minutes: FloatArray
    variance: FloatArray
    second: FloatArray
    jobs: FloatArray
    trips: FloatArray

    def scaled(self, times: float) -> "Load":
        """As many again as ``times``, of homes drawn from these: each is there or not, so that the variance
        is that of a Poisson number."""
        return Load(
            self.branch, self.skills, self.minutes * times, self.second * times, self.second * times,
            self.jobs * times, self.trips * times,
        )  # fmt: skip


def added(parts: list[Load]) -> Load:
    """All of them together, a row for each group."""
    branch = np.concatenate([part.branch for part in parts])
    skills = np.concatenate([part.skills for part in parts])
    rows = [np.concatenate([getattr(part, name) for part in parts]) for name in _SUMS]
    return _grouped(branch, skills, rows)


_SUMS = ("minutes", "variance", "second", "jobs", "trips")


def _grouped(branch: IntArray, skills: IntArray, rows: list[FloatArray]) -> Load:
    keys, place = np.unique(np.stack([branch, skills]), axis=1, return_inverse=True)
    place = np.asarray(place).reshape(-1)
    count = keys.shape[1]

    def total(values: FloatArray) -> FloatArray:
        weeks = [
            np.bincount(place, weights=values[:, week], minlength=count) for week in range(values.shape[1])
        ]
        return np.stack(weeks, axis=1) if weeks else np.zeros((count, 0))

    return Load(keys[0], keys[1], *(total(values) for values in rows))


@dataclass(frozen=True)
class Foreseen:
    """The trips, and their load and that of what comes again; what is booked counts in neither."""

    trips: Trips
    load: Load


def foresee(
    jobs: Jobs, weeks: Weeks, trip_minutes: float, together: float, smoke: Smoke | None = None
) -> Foreseen:
    """Expected load of the jobs by week and group; totals over groups are those of all jobs."""
    air = smoke or Smoke()
    trips = trips_of(jobs, weeks, air, together, trip_minutes)
    open_trips = np.flatnonzero(trips.booked < 0)
    chance = trips.made[open_trips] * trips.share[open_trips, None]
    first = _load(
        trips.branch[open_trips], trips.skills[open_trips], trips.minutes[open_trips], chance,
        trips.jobs[open_trips].astype(np.float64), np.ones(len(open_trips)),
    )  # fmt: skip
    again = renewed(jobs, trips.made[trips.of], weeks, air) * jobs.share[:, None]
    part = _part_of_a_trip(jobs, trips.of, together)
    later = _load(
        jobs.branch, jobs.skills, jobs.minutes + trip_minutes * part, again, np.ones(len(jobs)), part
    )
    return Foreseen(trips, added([first, later]))


def _part_of_a_trip(jobs: Jobs, of: IntArray, together: float) -> FloatArray:
    """What share [n] of a trip each job takes when it comes again."""
    if not len(jobs):
        return np.zeros(0)
    again = share_trips(of, np.minimum(jobs.life, jobs.life_cap), together)
    return np.asarray(1.0 / np.bincount(again)[again])


def _load(
    branch: IntArray, skills: IntArray, minutes: FloatArray, chance: FloatArray, jobs: FloatArray,
    trips: FloatArray,
) -> Load:  # fmt: skip
    once = np.minimum(chance, 1.0)
    square = (minutes**2)[:, None]
    rows = [
        minutes[:, None] * chance, square * once * (1.0 - once), square * chance,
        jobs[:, None] * chance, trips[:, None] * chance,
    ]  # fmt: skip
    return _grouped(branch, skills, rows)


def span(minutes: FloatArray, variance: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Between what minutes a week's load lies with 80 %, by the normal approximation; never below nought."""
    away = Z90 * np.sqrt(variance)
    return np.maximum(minutes - away, 0.0), minutes + away
