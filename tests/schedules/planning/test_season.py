"""Load by week: a small season by hand, renewal and span by simulation, quantiles by scipy."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from schedules.planning.season import (
    LATER,
    LEARNED,
    NEAR_DAYS,
    Jobs,
    Load,
    Smoke,
    Weeks,
    added,
    by_week,
    due_by,
    foresee,
    life_by,
    renewed,
    share_trips,
    span,
    split_normal,
    split_quantile,
)
from tests.schedules.planning.seasons import jobs

MONDAY, THURSDAY = 0, 3
STILL = Smoke()


def load_of(these: Jobs, weeks: Weeks, trip: float = 20.0, together: float = 45.0) -> Load:
    return foresee(these, weeks, trip, together).load


def test_the_present_week_ends_on_sunday() -> None:
    assert Weeks.beginning(MONDAY, 3).ends.tolist() == [7, 14, 21]
    assert Weeks.beginning(THURSDAY, 3).ends.tolist() == [4, 11, 18]
    assert Weeks.beginning(6, 2).done.tolist() == [0, 4]


def test_a_small_season_by_hand() -> None:
    # Four weeks from a Monday. One home: a filter overdue and one due on day 10 share a trip of 20 minutes
    # in the first week, 20 + 12 + 12. Another home's task of 60 minutes on day 16 lies in the third. A third
    # home's filter, due on day 13, the last day of week two, comes again after 14 days: in week four.
    these = jobs([-3, 10, 16, 13], home=[1, 1, 2, 3], minutes=[12, 12, 60, 12], life=[1e6, 1e6, 365, 14])
    found = load_of(these, Weeks.beginning(MONDAY, 4))
    assert found.minutes.sum(axis=0) == pytest.approx([44, 32, 80, 32])
    assert found.jobs.sum(axis=0) == pytest.approx([2, 1, 1, 1])
    assert found.trips.sum(axis=0) == pytest.approx([1, 1, 1, 1])
    assert found.variance.sum() == pytest.approx(0)


def test_what_is_changed_in_week_three_with_ten_weeks_of_life_is_due_in_week_thirteen() -> None:
    these = jobs([3 * 7 + 2], life=70)
    found = load_of(these, Weeks.beginning(MONDAY, 26)).jobs[0]
    assert np.flatnonzero(found > 0.5).tolist() == [3, 13, 23]
    assert found.sum() == pytest.approx(3)


def passage(due: float, low: float, high: float, limit: float) -> Any:
    """The law of the first due day, by scipy."""
    width, far = (low + high) / 2 / stats.norm.ppf(0.9), 1 - np.exp(-((due / NEAR_DAYS) ** 1.5))
    mean, learned = due + far * LATER * width ** (2 / 3), far * (LEARNED * width) ** 2 / max(due, limit)
    return stats.invgauss(mu=learned / mean, scale=mean**2 / learned)


@given(st.floats(1, 300), st.floats(0.5, 80), st.floats(0.5, 120), st.floats(-20, 400))
def test_the_first_due_day_is_scipys_law(due: float, low: float, high: float, limit: float) -> None:
    weeks = Weeks.beginning(MONDAY, 26)
    chance = due_by(jobs([due], low=low, high=high, limit=limit), weeks, STILL)[0]
    assert chance == pytest.approx(passage(due, low, high, limit).cdf(weeks.ends - 0.5), abs=1e-6)


def test_the_law_is_the_first_passage_of_a_day_that_wanders() -> None:
    """Drawn day by day: the due day comes nearer by a day and moves by what is learned; crossings within a
    day by the chance of a bridge between its ends."""
    rng, runs, due, low, high, limit = np.random.default_rng(5), 20_000, 24.0, 20.0, 26.0, 40.0
    width, far = (low + high) / 2 / stats.norm.ppf(0.9), 1 - np.exp(-((due / NEAR_DAYS) ** 1.5))
    rate = far * (LEARNED * width) ** 2 / limit
    away, alive, met = np.full(runs, due + far * LATER * width ** (2 / 3)), np.ones(runs, dtype=bool), []
    for _day in range(70):
        after = away - 1 + np.sqrt(rate) * rng.standard_normal(runs)
        bridge = np.exp(-2 * np.maximum(away, 0) * np.maximum(after, 0) / rate)
        alive &= rng.random(runs) >= bridge
        away = after
        met.append(1 - alive.mean())
    days = np.array([6, 13, 20, 27, 41, 69])
    weeks = Weeks(days + 1)
    told = due_by(jobs([due], low=low, high=high, limit=limit), Weeks(days + 1), STILL)[0]
    # A day's end against the half day before it: a little later.
    assert told == pytest.approx(np.interp(weeks.ends - 0.5, np.arange(1, 71), met), abs=0.012)


@pytest.mark.parametrize(("due", "least"), [(1.0, 0.97), (2.0, 0.85), (3.0, 0.7)])
def test_what_is_due_in_days_falls_due_this_week(due: float, least: float) -> None:
    """Of eighteen fleets' filters due in two days 95 in a hundred fell due within seven, in three 83."""
    chance = due_by(jobs([due], low=20, high=30, limit=25), Weeks.beginning(MONDAY, 2), STILL)[0]
    assert chance[0] > least


