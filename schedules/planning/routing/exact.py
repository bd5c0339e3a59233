"""The best answer of a small problem, by trying every set and order of its stops that could matter."""

from collections import defaultdict

from schedules.planning.routing.polish import Order
from schedules.planning.routing.problem import Problem, Technician
from schedules.planning.routing.timing import first_start

# Beyond this many stops the sets, three to the power of their number for each technician, take too long.
MOST_STOPS = 10
MOST_SETS = 150_000

# A part of a route: when it is ready to leave its last stop, its travel so far, its order.
_Part = tuple[int, int, tuple[int, ...]]
_Cost = tuple[int, int, int, int]


def is_small(problem: Problem, servable: list[int]) -> bool:
    """Whether best_orders takes no more than about a second."""
    sets = 3 ** len(servable) * len(problem.technicians)
    return len(servable) <= MOST_STOPS and sets <= MOST_SETS


def best_orders(problem: Problem, servable: list[int]) -> list[Order]:
    """Orders of stops by technician: fewest unserved musts, then least travel, extras and worth left out.

    `servable` holds the indices of the stops worth trying, few enough for is_small; no seed is needed.
    """
    whole = frozenset(servable)
    states: dict[frozenset[int], tuple[_Cost, list[Order]]] = {frozenset(): ((0, 0, 0, 0), [])}
    for technician in problem.technicians:
        routes = _routes(problem, technician, servable)
        following: dict[frozenset[int], tuple[_Cost, list[Order]]] = {}
        for served, ((*_, travel, _), orders) in states.items():
            for chosen, (more, order) in routes.items():
                if served & chosen:
                    continue
                cost = (0, 0, travel + more, 0)
                known = following.get(served | chosen)
                if known is None or cost < known[0]:
                    following[served | chosen] = (cost, [*orders, list(order)])
        states = following
    ranked = ((_cost(problem, whole - served, cost[2]), orders) for served, (cost, orders) in states.items())
    return min(ranked)[1]


def _cost(problem: Problem, left: frozenset[int], travel: int) -> _Cost:
    stops = [problem.stops[index] for index in left]
    firm, musts = sum(stop.firm for stop in stops), sum(stop.must for stop in stops)
    return firm, musts, travel + sum(stop.worth for stop in stops if not stop.must), len(stops)


def _routes(
    problem: Problem, technician: Technician, servable: list[int]
) -> dict[frozenset[int], tuple[int, tuple[int, ...]]]:
    """For every set of stops the technician can serve in a day: the least travel and its order."""
    found: dict[frozenset[int], tuple[int, tuple[int, ...]]] = {frozenset(): (0, ())}
    able = [index for index in servable if problem.stops[index].skills <= technician.skills]
    parts: list[_Part] = [(technician.shift[0], 0, ())]
    while parts:
        longer: dict[tuple[frozenset[int], int], list[_Part]] = defaultdict(list)
        for part in parts:
            for index in able:
                grown = None if index in part[2] else _grown(problem, technician, part, index)
                if grown is not None:
                    longer[frozenset(grown[2]), index].append(grown)
        parts = [part for rivals in longer.values() for part in _undominated(rivals)]
        for clock, travel, order in parts:
            way = problem.way(problem.stops[order[-1]].node, technician.node)
            if way is not None and problem.pace.arrive(clock, way) <= technician.shift[1]:
                known = found.get(frozenset(order))
                found[frozenset(order)] = min(known or (travel + way, order), (travel + way, order))
    return found


def _grown(problem: Problem, technician: Technician, part: _Part, index: int) -> _Part | None:
    clock, travel, order = part
    stop = problem.stops[index]
    way = problem.way(problem.stops[order[-1]].node if order else technician.node, stop.node)
    load = stop.load + sum(problem.stops[other].load for other in order)
    if way is None or (technician.van is not None and load > technician.van):
        return None
    start = first_start(stop.windows, problem.pace.arrive(clock, way))
    if start is None or start + stop.service_s > technician.shift[1]:
        return None
    return start + stop.service_s, travel + way + stop.extra_s(technician.id), (*order, index)


def _undominated(parts: list[_Part]) -> list[_Part]:
    """Parts of the same stops ending at the same one, without those both later and farther than another."""
    kept: list[_Part] = []
    for part in sorted(parts):
        if not kept or part[1] < kept[-1][1]:
            kept.append(part)
    return kept
