"""What the operating points of a fleet cost beside one pass of numpy over as many curves."""

import time
from collections.abc import Callable

import numpy as np
import pytest

from equipment.airside.operating import Paths, Tables, fixed_speed

SYSTEMS = 100_000
POINTS = 6


@pytest.mark.benchmark
def test_operating_points_of_100000_systems(ratio: Callable[[str, float, float], float]) -> None:
    rng = np.random.default_rng(4)
    flows = np.linspace(0.2, 0.8, POINTS) * rng.uniform(0.8, 1.2, (SYSTEMS, 1))
    tables = Tables(flows, np.linspace(220.0, 0.0, POINTS) * rng.uniform(0.9, 1.1, (SYSTEMS, 1)))
    one = np.ones(SYSTEMS)
    paths = Paths(
        rng.uniform(100, 400, SYSTEMS), rng.uniform(10, 60, SYSTEMS), 0.4 * one, 1.18 * one, 1.5 * one
    )
    start = time.perf_counter()
    np.power(np.tile(flows, (1, 10)), 1.18)
    yardstick_s = time.perf_counter() - start
    start = time.perf_counter()
    points = fixed_speed(tables, paths)
    seconds = time.perf_counter() - start
    met = ~(points.overcome | points.beyond)
    assert met.mean() > 0.9
    assert np.allclose(tables.at(points.airflow_m3s)[met], points.static_pa[met], rtol=1e-6)
    ratio("operating points of 100,000 systems / 60 powers of each airflow", seconds, yardstick_s)
