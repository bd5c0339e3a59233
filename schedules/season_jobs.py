"""Rows of the record to jobs of the season, under what is supposed."""

from dataclasses import dataclass

import numpy as np

from schedules.models import Policy
from schedules.planning.arrays import FloatArray, IntArray
from schedules.planning.season import (
    LIFE_SCATTER,
    Jobs,
    Weeks,
    joined,
    split_quantile,
)
from schedules.planning.windows import LEAST_EARLY_DAYS, WASTE
from schedules.season_rows import REASONS, Filters, Rows
from schedules.visits import MINUTES_A_FILTER

# As the form for smoke over a place proposes it.
USUAL_SMOKE = 3.0
_SHORTEST_LIFE = 7.0
# A visit's jobs are a home of their own: nothing else joins a trip that stands.
_VISITS_FROM, _HOUSEHOLDS_FROM = 10**12, 2 * 10**12


@dataclass(frozen=True)
class WhatIf:
    """What is supposed beside what stands: a technician (pk) less, weeks of smoke from week ``smoke_from``
    (nought is the present one), another accepted risk, a calendar cap of so many days, customers more."""

    without: int = 0
    smoke_weeks: int = 0
    smoke_from: int = 0
    smoke_factor: float = USUAL_SMOKE
    risk: float | None = None
    cap_days: int | None = None
    customers: int = 0

    @property
    def anything(self) -> bool:
        """Whether it differs from what stands."""
        numbers = self.without or self.smoke_weeks or self.customers
        return bool(numbers) or self.risk is not None or self.cap_days is not None


def jobs_of(rows: Rows, what_if: WhatIf, weeks: Weeks, *, booked: bool = True) -> Jobs:
    """Filters that end with a technician, and tasks. Without ``booked``, as if no visit stood."""
    weeks_booked = np.searchsorted(weeks.ends, rows.booked.day, side="right").astype(np.int64)
    if not booked:
        weeks_booked[:] = -1
    return joined([_filters(rows, what_if, weeks_booked), _tasks(rows, weeks_booked)])


def _homes(site: IntArray, visit: IntArray, week: IntArray) -> IntArray:
    return np.where(week >= 0, _VISITS_FROM + visit, site).astype(np.int64)


def _weeks_of(visit: IntArray, weeks_booked: IntArray) -> IntArray:
    return np.where(visit >= 0, np.append(weeks_booked, -1)[visit], -1).astype(np.int64)


def waits_days(policy: Policy) -> int:
    """Days after its date until a household that does nothing is rung about."""
    return policy.follow_up_days + policy.call_after_days


def _filters(rows: Rows, what_if: WhatIf, weeks_booked: IntArray) -> Jobs:
    these, policy = rows.filters, rows.policy
    low = np.nan_to_num(np.maximum(these.p50 - these.p10, 0.0))
    high = np.where(np.isnan(these.p90), low, np.maximum(these.p90 - these.p50, 0.0))
    high = np.where(np.isnan(these.p50), 0.0, high)
    stands = split_quantile(these.risk, low, high)
    asked = stands if what_if.risk is None else split_quantile(what_if.risk, low, high)
    began = np.where(np.isnan(these.began), these.due - these.cap_days, these.began)
    # Households who do nothing are rung about after the letters.
    late = np.where(these.by_desk, 0.0, float(waits_days(policy)))
    due = _dust_day(these, asked, stands)
    due = np.where(np.isinf(due), due, np.maximum(due, began + policy.shortest_days))
    life_cap = np.fmin(_cap_days(these, what_if), these.medium_days)
    cap = _cap_day(these, began, life_cap, what_if)
    life = np.where(np.isinf(due), life_cap, np.maximum(due - began, _SHORTEST_LIFE))
    week = _weeks_of(these.visit, weeks_booked)
    count = len(these.site)
    alone = _HOUSEHOLDS_FROM + np.arange(count)
    price = np.where(np.isnan(these.price), _usual(these.price), these.price)
    whole_life = np.maximum(np.minimum(life, life_cap), _SHORTEST_LIFE)
    return Jobs(
        home=np.where(these.by_desk, _homes(these.site, these.visit, week), alone),
        branch=these.branch,
        skills=np.zeros(count, dtype=np.int64),
        due=due + late,
        low=low,
        high=high,
        cap=cap + late,
        life=life,
        scatter=np.full(count, LIFE_SCATTER),
        life_cap=np.maximum(life_cap, 1.0),
        minutes=np.full(count, MINUTES_A_FILTER * policy.stay_factor),
        share=np.where(these.by_desk, 1.0, rows.share),
        booked=week,
        early_days=np.maximum(LEAST_EARLY_DAYS, WASTE * np.maximum(these.due - began, 0.0)),
        waste_a_day=price / whole_life,
        limit=these.p50,
    )


def _dust_day(these: Filters, asked: FloatArray, stands: FloatArray) -> FloatArray:
    """The day that dust asks for: the plan's own where dust decided, else that of the risk, and none where
    the drop could not be reckoned."""
    at_risk = these.p50 + asked
    dust = np.where(np.isnan(at_risk), np.inf, at_risk)
    # Where calendar or medium decided, dust asks for no sooner day at the risk that stands.
    later = np.maximum(these.p50 + stands, these.due) + asked - stands
    capped = np.where(np.isnan(later), np.inf, later)
    by_risk = np.where(np.isnan(these.p50), these.due, these.due + asked - stands)
    by_cost = np.minimum(these.due, dust)
    reason = these.reason
    return np.select([_is(reason, "risk"), _is(reason, "cost")], [by_risk, by_cost], capped)


def _is(reason: IntArray, name: str) -> np.ndarray:
    return np.asarray(reason == REASONS.index(name))


def _cap_days(these: Filters, what_if: WhatIf) -> FloatArray:
    return these.cap_days if what_if.cap_days is None else np.minimum(these.cap_days, what_if.cap_days)


def _cap_day(these: Filters, began: FloatArray, life_cap: FloatArray, what_if: WhatIf) -> FloatArray:
    """The day of calendar or medium: the plan's where one of them decided."""
    decided = _is(these.reason, "calendar") | _is(these.reason, "medium")
    full = np.fmin(these.cap_days, these.medium_days)
    cap = np.where(decided, these.due, np.maximum(began + full, these.due))
    return np.asarray(np.minimum(cap, began + life_cap) if what_if.cap_days is not None else cap)


def _usual(price: FloatArray) -> float:
    known = price[~np.isnan(price)]
    return float(np.median(known)) if len(known) else 0.0


def _tasks(rows: Rows, weeks_booked: IntArray) -> Jobs:
    these = rows.tasks
    count = len(these.site)
    week = _weeks_of(these.visit, weeks_booked)
    zero = np.zeros(count)
    return Jobs(
        home=_homes(these.site, these.visit, week),
        branch=these.branch,
        skills=these.skills,
        # The calendar's days, which no dust brings nearer.
        due=np.full(count, np.inf),
        low=zero,
        high=zero,
        cap=these.due,
        life=np.full(count, np.inf),
        scatter=zero,
        life_cap=these.interval,
        minutes=these.minutes * rows.policy.stay_factor,
        share=np.ones(count),
        booked=week,
        early_days=np.maximum(LEAST_EARLY_DAYS, WASTE * these.interval),
        waste_a_day=zero,
        limit=np.full(count, np.nan),
    )
