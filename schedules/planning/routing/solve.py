"""Routes for a problem: PyVRP searches, and what it finds is timed, repaired and checked here."""

import warnings
from dataclasses import dataclass
from typing import Any, Protocol, cast

import numpy as np
import pyvrp
from numpy.typing import NDArray
from pyvrp.exceptions import PenaltyBoundWarning
from pyvrp.search import OPERATORS
from pyvrp.stop import MaxIterations, MaxRuntime, StoppingCriterion

from schedules.planning.routing.check import check
from schedules.planning.routing.exact import best_orders, is_small
from schedules.planning.routing.explain import Obstacles
from schedules.planning.routing.polish import Order, cheapest, polished
from schedules.planning.routing.problem import Problem, Route, Solution, Stop, Unserved, Window
from schedules.planning.routing.timing import metres_of, timed, travel_of

# A search that leans on its steepest penalty is no news to the desk: every answer is checked here.
warnings.filterwarnings("ignore", category=PenaltyBoundWarning)

# Sums of prizes stay below this, a quarter of what a 64-bit whole number holds.
_PRIZES = 2**61
_DAY_S = 86_400
_USUAL_PENALTY = 100_000
# On RC208 this prize with the usual penalty comes within 0.05 % where the steep one stays at 0.5 %.
_DEAR = 10**8
_FAIR_TRIES = 1000


class StopRule(Protocol):
    """When the search ends."""

    def criterion(self) -> StoppingCriterion:
        """A fresh test, called once an iteration with the best cost so far: True ends the search."""
        ...


@dataclass(frozen=True, slots=True)
class Seconds:
    """Ends after so many seconds of search, tidying up comes on top; depends on the machine's speed."""

    seconds: float

    def criterion(self) -> StoppingCriterion:
        return MaxRuntime(self.seconds)


@dataclass(frozen=True, slots=True)
class Iterations:
    """Ends after so many iterations: the same seed then gives the same answer."""

    iterations: int

    def criterion(self) -> StoppingCriterion:
        return MaxIterations(self.iterations)


def solve(problem: Problem, stop: StopRule, seed: int) -> Solution:
    """Routes that minimise unserved musts, then travel seconds plus the worth of the mays left out.

    Every route holds every rule whatever the search found, and each stop left out says why. Up to
    eight stops the answer is the best there is, whatever the stop rule; beyond, worths that dwarf any
    day's travel may count alike. Raises RuntimeError if its own answer fails the check.
    """
    obstacles = Obstacles(problem)
    why = {index: obstacles.why(stop) for index, stop in enumerate(problem.stops)}
    servable = {index for index, words in why.items() if words is None}
    if is_small(problem, sorted(servable)):
        orders = best_orders(problem, sorted(servable))
    else:
        orders = polished(problem, _search(problem, obstacles, sorted(servable), stop, seed), servable)
    solution = _answer(problem, obstacles, why, orders)
    faults = check(problem, solution)
    if faults:
        raise RuntimeError(f"the routes found break the rules: {'; '.join(faults)}")
    return solution


def _answer(
    problem: Problem, obstacles: Obstacles, why: dict[int, str | None], orders: list[Order]
) -> Solution:
    routes: list[Route] = []
    seconds = metres = 0
    for technician, order in zip(problem.technicians, orders, strict=True):
        route = timed(problem, technician, order) if order else None
        if route is not None:
            routes.append(route)
            seconds += travel_of(problem, technician, order) or 0
            metres += metres_of(problem, technician, order)
    served = {index for order in orders for index in order}
    left = tuple(
        Unserved(stop.id, why[index] or _outbid(problem, obstacles, orders, index))
        for index, stop in enumerate(problem.stops)
        if index not in served
    )
    return Solution(tuple(routes), left, seconds, metres)


def _outbid(problem: Problem, obstacles: Obstacles, orders: list[Order], index: int) -> str:
    stop = problem.stops[index]
    found = cheapest(problem, orders, index)
    if found is not None and not stop.must:
        return f"its worth of {stop.worth} s is less than the {found[0]} s of travel it would cost"
    if not obstacles.alone(stop):
        return "it cannot be reached and returned from within any window and shift"
    return "the other stops fill the day of all who may serve it"


def _search(
    problem: Problem, obstacles: Obstacles, servable: list[int], stop: StopRule, seed: int
) -> list[Order]:
    until = stop.criterion()
    model = _Model(problem, obstacles, servable, dear=True)
    gentle = _Gentle(until, model.must_prize)
    found = _found(model, gentle, seed)
    if gentle.gave_up:
        model = _Model(problem, obstacles, servable, dear=False)
        found = _found(model, until, seed)
    orders: list[Order] = [[] for _ in problem.technicians]
    for route in found.routes():
        clients = [activity.idx for activity in route if activity.is_client()]
        for index in map(model.stop_of, clients):
            if not any(index in order for order in orders):
                orders[route.vehicle_type()].append(index)
    return orders


