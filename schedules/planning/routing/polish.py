"""Makes any set of routes hold every rule, then takes the gains that a few plain moves still find."""

from collections.abc import Iterator
from itertools import count, pairwise

from schedules.planning.routing.problem import Problem, Stop, Technician
from schedules.planning.routing.timing import feasible, first_start, may_serve, ready_times, travel_of

Order = list[int]

# Exchanges are the dearest move; what they still find after so many turns is small.
_EXCHANGES = 3
# More than any day's travel.
_FIRM_S = 10**12


def polished(problem: Problem, orders: list[Order], servable: set[int]) -> list[Order]:
    """Orders of stops by technician, all feasible, none of whose stops could singly be added or dropped
    for a better objective; stops left out take the place of served ones where that helps. `servable`
    holds the stops worth trying.
    """
    orders = [_repaired(problem, at, order) for at, order in enumerate(orders)]
    for turn in count():
        before = [list(order) for order in orders]
        _insert_all(problem, orders, servable, musts=True)
        _make_room(problem, orders, servable)
        _insert_all(problem, orders, servable, musts=False)
        _drop_dear(problem, orders)
        if turn < _EXCHANGES:
            _exchange(problem, orders, servable)
        if orders == before:
            break
    return orders


def cheapest(problem: Problem, orders: list[Order], index: int) -> tuple[int, int, int] | None:
    """The least travel (seconds, technician, place in the order) at which one more stop can be served."""
    ready = [ready_times(problem, who, order) for who, order in zip(problem.technicians, orders, strict=True)]
    for extra, at, place in sorted(_places(problem, orders, index)):
        technician, longer = problem.technicians[at], _with(orders[at], index, place)
        ahead = longer[place : place + 2]
        if _reached(problem, technician, orders[at][:place], ready[at][place], ahead) and feasible(
            problem, technician, longer
        ):
            return extra, at, place
    return None


def _reached(problem: Problem, technician: Technician, before: Order, clock: int, ahead: Order) -> bool:
    """Whether the next stops can still start in time: a cheap look before the whole route is tried."""
    node = problem.stops[before[-1]].node if before else technician.node
    for stop in (problem.stops[index] for index in ahead):
        start = first_start(stop.windows, problem.pace.arrive(clock, problem.way(node, stop.node) or 0))
        if start is None or start + stop.service_s > technician.shift[1]:
            return False
        clock, node = start + stop.service_s, stop.node
    return True


def _places(problem: Problem, orders: list[Order], index: int) -> Iterator[tuple[int, int, int]]:
    stop = problem.stops[index]
    for at, technician in enumerate(problem.technicians):
        if may_serve(technician, stop):
            for extra, place in _gaps(problem, technician, orders[at], stop.node):
                yield extra + stop.extra_s(technician.id), at, place


def _gaps(problem: Problem, technician: Technician, order: Order, node: int) -> Iterator[tuple[int, int]]:
    """The travel that one more stop at the node adds, at every place of the order with a way in and out."""
    nodes = [technician.node, *(problem.stops[other].node for other in order), technician.node]
    for place, (start, end) in enumerate(pairwise(nodes)):
        out, on = problem.way(start, node), problem.way(node, end)
        if out is not None and on is not None:
            yield out + on - ((problem.way(start, end) or 0) if order else 0), place


def _with(order: Order, index: int, place: int) -> Order:
    return [*order[:place], index, *order[place:]]


def _without(order: Order, index: int) -> Order:
    return [other for other in order if other != index]


def _repaired(problem: Problem, at: int, order: Order) -> Order:
    kept: Order = []
    for index in order:
        if feasible(problem, problem.technicians[at], [*kept, index]):
            kept.append(index)
    return kept


def _left_out(problem: Problem, orders: list[Order], servable: set[int], *, musts: bool) -> Order:
    served = {index for order in orders for index in order}
    left = [index for index in sorted(servable - served) if problem.stops[index].must == musts]
    return sorted(left, key=lambda index: (not problem.stops[index].firm, -problem.stops[index].worth, index))


def _insert_all(problem: Problem, orders: list[Order], servable: set[int], *, musts: bool) -> None:
    for index in _left_out(problem, orders, servable, musts=musts):
        found = cheapest(problem, orders, index)
        if found and (musts or found[0] <= problem.stops[index].worth):
            _, at, place = found
            orders[at] = _with(orders[at], index, place)


def _make_room(problem: Problem, orders: list[Order], servable: set[int]) -> None:
    """Lets a must in where a technician's mays stand in its way, and a firm one where other musts do too;
    these may find another place after."""
    for index in _left_out(problem, orders, servable, musts=True):
        firm = problem.stops[index].firm
        for at in range(len(orders)):
            bare = [o for o in orders[at] if (problem.stops[o].firm if firm else problem.stops[o].must)]
            if len(bare) == len(orders[at]) or not feasible(problem, problem.technicians[at], bare):
                continue
            trial = [bare if here == at else [] for here in range(len(orders))]
            found = cheapest(problem, trial, index)
            if found and found[1] == at:
                orders[at] = _with(bare, index, found[2])
                break


def _drop_dear(problem: Problem, orders: list[Order]) -> None:
    for at, technician in enumerate(problem.technicians):
        for index in [other for other in orders[at] if not problem.stops[other].must]:
            fewer = _without(orders[at], index)
            less = travel_of(problem, technician, fewer)
            now = travel_of(problem, technician, orders[at])
            if less is None or now is None or now - less <= problem.stops[index].worth:
                continue
            if feasible(problem, technician, fewer):
                orders[at] = fewer


def _exchange(problem: Problem, orders: list[Order], servable: set[int]) -> None:
    """Serves a stop left out in place of a served one of the same technician where that is better."""
    for musts in (True, False):
        for index in _left_out(problem, orders, servable, musts=musts):
            for at in range(len(orders)):
                better = _exchanged(problem, orders, at, index)
                if better is not None:
                    orders[at] = better
                    break


def _exchanged(problem: Problem, orders: list[Order], at: int, index: int) -> Order | None:
    technician, stop = problem.technicians[at], problem.stops[index]
    now = travel_of(problem, technician, orders[at])
    if now is None or not may_serve(technician, stop):
        return None
    for other in orders[at]:
        if (problem.stops[other].must and not stop.must) or (problem.stops[other].firm and not stop.firm):
            continue
        fewer = _without(orders[at], other)
        less = travel_of(problem, technician, fewer)
        if less is None:
            continue
        gain = now - less + _counts(stop) - _counts(problem.stops[other])
        for extra, place in _gaps(problem, technician, fewer, stop.node):
            trial = _with(fewer, index, place)
            if extra < gain and feasible(problem, technician, trial):
                return trial
    return None


def _counts(stop: Stop) -> int:
    """A may's worth; musts weigh the same among themselves, and a firm one outweighs any other."""
    if stop.firm:
        return _FIRM_S
    return 0 if stop.must else stop.worth
