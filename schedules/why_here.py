"""What a stop costs where it is, and the least it would cost on any other day of its window that has room."""

from dataclasses import dataclass
from itertools import pairwise

from schedules.planning.routing import Problem, Solution
from schedules.planning.routing.problem import Stop, Technician
from schedules.planning.routing.timing import feasible, may_serve, travel_of

# Beyond any day's driving.
NO_WAY_S = 10**9


@dataclass(frozen=True)
class Cost:
    """Seconds of driving that a stop adds to a technician-day, and what the day counts on top."""

    driving_s: int
    extra_s: int

    @property
    def whole_s(self) -> int:
        """Both together."""
        return self.driving_s + self.extra_s


class Detours:
    """What each stop adds to its round, and would add to another as that one is, every rule kept."""

    def __init__(self, problem: Problem, solution: Solution) -> None:
        self._problem = problem
        self._at = {stop.id: index for index, stop in enumerate(problem.stops)}
        self._vans = {who.id: who for who in problem.technicians}
        self._orders = {who.id: list[int]() for who in problem.technicians}
        self._orders |= {
            route.technician: [self._at[one.id] for one in route.visits] for route in solution.routes
        }

    def here(self, van: str, stop: str) -> Cost:
        """What the stop costs where it is."""
        index, order = self._at[stop], self._orders[van]
        fewer = [other for other in order if other != index]
        return self._cost(van, index, fewer, order.index(index))

    def after_next(self, van: str, stop: str) -> int | None:
        """Seconds of driving more where the next stop came first; None where hours or ways forbid it, and
        nought for the last stop of a round."""
        index, order = self._at[stop], self._orders[van]
        place = order.index(index)
        if place + 1 == len(order):
            return 0
        swapped = [*order[:place], order[place + 1], index, *order[place + 2 :]]
        who = self._vans[van]
        if not feasible(self._problem, who, swapped):
            return None
        ways = [travel_of(self._problem, who, one) or 0 for one in (swapped, order)]
        return ways[0] - ways[1]

    def elsewhere(self, van: str, stop: str, day: str) -> Cost | None:
        """The least on a technician-day other than ``day`` (the part of an id behind the colon) with room for
        it as its round is; None where there is none."""
        index = self._at[stop]
        one = self._problem.stops[index]
        tries = [
            (self._cost(other.id, index, order, place), other, place)
            for other in self._vans.values()
            if other.id.rpartition(":")[2] != day and may_serve(other, one) and _open(one, other)
            for order in (self._orders[other.id],)
            for place in range(len(order) + 1)
        ]
        for cost, other, place in sorted(tries, key=lambda one: (one[0].whole_s, one[1].id, one[2])):
            order = self._orders[other.id]
            if feasible(self._problem, other, [*order[:place], index, *order[place:]]):
                return cost
        return None

    def _cost(self, van: str, index: int, order: list[int], place: int) -> Cost:
        home, stops = self._vans[van].node, self._problem.stops
        nodes = [home, *(stops[other].node for other in order), home]
        start, end = list(pairwise(nodes))[place]
        node = stops[index].node
        ways = [self._way(start, node), self._way(node, end)]
        # Where no way leads past the stop, the whole of its own ways is what it adds.
        past = self._way(start, end) or 0
        driving = NO_WAY_S if None in ways else sum(way or 0 for way in ways) - past
        return Cost(driving, stops[index].extra_s(van))

    def _way(self, start: int, end: int) -> int | None:
        return 0 if start == end else self._problem.way(start, end)


def _open(stop: Stop, van: Technician) -> bool:
    return any(start <= van.shift[1] and end >= van.shift[0] for start, end in stop.windows)