def _found(model: "_Model", until: StoppingCriterion, seed: int) -> pyvrp.Solution:
    penalty = pyvrp.PenaltyParams(max_penalty=model.max_penalty)
    params = pyvrp.SolveParams(penalty=penalty, operators=OPERATORS)
    return pyvrp.solve(model.data(), until, seed % 2**32, collect_stats=False, params=params).best


class _Gentle:
    """Ends with ``until``, and early where after a fair number of tries some must is still left out."""

    def __init__(self, until: StoppingCriterion, must_prize: int) -> None:
        self._until, self._must_prize = until, must_prize
        self._tries, self.gave_up = 0, False

    def __call__(self, best_cost: int) -> bool:
        self._tries += 1
        self.gave_up = self._tries > _FAIR_TRIES and best_cost >= self._must_prize
        return self.gave_up or self._until(best_cost)


@dataclass(frozen=True, slots=True)
class _Opening:
    """A stop's hours by the clock of a day, and the technicians who may come in them."""

    stop: int
    start: int
    end: int
    who: frozenset[int]


class _Model:
    """The problem as PyVRP sees it: every technician's clock runs from the midnight of their own day, so that
    a stop open at the same hours of several days is one client; which days those are lies in the matrices."""

    def __init__(self, problem: Problem, obstacles: Obstacles, servable: list[int], *, dear: bool) -> None:
        """Where musts are ``dear``, the search tends to be late rather than to leave one out, and finds the
        shorter rounds; where not all can be served it may never come back to keeping hours."""
        self.problem, self.obstacles, self.servable = problem, obstacles, servable
        self.homes = sorted({technician.node for technician in problem.technicians})
        self.midnights = [who.shift[0] // _DAY_S * _DAY_S for who in problem.technicians]
        shifts = zip(problem.technicians, self.midnights, strict=True)
        self.horizon = max(who.shift[1] - midnight for who, midnight in shifts)
        self.openings: list[_Opening] = []
        self.clients: list[pyvrp.Client] = []
        self.groups: list[pyvrp.ClientGroup] = []
        self.total = sum(problem.stops[index].load for index in servable)
        steepest = _PRIZES // (2 * (len(servable) + 1) * (max(self.horizon, self.total) + 1))
        self.must_prize, self.may_limit = self._prizes(steepest)
        self.max_penalty = float(min(max(_USUAL_PENALTY, self.must_prize), steepest))
        if dear:
            self.must_prize = min(max(self.must_prize, _DEAR), _PRIZES // (len(servable) + 1))
            self.max_penalty = float(min(_USUAL_PENALTY, steepest))
        for index in servable:
            self._add(index)

    def stop_of(self, client: int) -> int:
        """The stop that a client stands for."""
        return self.openings[client].stop

    def _prizes(self, steepest: int) -> tuple[int, int]:
        """A must's prize above anything the rest could save, and the most that a may's worth counts.

        Where a prize dwarfs the steepest penalty on a late second, the search would never turn feasible.
        """
        stops = [self.problem.stops[index] for index in self.servable]
        travel = self._most_travel(stops) + sum(max((s for _, s in stop.dearer), default=0) for stop in stops)
        mays = [stop.worth for stop in stops if not stop.must]
        fair = min(_PRIZES // (len(stops) + 1), 100 * steepest) // (len(mays) + 1)
        limit = max(fair, travel + 1)
        worth = sum(min(value, limit) for value in mays)
        return min(travel + worth + 1, _PRIZES // (len(stops) + 1)), limit

    def _most_travel(self, stops: list[Stop]) -> int:
        """No set of routes travels more: neither beyond the shifts nor beyond the dearest ways."""
        shifts = sum(who.shift[1] - who.shift[0] for who in self.problem.technicians)
        dearest = max((way or 0 for row in self.problem.travel_s for way in row), default=0)
        return min(shifts, dearest * 2 * len(stops))

    def _openings(self, index: int) -> list[_Opening]:
        """The stop's hours, each cut to the seconds in which somebody could start."""
        stop = self.problem.stops[index]
        found: dict[Window, list[tuple[int, int, int]]] = {}
        for at, who in enumerate(self.problem.technicians):
            midnight = self.midnights[at]
            for start, end in self.obstacles.open_windows(stop, who):
                hours = self._hours(stop, start, midnight)
                found.setdefault(hours, []).append((start - midnight, end - midnight, at))
        return [
            _Opening(
                index,
                min(start for start, _end, _at in open_),
                max(end for _start, end, _at in open_),
                frozenset(at for _start, _end, at in open_),
            )
            for open_ in found.values()
        ]

    def _hours(self, stop: Stop, start: int, midnight: int) -> Window:
        """The hours by the clock of a day of the window that a start lies in; a window over days counts as
        open all day."""
        first, last = next(
            (span for span in stop.windows if span[0] <= start <= span[1]),
            (midnight, midnight + self.horizon),
        )
        return max(first - midnight, 0), min(last - midnight, self.horizon)

    def _add(self, index: int) -> None:
        stop, openings = self.problem.stops[index], self._openings(index)
        group = len(self.groups) if len(openings) > 1 else None
        if group is not None:
            members = list(range(len(self.clients), len(self.clients) + len(openings)))
            self.groups.append(pyvrp.ClientGroup(members, required=False))
        for opening in openings:
            location = len(self.homes) + len(self.clients)
            self.openings.append(opening)
            self.clients.append(
                pyvrp.Client(
                    location,
                    delivery=[stop.load],
                    service_duration=stop.service_s,
                    tw_early=opening.start,
                    tw_late=opening.end,
                    prize=self._prize(stop),
                    required=False,
                    group=group,
                )
            )

    def _prize(self, stop: Stop) -> int:
        if not stop.must:
            return min(stop.worth, self.may_limit)
        most = _PRIZES // (len(self.servable) + 1)
        return min(self.must_prize * (len(self.servable) + 1), most) if stop.firm else self.must_prize

    def data(self) -> pyvrp.ProblemData:
        nodes = [*self.homes, *(self.problem.stops[opening.stop].node for opening in self.openings)]
        ways = self._ways(nodes, 1.0)
        hours = self._ways(nodes, self.problem.pace.stretch([who.shift for who in self.problem.technicians]))
        shut = [
            tuple(place for place, opening in enumerate(self.openings) if at not in opening.who)
            for at in range(len(self.problem.technicians))
        ]
        dear = [
            tuple(self.problem.stops[opening.stop].extra_s(who.id) for opening in self.openings)
            for who in self.problem.technicians
        ]
        kinds = list(zip(shut, dear, strict=True))
        profiles = sorted(set(kinds))
        durations = [self._matrix(hours, closed) for closed, _extra in profiles]
        distances = [self._dearer(self._matrix(ways, closed), extra) for closed, extra in profiles]
        vehicles = [
            pyvrp.VehicleType(
                capacity=[self.total if who.van is None else min(who.van, self.total)],
                start_depot=self.homes.index(who.node),
                end_depot=self.homes.index(who.node),
                tw_early=who.shift[0] - midnight,
                tw_late=who.shift[1] - midnight,
                profile=profiles.index(kind),
            )
            for who, midnight, kind in zip(self.problem.technicians, self.midnights, kinds, strict=True)
        ]
        return pyvrp.ProblemData(
            locations=[pyvrp.Location(0, 0) for _ in nodes],
            clients=self.clients,
            depots=[pyvrp.Depot(place) for place in range(len(self.homes))],
            vehicle_types=vehicles,
            distance_matrices=cast(Any, distances),
            duration_matrices=cast(Any, durations),
            groups=self.groups,
        )

    def _ways(self, nodes: list[int], stretch: float) -> NDArray[np.int64]:
        """Seconds between the locations, stretched; a way that is missing outlasts every shift.

        The search takes one table for the whole day, so that hours are told apart only by what follows it.
        """
        blocked = self.horizon + 1
        ways = [[self.problem.way(start, end) for end in nodes] for start in nodes]
        cut = [
            [blocked if way is None else min(round(way * stretch), blocked) for way in row] for row in ways
        ]
        matrix = np.array(cut, dtype=np.int64)
        np.fill_diagonal(matrix, 0)
        return matrix

    def _matrix(self, ways: NDArray[np.int64], closed: tuple[int, ...]) -> NDArray[np.int64]:
        """The ways for those to whom some clients are closed: none leads there."""
        matrix = ways.copy()
        places = np.array(closed, dtype=np.int64) + len(self.homes)
        matrix[places, :] = matrix[:, places] = self.horizon + 1
        np.fill_diagonal(matrix, 0)
        return matrix

    def _dearer(self, matrix: NDArray[np.int64], extra: tuple[int, ...]) -> NDArray[np.int64]:
        """What the ways count for, with what each client costs on top wherever one comes from."""
        if not any(extra):
            return matrix
        counted = matrix.copy()
        counted[:, len(self.homes) :] += np.array(extra, dtype=np.int64)
        np.fill_diagonal(counted, 0)
        return counted