def test_next_to_nothing_falls_due_before_anything_can_be_learned() -> None:
    """Thirty filters put in yesterday, due in forty days: none of them this week, most by the ninth."""
    these = jobs([40.0] * 30, low=28, high=40, limit=60)
    found = load_of(these, Weeks.beginning(MONDAY, 12)).jobs.sum(axis=0)
    assert found[0] < 0.01
    assert found[:3].sum() < 3
    assert found[:9].sum() > 24


def test_all_chance_beyond_the_cap_lies_on_it() -> None:
    week = by_week(due_by(jobs([30], low=7, high=14, cap=31), Weeks.beginning(MONDAY, 8), STILL))[0]
    assert week.sum() == pytest.approx(1)
    assert week[5:] == pytest.approx(0)
    free = by_week(due_by(jobs([30], low=7, high=14), Weeks.beginning(MONDAY, 8), STILL))[0]
    assert week[4] == pytest.approx(1 - free[:4].sum())


def test_what_is_never_due_is_no_work_until_its_cap() -> None:
    found = load_of(jobs([np.inf, np.inf], cap=[np.inf, 15]), Weeks.beginning(MONDAY, 4))
    assert found.jobs.sum(axis=0) == pytest.approx([0, 0, 1, 0])


@given(
    st.floats(0.02, 0.98), st.floats(1, 100), st.floats(1, 100)
)  # the split normal is two halves of scipy's
def test_the_split_normals_quantile_is_the_inverse_of_its_chance(
    chance: float, low: float, high: float
) -> None:
    lows, highs = np.array([low]), np.array([high])
    day = split_quantile(chance, lows, highs)
    assert split_normal(day, np.zeros(1), lows, highs)[0] == pytest.approx(chance, abs=1e-9)
    width = (low if chance < 0.5 else high) / stats.norm.ppf(0.9)
    assert day[0] == pytest.approx(stats.norm.ppf(chance, scale=width), abs=1e-9)


def test_lives_are_scipys_log_normal() -> None:
    days = np.array([20.0, 50.0, 70.0, 200.0])
    found = life_by(jobs([0], life=70, scatter=0.35), days, days)[0]
    assert found == pytest.approx(stats.lognorm.cdf(days, s=0.35, scale=70))


def test_jobs_of_a_home_join_the_first_and_not_a_chain() -> None:
    # 0, 30 and 45 share; 60 is more than 45 days from the first and opens a trip that 100 joins.
    trips = share_trips(np.array([7, 7, 7, 7, 7, 8]), np.array([60.0, 0, 45, 30, 100, 0]), 45)
    assert trips[1] == trips[2] == trips[3]
    assert trips[0] == trips[4] != trips[1]
    assert trips[5] not in trips[:5]


def simulate(these: Jobs, weeks: Weeks, runs: int, seed: int) -> np.ndarray:
    """Times [runs, n, W] that each job is done in each week, drawn day by day as the model's words say it:
    a trip is made when its first job falls due, lives begin on the middle day of a week."""
    rng = np.random.default_rng(seed)
    trips = share_trips(these.home, np.maximum(np.minimum(these.due, these.cap), 0), 45)
    done = np.zeros((runs, len(these), len(weeks)))
    told = np.stack([these.due, these.low, these.high, these.limit], axis=1)
    draws = [passage(*row).rvs(runs, random_state=rng) if row[0] > 0 else np.zeros(runs) for row in told]
    due = np.where(these.overdue, 0, np.minimum(np.round(np.stack(draws, axis=1)), these.cap))
    first = np.stack([due[:, trips == trip].min(axis=1) for trip in range(trips.max() + 1)], axis=1)[:, trips]
    week = np.searchsorted(weeks.ends, first, side="right")
    run, job = np.indices(week.shape)
    for _ in range(len(weeks)):
        some = week < len(weeks)
        np.add.at(done, (run[some], job[some], week[some]), 1)
        life = these.life * np.exp(these.scatter * rng.standard_normal(week.shape))
        began = weeks.done[np.minimum(week, len(weeks) - 1)]
        again = began + np.round(np.minimum(life, np.floor(these.life_cap)))
        week = np.where(some, np.maximum(np.searchsorted(weeks.ends, again, side="right"), week + 1), week)
    return done


