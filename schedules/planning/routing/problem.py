"""One routing problem and its answer as plain values.

Whole seconds from midnight of the first day, whole metres, loads in the desk's own unit. A matrix entry
of None means there is no way from the row's node to the column's.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from schedules.planning.routing.pace import STEADY, Pace

Window = tuple[int, int]
Matrix = tuple[tuple[int | None, ...], ...]


@dataclass(frozen=True, slots=True)
class Technician:
    """One technician on one day: leaves `node` no earlier than the shift's start, is back by its end."""

    id: str
    node: int
    shift: Window
    skills: frozenset[str] = frozenset()
    van: int | None = None


@dataclass(frozen=True, slots=True)
class Stop:
    """One visit to be made; no windows means any time. `worth`, in seconds of travel, counts for mays.

    `dearer` names technician-days by id with the seconds of travel as which serving it there counts on top. A
    must that is `firm` outranks all others: it was promised.
    """

    id: str
    node: int
    service_s: int
    windows: tuple[Window, ...] = ()
    skills: frozenset[str] = frozenset()
    load: int = 0
    must: bool = True
    worth: int = 0
    dearer: tuple[tuple[str, int], ...] = ()
    firm: bool = False

    def extra_s(self, technician: str) -> int:
        """What serving it counts on top of the way, on a technician-day."""
        return next((seconds for name, seconds in self.dearer if name == technician), 0)


@dataclass(frozen=True, slots=True)
class Problem:
    """Technician-days, stops and two square matrices over the same nodes; `ignored` names unknown keys.

    `travel_s` holds ways at their usual speed, by which routes are compared; `pace` tells how long one takes
    at an hour of the clock.
    """

    technicians: tuple[Technician, ...]
    stops: tuple[Stop, ...]
    travel_s: Matrix
    travel_m: Matrix
    ignored: tuple[str, ...] = ()
    pace: Pace = STEADY

    def way(self, start: int, end: int) -> int | None:
        """Seconds from one node to another, None where either matrix knows no way."""
        seconds = self.travel_s[start][end]
        return None if self.travel_m[start][end] is None else seconds


@dataclass(frozen=True, slots=True)
class Visit:
    """A served stop: service starts at `start_s` inside a window, `arrive_s` may be earlier."""

    id: str
    arrive_s: int
    start_s: int
    leave_s: int


@dataclass(frozen=True, slots=True)
class Route:
    """A technician-day's stops in order; it leaves the node at `depart_s` and is back at `back_s`."""

    technician: str
    visits: tuple[Visit, ...]
    depart_s: int
    back_s: int


@dataclass(frozen=True, slots=True)
class Unserved:
    """A stop left out and one plain sentence saying what stands in its way."""

    id: str
    why: str


@dataclass(frozen=True, slots=True)
class Solution:
    """Routes that hold every rule, what they leave out, and the travel of all of them, ways back included."""

    routes: tuple[Route, ...]
    unserved: tuple[Unserved, ...]
    travel_s: int
    travel_m: int

    def to_json(self) -> dict[str, object]:
        """The answer as the plain values of the fixed file format."""
        return {
            "routes": [
                {"technician": route.technician, "stops": [_visit_to_json(visit) for visit in route.visits]}
                for route in self.routes
            ],
            "unserved": [{"id": left.id, "why": left.why} for left in self.unserved],
            "travel_s": self.travel_s,
            "travel_m": self.travel_m,
        }


def _visit_to_json(visit: Visit) -> dict[str, object]:
    return {
        "id": visit.id,
        "arrive_s": visit.arrive_s,
        "start_s": visit.start_s,
        "leave_s": visit.leave_s,
    }


def merged(windows: Sequence[Window]) -> tuple[Window, ...]:
    """The same whole seconds as few sorted windows: those that touch or overlap become one."""
    joined: list[Window] = []
    for start, end in sorted(windows):
        if joined and start <= joined[-1][1] + 1:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return tuple(joined)


def objective(problem: Problem, solution: Solution) -> tuple[int, int]:
    """What is minimised, in this order: unserved musts, then travel plus the worth of the mays left out."""
    left = {item.id for item in solution.unserved}
    musts = sum(stop.must for stop in problem.stops if stop.id in left)
    worth = sum(stop.worth for stop in problem.stops if stop.id in left and not stop.must)
    return musts, solution.travel_s + worth
