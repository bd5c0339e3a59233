"""When a technician is where: the time-table of one order of stops, and what it travels."""

from collections.abc import Sequence
from itertools import pairwise

from schedules.planning.routing.problem import Problem, Route, Stop, Technician, Visit, Window


def may_serve(technician: Technician, stop: Stop) -> bool:
    """Whether skills and van allow it; time and ways are another matter."""
    return stop.skills <= technician.skills and (technician.van is None or stop.load <= technician.van)


def travel_of(problem: Problem, technician: Technician, order: Sequence[int]) -> int | None:
    """Seconds of travel, way out and way back included; None where a way is missing."""
    if not order:
        return 0
    nodes = [technician.node, *(problem.stops[index].node for index in order), technician.node]
    total = 0
    for start, end in pairwise(nodes):
        way = problem.way(start, end)
        if way is None:
            return None
        total += way
    return total


def metres_of(problem: Problem, technician: Technician, order: Sequence[int]) -> int:
    """Metres of a route whose ways all exist."""
    nodes = [technician.node, *(problem.stops[index].node for index in order), technician.node]
    ways = (problem.travel_m[start][end] for start, end in pairwise(nodes))
    return sum(way or 0 for way in ways) if order else 0


def timed(problem: Problem, technician: Technician, order: Sequence[int]) -> Route | None:
    """The route that is back as early as can be and leaves as late as that allows; None where a rule breaks.

    Being late can only make later stops later, so the earliest time at every stop finds a time-table
    wherever one exists, and the latest departure with the same way back is found by halving.
    """
    if not feasible(problem, technician, order):
        return None
    early = _run(problem, technician, order, technician.shift[0])
    if early is None:
        return None
    low, high = technician.shift[0], early.back_s
    best = early
    while low < high:
        middle = (low + high + 1) // 2
        later = _run(problem, technician, order, middle)
        if later is None or later.back_s > early.back_s:
            high = middle - 1
        else:
            low, best = middle, later
    return best


def feasible(problem: Problem, technician: Technician, order: Sequence[int]) -> bool:
    """Whether the technician can serve these stops in this order, by skills, van, ways, windows and shift."""
    stops = [problem.stops[index] for index in order]
    if not all(stop.skills <= technician.skills for stop in stops):
        return False
    if technician.van is not None and sum(stop.load for stop in stops) > technician.van:
        return False
    clock, node = technician.shift[0], technician.node
    for stop in stops:
        way = problem.way(node, stop.node)
        start = None if way is None else first_start(stop.windows, problem.pace.arrive(clock, way))
        if start is None or start > technician.shift[1]:
            return False
        clock, node = start + stop.service_s, stop.node
    way = problem.way(node, technician.node) if stops else 0
    return way is not None and problem.pace.arrive(clock, way) <= technician.shift[1]


def ready_times(problem: Problem, technician: Technician, order: Sequence[int]) -> list[int]:
    """When a feasible route is ready to leave for each place of its order at the earliest, 0 its start."""
    clock, node = technician.shift[0], technician.node
    ready = [clock]
    for stop in (problem.stops[index] for index in order):
        arrive = problem.pace.arrive(clock, problem.way(node, stop.node) or 0)
        clock, node = (first_start(stop.windows, arrive) or arrive) + stop.service_s, stop.node
        ready.append(clock)
    return ready


def on_the_road(routes: Sequence[Route]) -> int:
    """Seconds that the ways of timed routes take by the clock."""
    seconds = 0
    for route in routes:
        leaves = [route.depart_s, *(visit.leave_s for visit in route.visits)]
        arrives = [*(visit.arrive_s for visit in route.visits), route.back_s]
        seconds += sum(arrives) - sum(leaves)
    return seconds


def first_start(windows: Sequence[Window], arrive_s: int) -> int | None:
    """The first second at or after arrival that lies in a window; None once all have closed."""
    if not windows:
        return arrive_s
    return next((max(start, arrive_s) for start, end in windows if end >= arrive_s), None)


def _run(problem: Problem, technician: Technician, order: Sequence[int], depart_s: int) -> Route | None:
    clock, node = depart_s, technician.node
    visits = []
    for index in order:
        stop = problem.stops[index]
        way = problem.way(node, stop.node)
        arrive = None if way is None else problem.pace.arrive(clock, way)
        start = None if arrive is None else first_start(stop.windows, arrive)
        if arrive is None or start is None:
            return None
        visits.append(Visit(stop.id, arrive, start, start + stop.service_s))
        clock, node = start + stop.service_s, stop.node
    way = problem.way(node, technician.node)
    back = None if way is None else problem.pace.arrive(clock, way)
    if back is None or back > technician.shift[1]:
        return None
    return Route(technician.id, tuple(visits), depart_s, back)
