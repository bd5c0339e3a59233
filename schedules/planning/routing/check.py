"""An answer held against its problem, rule by rule, without the solver's own helpers."""

from fractions import Fraction
from itertools import pairwise
from math import ceil

from schedules.planning.routing.problem import Problem, Route, Solution, Stop, Technician


def check(problem: Problem, solution: Solution) -> list[str]:
    """Every broken rule in plain words; empty for an answer that may be handed out."""
    technicians = {technician.id: technician for technician in problem.technicians}
    stops = {stop.id: stop for stop in problem.stops}
    faults = _each_once(solution, stops)
    names = [route.technician for route in solution.routes]
    faults += [f"{name} has more than one route" for name in sorted(set(names)) if names.count(name) > 1]
    for route in solution.routes:
        if route.technician not in technicians:
            faults.append(f"{route.technician} is no technician of the problem")
        elif all(visit.id in stops for visit in route.visits):
            served = [stops[visit.id] for visit in route.visits]
            faults += _route_faults(problem, technicians[route.technician], route, served)
    return faults + _total_faults(problem, solution, technicians, stops)


def _each_once(solution: Solution, stops: dict[str, Stop]) -> list[str]:
    named = [visit.id for route in solution.routes for visit in route.visits]
    named += [left.id for left in solution.unserved]
    faults = [f"{name} is no stop of the problem" for name in sorted(set(named) - set(stops))]
    faults += [f"{name} is named nowhere" for name in stops if name not in named]
    faults += [f"{name} is named twice" for name in stops if named.count(name) > 1]
    return faults + [f"{left.id} is left out without a reason" for left in solution.unserved if not left.why]


def _route_faults(problem: Problem, technician: Technician, route: Route, stops: list[Stop]) -> list[str]:
    name = technician.id
    faults = [] if stops else [f"{name} has a route without stops"]
    if technician.van is not None and sum(stop.load for stop in stops) > technician.van:
        faults.append(f"{name} carries more than the van holds")
    if route.depart_s < technician.shift[0]:
        faults.append(f"{name} leaves before the shift")
    if route.back_s > technician.shift[1]:
        faults.append(f"{name} is back after the shift")
    clock, node = route.depart_s, technician.node
    for visit, stop in zip(route.visits, stops, strict=True):
        way = problem.travel_s[node][stop.node]
        if way is None or problem.travel_m[node][stop.node] is None:
            faults.append(f"{name} has no way to {stop.id}")
        elif visit.arrive_s != _driven(problem, clock, way):
            faults.append(f"{name} does not arrive at {stop.id} when the travel says")
        if stop.skills - technician.skills:
            faults.append(f"{name} lacks a skill for {stop.id}")
        if visit.start_s < visit.arrive_s or visit.leave_s != visit.start_s + stop.service_s:
            faults.append(f"{name}'s times at {stop.id} do not add up")
        if stop.windows and not any(start <= visit.start_s <= end for start, end in stop.windows):
            faults.append(f"{name} serves {stop.id} outside its windows")
        clock, node = visit.leave_s, stop.node
    way = problem.travel_s[node][technician.node]
    if stops and (way is None or problem.travel_m[node][technician.node] is None):
        faults.append(f"{name} has no way back")
    elif stops and route.back_s != _driven(problem, clock, way or 0):
        faults.append(f"{name} is not back when the travel says")
    return faults


def _driven(problem: Problem, clock: int, way: int) -> int:
    """When a way is driven, gone second by span of the clock rather than by the solver's sums."""
    left = Fraction(way)
    at = Fraction(clock)
    for start, end, percent in sorted(problem.pace.spans):
        if end <= at:
            continue
        before = min(left, max(start - at, Fraction(0)))
        at, left = at + before, left - before
        if not left:
            break
        inside = min(left * 100 / percent, end - at)
        at, left = at + inside, left - inside * percent / 100
    return ceil(at + left)


def _total_faults(
    problem: Problem, solution: Solution, technicians: dict[str, Technician], stops: dict[str, Stop]
) -> list[str]:
    seconds = metres = 0
    for route in solution.routes:
        if (
            route.technician in technicians
            and route.visits
            and all(visit.id in stops for visit in route.visits)
        ):
            home = technicians[route.technician].node
            nodes = [home, *(stops[visit.id].node for visit in route.visits), home]
            for start, end in pairwise(nodes):
                seconds += problem.travel_s[start][end] or 0
                metres += problem.travel_m[start][end] or 0
    faults = [] if seconds == solution.travel_s else [f"travel_s is {solution.travel_s}, not {seconds}"]
    return faults + (
        [] if metres == solution.travel_m else [f"travel_m is {solution.travel_m}, not {metres}"]
    )
