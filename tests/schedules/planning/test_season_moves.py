"""What to move: by hand, against every way there is, and never out of a window."""

import itertools

import numpy as np
import pytest

from schedules.planning.season_moves import DAY_PAST_PRICE, Movable, Staff, alike, move

NONE = np.zeros(1, dtype=np.int64)


def movable(**given: object) -> Movable:
    count = len(given["week"])  # type: ignore[arg-type]
    usual = {"branch": 0, "skills": 0, "jobs": 1.0, "waste": 0.0, "past": 0.0}
    whole = {"branch", "skills", "week", "earliest", "latest"}
    told = {**usual, "latest": given["week"], **given}
    return Movable(
        **{
            name: np.array(np.broadcast_to(value, count), dtype=np.int64 if name in whole else float)
            for name, value in told.items()
        }
    )


def everybody(*minutes: float) -> Staff:
    return Staff(NONE, NONE, np.array([minutes]))


def test_the_cheapest_is_pulled_forward_as_far_as_there_is_room() -> None:
    # Week two has 60 minutes too many; week one room for 50, week nought for all.
    these = movable(week=[2, 2], earliest=[1, 0], minutes=[100.0, 100.0], waste=[0.01, 0.02])
    found = move(these, (NONE, NONE), np.array([[0.0, 50.0, 200.0]]), everybody(100, 100, 140))
    moved = {(int(a), int(b)): m for a, b, m in zip(found.week, found.to, found.minutes, strict=True)}
    # 50 of the cheap class one week; ten more of the dear one two weeks, as week one is full then.
    assert moved == pytest.approx({(2, 1): 50, (2, 0): 10})
    assert found.money.sum() == pytest.approx(50 * 0.01 + 10 * 0.02 * 2)
    assert found.left.sum() == pytest.approx(0)


def test_nothing_leaves_its_window_even_where_it_stays_over_full() -> None:
    these = movable(week=[2], earliest=[1], minutes=[100.0])
    found = move(these, (NONE, NONE), np.array([[0.0, 90.0, 200.0]]), everybody(100, 100, 100))
    assert found.minutes.sum() == pytest.approx(10)
    assert found.left[0].tolist() == pytest.approx([0, 0, 90])


def test_what_waits_costs_filter_days() -> None:
    these = movable(week=[0], earliest=[0], latest=[1], minutes=[60.0], past=[0.05])
    found = move(these, (NONE, NONE), np.array([[100.0, 0.0]]), everybody(70, 100))
    assert (found.to.tolist(), found.minutes.tolist()) == ([1], pytest.approx([30]))
    assert found.past.sum() == pytest.approx(1.5)
    assert found.jobs.sum() == pytest.approx(0.5)


def test_room_of_those_without_the_skill_is_no_room() -> None:
    these = movable(week=[1], earliest=[0], minutes=[60.0], skills=[1])
    staff = Staff(np.zeros(2, dtype=np.int64), np.array([1, 0]), np.array([[40.0, 40.0], [500.0, 500.0]]))
    needs = (np.zeros(2, dtype=np.int64), np.array([1, 0]))
    found = move(these, needs, np.array([[30.0, 60.0], [100.0, 100.0]]), staff)
    assert found.minutes.sum() == pytest.approx(10)
    assert found.left.sum() == pytest.approx(10)


def test_a_set_of_skills_that_is_not_counted_apart_needs_none() -> None:
    these = movable(week=[1], earliest=[0], minutes=[60.0], skills=[8])
    found = move(these, (NONE, NONE), np.array([[0.0, 60.0]]), everybody(100, 20))
    assert found.minutes.sum() == pytest.approx(40)
    assert found.left.sum() == pytest.approx(0)


def test_branches_do_not_help_each_other() -> None:
    these = movable(week=[1, 1], earliest=[0, 0], minutes=[60.0, 60.0], branch=[0, 1])
    two = np.array([0, 1])
    load, there = np.array([[100.0, 60.0], [0.0, 60.0]]), np.array([[100.0, 20.0], [100.0, 20.0]])
    found = move(these, (two, two * 0), load, Staff(two, two * 0, there))
    assert found.left.sum(axis=1).tolist() == pytest.approx([40, 0])


