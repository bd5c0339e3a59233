"""Which stops nobody can serve and why, in one plain sentence each."""

import numpy as np
from numpy.typing import NDArray

from schedules.planning.routing.problem import Problem, Stop, Technician, Window
from schedules.planning.routing.timing import first_start, may_serve

_NEVER = np.iinfo(np.int64).max // 4


class Obstacles:
    """What stands between a stop and each technician, counting the shortest ways over the other stops' nodes.

    A stop with an obstacle can be in no route at all; one without may still find the days full.
    """

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self._ways = _ways(problem)
        self._via = sorted({stop.node for stop in problem.stops})
        self._out: dict[int, NDArray[np.int64]] = {}
        self._back: dict[int, NDArray[np.int64]] = {}
        for node in {technician.node for technician in problem.technicians}:
            self._out[node] = _shortest(self._ways, node, self._via)
            self._back[node] = _shortest(self._ways.T, node, self._via)

    def why(self, stop: Stop) -> str | None:
        """The obstacle no technician gets over, in one sentence; None where somebody could come."""
        if not self.problem.technicians:
            return "there is no technician"
        skilled = [who for who in self.problem.technicians if stop.skills <= who.skills]
        if not skilled:
            return self._missing_skill(stop)
        able = [who for who in skilled if may_serve(who, stop)]
        if not able:
            largest = max(who.van or 0 for who in skilled)
            return f"its load of {stop.load} exceeds every van that may come (the largest holds {largest})"
        linked = [who for who in able if self._between(who, stop)[0] < _NEVER > self._between(who, stop)[1]]
        if not linked:
            return f"there is no way to node {stop.node} and back for any technician who may serve it"
        if stop.windows and not any(_meet(stop.windows, who.shift) for who in linked):
            return "its windows lie outside the shifts of all who may serve it"
        if not any(self.open_windows(stop, who) for who in linked):
            return "it cannot be reached and returned from within any window and shift"
        return None

    def open_windows(self, stop: Stop, technician: Technician) -> tuple[Window, ...]:
        """The parts of the stop's windows in which this technician could start and still be back in time."""
        if not may_serve(technician, stop):
            return ()
        out, back = self._between(technician, stop)
        if out >= _NEVER or back >= _NEVER:
            return ()
        earliest = self.problem.pace.arrive(technician.shift[0], out)
        latest = self.problem.pace.leave(technician.shift[1], back) - stop.service_s
        spans = stop.windows or ((earliest, latest),)
        cut = ((max(start, earliest), min(end, latest)) for start, end in spans)
        return tuple((start, end) for start, end in cut if start <= end)

    def alone(self, stop: Stop) -> bool:
        """Whether some technician could serve this stop and nothing else."""
        return any(self._alone(stop, who) for who in self.problem.technicians if may_serve(who, stop))

    def _alone(self, stop: Stop, technician: Technician) -> bool:
        out = self.problem.way(technician.node, stop.node)
        back = self.problem.way(stop.node, technician.node)
        if out is None or back is None:
            return False
        start = first_start(stop.windows, self.problem.pace.arrive(technician.shift[0], out))
        return start is not None and self._home_by(start + stop.service_s, back) <= technician.shift[1]

    def _home_by(self, leave_s: int, back_s: int) -> int:
        return self.problem.pace.arrive(leave_s, back_s)

    def _missing_skill(self, stop: Stop) -> str:
        everywhere = frozenset[str]().union(*(who.skills for who in self.problem.technicians))
        lacking = sorted(stop.skills - everywhere)
        if lacking:
            return f"no technician has the skill {' or the skill '.join(lacking)}"
        return f"no technician has all of the skills {', '.join(sorted(stop.skills))}"

    def _between(self, technician: Technician, stop: Stop) -> tuple[int, int]:
        return int(self._out[technician.node][stop.node]), int(self._back[technician.node][stop.node])


def _meet(windows: tuple[Window, ...], shift: Window) -> bool:
    return any(start <= shift[1] and end >= shift[0] for start, end in windows)


def _ways(problem: Problem) -> NDArray[np.int64]:
    size = len(problem.travel_s)
    ways = [[problem.way(row, column) for column in range(size)] for row in range(size)]
    whole = [[_NEVER if way is None else way for way in row] for row in ways]
    return np.array(whole, dtype=np.int64).reshape(size, size)


def _shortest(ways: NDArray[np.int64], source: int, via: list[int]) -> NDArray[np.int64]:
    """Shortest seconds from the source to every node over the nodes of `via`, by Dijkstra's rule."""
    reach: NDArray[np.int64] = ways[source].copy()
    waiting = set(via)
    while waiting:
        nearest = min(waiting, key=lambda node: (reach[node], node))
        waiting.remove(nearest)
        if reach[nearest] >= _NEVER:
            break
        np.minimum(reach, reach[nearest] + ways[nearest], out=reach)
    return reach
