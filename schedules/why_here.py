"""What a stop costs on the road where it is, and the least it would cost on any other day of its window."""

from dataclasses import dataclass
from itertools import pairwise

from schedules.planning.routing import Problem, Solution
from schedules.planning.routing.problem import Stop, Technician
from schedules.planning.routing.timing import may_serve


@dataclass(frozen=True)
class Elsewhere:
    """The cheapest other technician-day and the seconds of driving that the stop would add to it."""

    van: str
    extra_s: int


class Detours:
    """Seconds of driving that each stop adds to its round, and would add to another as that one is.

    Hours are not looked at elsewhere, only days: what it says of them is the least, not what could be had.
    """

    def __init__(self, problem: Problem, solution: Solution) -> None:
        self._problem = problem
        self._stops = {stop.id: stop for stop in problem.stops}
        self._vans = {who.id: who for who in problem.technicians}
        self._orders = {who.id: list[str]() for who in problem.technicians}
        self._orders |= {route.technician: [one.id for one in route.visits] for route in solution.routes}

    def here(self, van: str, stop: str) -> int:
        """What the stop adds where it is, in s."""
        nodes = self._nodes(van)
        at = self._orders[van].index(stop) + 1
        return (
            self._way(nodes[at - 1], nodes[at])
            + self._way(nodes[at], nodes[at + 1])
            - self._way(nodes[at - 1], nodes[at + 1])
        )

    def elsewhere(self, van: str, stop: str, day: str) -> Elsewhere | None:
        """The cheapest technician-day other than ``day`` (the part of an id behind the colon)."""
        one = self._stops[stop]
        found = [
            Elsewhere(other.id, self._least(other.id, one.node))
            for other in self._vans.values()
            if other.id.rpartition(":")[2] != day and may_serve(other, one) and _open(one, other)
        ]
        return min(found, key=lambda where: where.extra_s, default=None)

    def _least(self, van: str, node: int) -> int:
        nodes = self._nodes(van)
        return min(self._way(a, node) + self._way(node, b) - self._way(a, b) for a, b in pairwise(nodes))

    def _nodes(self, van: str) -> list[int]:
        home = self._vans[van].node
        return [home, *(self._stops[stop].node for stop in self._orders[van]), home]

    def _way(self, start: int, end: int) -> int:
        way = self._problem.way(start, end)
        return 0 if start == end else way if way is not None else 10**9


def _open(stop: Stop, van: Technician) -> bool:
    return any(start <= van.shift[1] and end >= van.shift[0] for start, end in stop.windows)