@pytest.mark.parametrize("seed", range(12))
def test_no_way_of_dealing_whole_jobs_is_better(seed: int) -> None:
    """Five jobs of ten minutes, three weeks, capacities in tens: the program's answer is whole, so it is the
    best of all ways to deal them."""
    rng = np.random.default_rng(seed)
    week = rng.integers(0, 3, 5)
    these = movable(
        week=week, earliest=np.maximum(week - rng.integers(0, 3, 5), 0),
        latest=np.minimum(week + rng.integers(0, 2, 5), 2), minutes=np.full(5, 10.0),
        waste=rng.uniform(0.1, 1, 5), past=rng.uniform(0.1, 1, 5),
    )  # fmt: skip
    there = 10.0 * rng.integers(0, 4, 3)
    load = np.bincount(week, weights=np.full(5, 10.0), minlength=3)
    found = move(these, (NONE, NONE), load[None], everybody(*there))
    after = load.copy()
    np.subtract.at(after, found.week, found.minutes)
    np.add.at(after, found.to, found.minutes)
    carried = left_on(after, there)
    assert found.left[0] == pytest.approx(np.maximum(np.diff(carried, prepend=0), 0), abs=1e-6)
    told = carried.sum(), found.money.sum() + found.past.sum() * DAY_PAST_PRICE

    ways = itertools.product(*(range(a, b + 1) for a, b in zip(these.earliest, these.latest, strict=True)))
    best = min(outcome(these, np.array(way), there) for way in ways)
    assert told == pytest.approx(best, abs=1e-6)


def outcome(these: Movable, way: np.ndarray, there: np.ndarray) -> tuple[float, float]:
    left = left_on(np.bincount(way, weights=these.minutes, minlength=3), there).sum()
    early, late = np.maximum(these.week - way, 0), np.maximum(way - these.week, 0)
    price = (these.waste * early + these.past * late * DAY_PAST_PRICE) @ these.minutes
    return round(float(left), 6), round(float(price), 6)


def left_on(load: np.ndarray, there: np.ndarray) -> np.ndarray:
    """What each week carries on where each has so much work and so much time."""
    carried = [0.0]
    for work, room in zip(load, there, strict=True):
        carried.append(max(carried[-1] + float(work) - float(room), 0.0))
    return np.array(carried[1:])


def test_the_room_of_weeks_that_work_off_what_is_left_is_no_room() -> None:
    """Week nought has 150 minutes too many, which fill weeks one and two; what week three has too many could
    be pulled forward into them by its window, and would only push others on."""
    load, there = np.array([[250.0, 20.0, 30.0, 160.0]]), everybody(100, 100, 100, 100)
    these = movable(week=[3], earliest=[1], minutes=[160.0], waste=[0.01])
    found = move(these, (NONE, NONE), load, there)
    assert not len(found.week)
    assert found.left[0].tolist() == pytest.approx([150, 0, 0, 60])
    # With an hour more in week two what is free there is taken.
    found = move(these, (NONE, NONE), load, everybody(100, 100, 160, 100))
    assert (found.week.tolist(), found.to.tolist(), found.minutes.tolist()) == ([3], [2], pytest.approx([60]))


def test_alike_trips_are_one_class_and_nothing_is_lost() -> None:
    rng = np.random.default_rng(3)
    week = rng.integers(0, 4, 500)
    these = movable(
        week=week, earliest=np.maximum(week - 1, 0), minutes=rng.uniform(20, 60, 500),
        waste=rng.choice([0.0, 0.01, 0.011, 0.5], 500), branch=rng.integers(0, 2, 500),
    )  # fmt: skip
    few = alike(these)
    assert len(few) <= 4 * 2 * 4
    assert few.minutes.sum() == pytest.approx(these.minutes.sum())
    assert few.jobs.sum() == pytest.approx(500)
    assert few.minutes @ few.waste == pytest.approx(these.minutes @ these.waste)


def test_nothing_to_move_is_told_as_left() -> None:
    found = move(movable(week=[], earliest=[], minutes=[]), (NONE, NONE), np.array([[50.0]]), everybody(20))
    assert found.left.tolist() == [[30.0]]
    assert not len(found.week)
