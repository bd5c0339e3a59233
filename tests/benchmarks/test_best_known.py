"""RC208, 100 stops: the gap to its best-known value against time, beside the bare library's."""

from statistics import median
from typing import Any

import numpy as np
import pytest
import pyvrp
from pyvrp.stop import MaxRuntime

from schedules.planning.routing import Seconds, check, solve
from tests.published.test_routing_instances import BEST_KNOWN, CAPACITY, SERVICE, VEHICLES, rc208

pytestmark = [pytest.mark.benchmark, pytest.mark.long]
SEEDS = range(1, 6)


def bare(seconds: float, seed: int) -> int:
    """What the library itself finds, every stop required."""
    problem = rc208()
    ways: Any = np.array(problem.travel_s, dtype=np.int64)
    first, last = problem.technicians[0].shift
    clients = [
        pyvrp.Client(
            at,
            delivery=[stop.load],
            service_duration=10 * SERVICE,
            tw_early=stop.windows[0][0],
            tw_late=stop.windows[0][1],
        )
        for at, stop in enumerate(problem.stops, start=1)
    ]
    data = pyvrp.ProblemData(
        locations=[pyvrp.Location(0, 0)] * len(ways),
        clients=clients,
        depots=[pyvrp.Depot(0)],
        vehicle_types=[pyvrp.VehicleType(VEHICLES, [CAPACITY], tw_early=first, tw_late=last)],
        distance_matrices=[ways],
        duration_matrices=[ways],
    )
    return int(pyvrp.solve(data, MaxRuntime(seconds), seed, collect_stats=False).best.distance())


def ours(seconds: float, seed: int) -> int:
    """What the desk's solver finds."""
    problem = rc208()
    solution = solve(problem, Seconds(seconds), seed)
    assert check(problem, solution) == []
    assert solution.unserved == ()
    return solution.travel_s


@pytest.mark.parametrize("seconds", [3, 10, 30])
def test_the_gap_to_the_best_known_value(seconds: int) -> None:
    mine = [ours(seconds, seed) for seed in SEEDS]
    theirs = [bare(seconds, seed) for seed in SEEDS]
    assert min(*mine, *theirs) >= BEST_KNOWN
    gaps = [100 * (median(costs) / BEST_KNOWN - 1) for costs in (mine, theirs)]
    print(
        f"RC208 after {seconds} s: median of five seeds {gaps[0]:.2f} % over the best known "
        f"({min(mine)} to {max(mine)}), the bare library {gaps[1]:.2f} %"
    )
