"""Sites of lives: likelihood beside scipy's Student's t, moments beside full sums, lives left as they are."""

import numpy as np
import pytest
from scipy.stats import t as student

from schedules.planning.loading import (
    FACTORS,
    GRID,
    METER_PA,
    METHOD_SHARE,
    SHAPES,
    WANDER,
    Lives,
    Prior,
    Readings,
    growth,
    likelihood,
)
from schedules.planning.sites import sites_of
from tests.schedules.planning.test_loading import CENTRE, CLEAN, flat, homes, learn, read_at


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
    site = sites_of(log, mean, variance)
    density = np.exp(log - 0.5 * np.square(GRID[:, None, None] - mean) / variance)
    middle = (density * GRID[:, None, None]).sum(axis=0) / density.sum(axis=0)
    spread = (density * np.square(GRID[:, None, None] - middle)).sum(axis=0) / density.sum(axis=0)
    both = 1.0 / (site.precision + 1.0 / variance)
    held = (site.precision > 0.021) & (np.abs(site.mean) < 6.0)
    assert held.mean() > 0.9
    assert both[held] == pytest.approx(spread[held] + 1e-3, rel=1e-3)
    assert (both * (site.precision * site.mean + mean / variance))[held] == pytest.approx(
        middle[held], abs=1e-3
    )


def test_only_lives_of_which_else_is_known_by_now_are_reckoned_anew() -> None:
    lives, readings = told()
    log = likelihood(lives, readings, centred(lives))
    mean, variance = np.zeros(log.shape[1:]), np.full(log.shape[1:], 0.5)
    first = sites_of(log, mean, variance)
    mean = mean + np.array([[0.0], [0.2], [0.0]])
    again = sites_of(log, mean, variance, first)
    alone = sites_of(log, mean, variance)
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