def some_fleet(count: int, seed: int) -> Jobs:
    rng = np.random.default_rng(seed)
    return jobs(
        list(np.round(rng.uniform(-20, 100, count))), home=rng.integers(0, count // 2, count),
        low=rng.uniform(3, 20, count), high=rng.uniform(5, 40, count), limit=rng.uniform(20, 120, count),
        cap=np.round(rng.uniform(40, 200, count)), life=rng.uniform(20, 120, count), scatter=0.35,
        life_cap=np.round(rng.uniform(50, 150, count)),
    )  # fmt: skip


def test_the_renewal_agrees_with_a_simulation() -> None:
    these, weeks, runs = some_fleet(40, 1), Weeks.beginning(THURSDAY, 20), 4000
    seen = simulate(these, weeks, runs, 2)
    found = load_of(these, weeks)
    by_hand = seen.sum(axis=1)
    error = by_hand.std(axis=0) / np.sqrt(runs)
    assert (np.abs(found.jobs.sum(axis=0) - by_hand.mean(axis=0)) < 4.5 * error + 1e-9).all()
    assert found.jobs.sum() == pytest.approx(seen.sum() / runs, rel=0.01)


def test_the_span_holds_eight_of_ten_simulated_weeks() -> None:
    # Jobs in homes of their own: then a week's minutes are a sum of independent chances.
    these, weeks, runs = some_fleet(300, 3), Weeks.beginning(MONDAY, 14), 3000
    these = these.of(np.arange(300))
    alone = Jobs(**{**vars(these), "home": np.arange(300)})
    found = load_of(alone, weeks)
    minutes = simulate(alone, weeks, runs, 4).sum(axis=1) * 32.0
    assert found.variance.sum(axis=0) == pytest.approx(minutes.var(axis=0), rel=0.15)
    low, high = span(found.minutes.sum(axis=0), found.variance.sum(axis=0))
    inside = ((minutes >= low) & (minutes <= high)).mean(axis=0)
    # The first week's overdue work is certain; whole jobs of 32 minutes make the share jump about 0.8.
    assert inside[1:] == pytest.approx(np.full(13, 0.8), abs=0.07)


def test_smoke_brings_what_dust_decides_and_leaves_caps_alone() -> None:
    # Three times the dust from day 7 for 14 days: what was due on day 35 has 28 days to go then, of which
    # 14 pass 42: due on day 7 + 28 / 3 = 16.3.
    weeks = Weeks.beginning(MONDAY, 6)
    smoke = Smoke(7, 14, 3.0)
    assert smoke.clock(np.array([7.0, 21.0, 30.0])) == pytest.approx([7, 49, 58])
    dust, cap = jobs([35]), jobs([np.inf], cap=35)
    assert np.argmax(by_week(due_by(dust, weeks, smoke))) == 2
    assert np.argmax(by_week(due_by(cap, weeks, smoke))) == 5


def test_smoke_shortens_the_lives_that_it_meets() -> None:
    weeks = Weeks.beginning(MONDAY, 12)
    first = np.eye(12)[:1]
    usual = renewed(jobs([0], life=42), first, weeks, STILL)[0]
    smoky = renewed(jobs([0], life=42), first, weeks, Smoke(7, 14, 3.0))[0]
    assert np.argmax(usual) == 6
    assert np.argmax(smoky) == 2


def test_totals_over_groups_are_those_of_all() -> None:
    rng = np.random.default_rng(5)
    these = some_fleet(60, 6)
    apart = Jobs(**{**vars(these), "skills": rng.integers(0, 4, 60), "branch": these.home % 3})
    weeks = Weeks.beginning(THURSDAY, 26)
    found, whole = load_of(apart, weeks), load_of(these, weeks)
    assert found.minutes.sum(axis=0) == pytest.approx(whole.minutes.sum(axis=0))
    assert found.variance.sum(axis=0) == pytest.approx(whole.variance.sum(axis=0))
    parts = [load_of(apart.of(apart.branch == one), weeks) for one in range(3)]
    assert added(parts).minutes == pytest.approx(found.minutes)


def test_what_is_booked_is_no_expected_work_but_comes_again() -> None:
    these = jobs([5], booked=1, life=14)
    found = load_of(these, Weeks.beginning(MONDAY, 6))
    assert found.jobs[0] == pytest.approx([0, 0, 0, 1, 0, 1])


def test_a_share_of_households_counts_as_that_share_with_its_scatter() -> None:
    found = load_of(jobs([10], share=0.25), Weeks.beginning(MONDAY, 3))
    assert found.minutes[0] == pytest.approx([0, 8, 0])
    assert found.variance[0] == pytest.approx([0, 32**2 * 0.25 * 0.75, 0])


def test_no_jobs_are_no_load() -> None:
    found = foresee(jobs([]), Weeks.beginning(MONDAY, 5), 20, 45)
    assert found.load.minutes.shape == (0, 5)
    assert added([found.load, load_of(jobs([3]), Weeks.beginning(MONDAY, 5))]).minutes.sum() == 32
