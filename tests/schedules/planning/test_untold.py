"""Lives that may hide a change: readings rule out no faster pace for sure, and slower ones as before."""

import numpy as np
import pytest

from schedules.planning.loading import GRID, PAIR_SHAPE, Prior, likelihood
from schedules.planning.pooling import learn
from schedules.planning.untold import UNTOLD, with_untold_changes
from tests.schedules.planning.test_loading import CENTRE, flat, homes, mean_and_spread, read_at

SHAPE = int(np.flatnonzero(PAIR_SHAPE > 0.6)[2])


def logs(*doses: float, pace: float = 0.0) -> np.ndarray:
    lives, readings = flat([[read_at(pace, 0.7, *doses)]])
    return likelihood(lives, readings, np.full(1, CENTRE))


def test_one_reading_is_held_to_every_younger_age_alike() -> None:
    """Beside the mean likelihood over ages drawn evenly, each worked out anew from the reading itself."""
    lives, readings = flat([[read_at(0.4, 0.7, 0.9)]])
    plain = likelihood(lives, readings, np.full(1, CENTRE))[:, 0, SHAPE].astype(float)
    draws = np.random.default_rng(2).uniform(0.0, 1.0, 4000)
    # The age as a share of the life stays as on record, so that the same scatter is told of each.
    drawn = np.array([np.interp(GRID + np.log(share), GRID, np.exp(plain)) for share in draws]).mean(axis=0)
    wanted = np.log((1 - UNTOLD) * np.exp(plain) + UNTOLD * drawn)
    seen = with_untold_changes(logs(0.9, pace=0.4))[:, 0, SHAPE]
    within = plain > plain.max() - 12
    assert seen[within] == pytest.approx(wanted[within], abs=0.15)


def test_what_says_nothing_still_says_nothing() -> None:
    level = np.full((len(GRID), 2, 3), -4.0, dtype=np.float32)
    assert with_untold_changes(level) == pytest.approx(level, abs=1e-5)


def test_slow_readings_leave_a_fast_pace_possible_and_fast_ones_no_slow_pace() -> None:
    plain, seen = (made(logs(0.6, 0.9))[:, 0, SHAPE] for made in (lambda log: log, with_untold_changes))
    best = int(plain.argmax())
    assert seen[best] == pytest.approx(plain[best] + np.log(1 - UNTOLD), abs=0.03)
    faster, slower = best + 8, best - 8
    assert seen[faster] > plain[faster] + 5
    assert seen[slower] == pytest.approx(plain[slower] + np.log(1 - UNTOLD), abs=0.2)


def test_no_number_is_lost_where_readings_rule_out_nearly_all() -> None:
    steep = np.zeros((len(GRID), 1, 1), dtype=np.float32)
    steep[1:] = -1e4
    assert np.isfinite(with_untold_changes(steep)).all()


def test_a_slow_life_among_fast_ones_counts_for_less_than_a_fast_one_among_slow() -> None:
    prior = Prior()
    fast = [read_at(1.2, 0.7, 0.4, 0.8) for _ in range(2)]
    slow = [read_at(-1.2, 0.7, 0.4, 0.8) for _ in range(2)]
    hidden, _ = mean_and_spread(learn(homes([0]), *flat([[*fast, slow[0], []]]), prior))
    dusty, _ = mean_and_spread(learn(homes([0]), *flat([[*slow, fast[0], []]]), prior))
    assert hidden + dusty > 0.1
