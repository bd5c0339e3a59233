"""Sites of lives: likelihood beside scipy's Student's t, moments beside full sums, lives left as they are."""

import numpy as np
import pytest
from scipy.stats import t as student

from schedules.planning.facts import Settings
from schedules.planning.forecast import forecast
from schedules.planning.loading import (
    FACTORS,
    GRID,
    METER_PA,
    METHOD_SHARE,
    PAIR_SHAPE,
    SHAPES,
    WANDER,
    Lives,
    Prior,
    Readings,
    growth,
    likelihood,
)
from schedules.planning.sites import sites_of
from schedules.planning.untold import with_untold_changes
from tests.schedules.planning.fleet import CLEAN_PA, one_slot
from tests.schedules.planning.test_loading import CENTRE, CLEAN, flat, homes, learn, read_at

DOUBT = np.full((3, 1), 0.6)


def told() -> tuple[Lives, Readings]:
    return flat([[read_at(0.4, 0.7, 0.2, 0.5, 0.8), read_at(-0.3, 1.4, 0.6)], [read_at(1.0, 2.3, 0.1, 0.9)]])


def centred(lives: Lives) -> np.ndarray:
    return np.full(len(lives.slot), CENTRE)


def test_the_likelihood_is_students_t_of_four_degrees() -> None:
    lives, readings = told()
    seen = likelihood(lives, readings, centred(lives)).reshape(len(GRID), -1, len(SHAPES), len(FACTORS))
    wanted = np.zeros_like(seen, dtype=float)
    for life, exposure, drop in zip(readings.life, readings.exposure_m, readings.drop_pa, strict=True):
        age = exposure / lives.end_m[life]
        for s, shape in enumerate(SHAPES):
            dose = np.exp(CENTRE + GRID) * exposure
            grown = growth(dose, shape)
            slope = shape * dose * np.exp(shape * dose) / np.expm1(shape)
            spread = (METHOD_SHARE * grown) ** 2 + WANDER**2 * (1.15 - age) * np.minimum(
                slope, 3 * grown
            ) ** 2
            for f, factor in enumerate(FACTORS):
                scale = np.sqrt((METER_PA / CLEAN) ** 2 + factor**2 * spread)
                wanted[:, life, s, f] += student.logpdf(drop / CLEAN, 4, factor * grown, scale)
    # Of v^2 / (4 v + d^2)^2.5 a density is twelve times as much.
    counts = np.bincount(readings.life)[None, :, None, None]
    plain = np.exp(CENTRE + GRID.max()) * readings.exposure_m.max() * SHAPES < 30
    assert plain.sum() >= 2
    assert seen[:, :, plain] == pytest.approx((wanted - counts * np.log(12.0))[:, :, plain], abs=2e-4)


def test_a_site_has_the_moments_of_likelihood_times_what_else_is_known() -> None:
    lives, readings = told()
    log = likelihood(lives, readings, centred(lives))
    rng = np.random.default_rng(5)
    mean, variance = rng.normal(0, 0.4, log.shape[1:]), rng.uniform(0.1, 0.8, log.shape[1:])
    site = sites_of(log, mean, variance, DOUBT)
    density = np.exp(log - 0.5 * np.square(GRID[:, None, None] - mean) / variance)
    middle = (density * GRID[:, None, None]).sum(axis=0) / density.sum(axis=0)
    spread = (density * np.square(GRID[:, None, None] - middle)).sum(axis=0) / density.sum(axis=0)
    both = 1.0 / (site.precision + 1.0 / variance)
    held = (np.abs(site.precision) > 0.021) & (site.precision > -0.59 / variance)
    assert held.mean() > 0.9
    assert both[held] == pytest.approx(spread[held] + 1e-3, rel=1e-3)
    assert (both * (site.precision * site.mean + mean / variance))[held] == pytest.approx(
        middle[held], abs=1e-3
    )


def test_readings_that_contradict_all_else_leave_more_in_doubt_and_keep_their_middle() -> None:
    lives, readings = flat([[read_at(2.5, 0.7, 0.12)]])
    log = likelihood(lives, readings, centred(lives))
    mean, variance = np.full(log.shape[1:], -0.5), np.full(log.shape[1:], 0.3)
    site = sites_of(log, mean, variance, DOUBT[:1])
    density = np.exp(log - 0.5 * np.square(GRID[:, None, None] - mean) / variance)
    middle = (density * GRID[:, None, None]).sum(axis=0) / density.sum(axis=0)
    both = 1.0 / (site.precision + 1.0 / variance)
    assert (both > variance).any()
    assert (both <= variance / 0.4 + 1e-9).all()
    assert both * (site.precision * site.mean + mean / variance) == pytest.approx(middle, abs=1e-3)


@pytest.mark.parametrize("ratio", [1.4, 2.0, 2.4, 2.8, 3.2, 6.0])
def test_the_chance_of_being_past_is_near_that_of_the_full_sum_over_the_grid(ratio: float) -> None:
    """One young filter read once, likelihood times prior summed over all pairs and paces."""
    result = forecast(one_slot(days_in=30.0, readings=[(0.01, ratio * CLEAN_PA)]), Settings())
    lives, _ = flat([[[(float(result.used_m[0]), ratio * CLEAN)]]])
    read = Readings(np.zeros(1, dtype=np.int64), result.used_m, np.array([ratio * CLEAN]), np.ones(1))
    log = with_untold_changes(likelihood(lives, read, centred(lives)))[:, 0].astype(float)
    prior = Prior()
    variance = prior.house**2 + prior.slot**2 + prior.life**2
    held = np.exp(log - 0.5 * np.square(GRID[:, None]) / variance) * prior.pairs
    past = growth(np.exp(CENTRE + GRID)[:, None] * result.used_m[0], PAIR_SHAPE) > 2.0
    exact = float((held * past).sum() / held.sum())
    assert float(result.where.past[0]) == pytest.approx(exact, abs=0.3)


def test_only_lives_of_which_else_is_known_by_now_are_reckoned_anew() -> None:
    lives, readings = told()
    log = likelihood(lives, readings, centred(lives))
    mean, variance = np.zeros(log.shape[1:]), np.full(log.shape[1:], 0.5)
    first = sites_of(log, mean, variance, DOUBT)
    mean = mean + np.array([[0.0], [0.2], [0.0]])
    again = sites_of(log, mean, variance, DOUBT, first)
    alone = sites_of(log, mean, variance, DOUBT)
    assert again.moved(mean, variance).tolist() == [False, False, False]
    assert first.moved(mean, variance).tolist() == [False, True, False]
    for name in vars(alone):
        assert getattr(again, name) == pytest.approx(getattr(alone, name), rel=1e-4)


def test_lives_that_nobody_read_change_nothing() -> None:
    every = [[read_at(0.2, 0.7, 0.4), [], read_at(0.5, 0.7, 0.3)], [read_at(0.1, 0.7, 0.9)]]
    few = [[read_at(0.2, 0.7, 0.4), read_at(0.5, 0.7, 0.3)], [read_at(0.1, 0.7, 0.9)]]
    one, other = (learn(homes([0, 1]), *flat(of), Prior()) for of in (every, few))
    assert one.now == pytest.approx(other.now)
    assert one.evidence == pytest.approx(other.evidence)
