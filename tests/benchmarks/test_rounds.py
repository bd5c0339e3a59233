"""Six vans, ten days, 500 stops: our search beside the bare library, one client a window, as long."""

import random

import numpy as np
import pytest
import pyvrp
from pyvrp.stop import MaxRuntime

from schedules.planning.routing import Problem, Seconds, Stop, Technician, check, objective, solve
from schedules.planning.travel import estimate

pytestmark = [pytest.mark.benchmark, pytest.mark.long]
DAY, VANS, DAYS, STOPS, SECONDS = 86_400, 6, 10, 500, 60
TOWNS = ((41.90, -87.90), (42.05, -88.10), (41.75, -88.15), (41.80, -87.70))


def season(seed: int) -> Problem:
    """Four towns; a third of the homes open half a day, a fifth want a skill that half of the vans have."""
    rng = random.Random(seed)
    places = [TOWNS[0]]
    for _ in range(STOPS):
        north, east = rng.choice(TOWNS)
        places.append((rng.gauss(north, 0.05), rng.gauss(east, 0.06)))
    latitude, longitude = (np.array(axis) for axis in zip(*places, strict=True))
    seconds, metres = (tuple(map(tuple, matrix.tolist())) for matrix in estimate(latitude, longitude))
    vans = [
        Technician(
            f"{van}-{day}", 0, (day * DAY + 28_800, day * DAY + 61_200),
            frozenset({"gas"} if van < VANS // 2 else ()), 60,
        )
        for day in range(DAYS)
        for van in range(VANS)
    ]  # fmt: skip
    return Problem(tuple(vans), tuple(_stop(rng, at) for at in range(STOPS)), seconds, metres)


def _stop(rng: random.Random, at: int) -> Stop:
    first = rng.randrange(DAYS - 3)
    last = min(DAYS - 1, first + rng.randrange(2, 8))
    opens, closes = rng.choice(((8, 17), (8, 17), (8, 12), (12, 17)))
    windows = tuple((day * DAY + opens * 3600, day * DAY + closes * 3600) for day in range(first, last + 1))
    skills = frozenset({"gas"} if rng.random() < 0.2 else ())
    minutes = rng.choice((22, 34, 46, 58))
    return Stop(f"s{at}", at + 1, minutes * 60, windows, skills, rng.randrange(1, 4))


def bare(problem: Problem, seconds: float) -> int | None:
    """Travel seconds that the library finds with one client a window; None where a stop stays unserved."""
    size, blocked = len(problem.travel_s), (DAYS + 1) * DAY
    plain = np.array(problem.travel_s, dtype=np.int64)
    owner: list[int] = []
    clients, groups = [], []
    for at, stop in enumerate(problem.stops):
        members = list(range(len(clients), len(clients) + len(stop.windows)))
        groups.append(pyvrp.ClientGroup(members, required=False))
        for start, end in stop.windows:
            owner.append(stop.node)
            clients.append(
                pyvrp.Client(
                    stop.node, delivery=[stop.load], service_duration=stop.service_s, tw_early=start,
                    tw_late=end, prize=10_000_000, required=False, group=at,
                )
            )  # fmt: skip
    without = plain.copy()
    for stop in problem.stops:
        if stop.skills:
            without[stop.node, :] = without[:, stop.node] = blocked
    np.fill_diagonal(without, 0)
    vehicles = [
        pyvrp.VehicleType(
            capacity=[who.van or 0], tw_early=who.shift[0], tw_late=who.shift[1],
            profile=0 if who.skills else 1,
        )
        for who in problem.technicians
    ]  # fmt: skip
    data = pyvrp.ProblemData(
        locations=[pyvrp.Location(0, 0) for _ in range(size)], clients=clients, depots=[pyvrp.Depot(0)],
        vehicle_types=vehicles, distance_matrices=[plain, without], duration_matrices=[plain, without],
        groups=groups,
    )  # fmt: skip
    best = pyvrp.solve(data, MaxRuntime(seconds), 1, collect_stats=False).best
    served = sum(len([one for one in route if one.is_client()]) for route in best.routes())
    return int(best.distance()) if best.is_feasible() and served == len(problem.stops) else None


def test_ten_days_of_six_vans() -> None:
    problem = season(7)
    ours = solve(problem, Seconds(SECONDS), seed=1)
    assert check(problem, ours) == []
    musts, travel = objective(problem, ours)
    theirs = bare(problem, SECONDS)
    said = (
        f"{travel / theirs:.3f} of the bare library's {theirs} s"
        if theirs
        else "the bare library serves not all"
    )
    print(f"ten days of six vans, {STOPS} stops, {SECONDS} s: {travel} s of travel, {musts} unserved; {said}")
    assert musts == 0
