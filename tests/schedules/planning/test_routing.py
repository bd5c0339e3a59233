"""The routing room, against brute force, hand-made cases and its own independent checker."""

import importlib
import itertools
import json
import os
import random
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from schedules.planning.routing import (
    Iterations,
    Problem,
    ProblemFaults,
    Seconds,
    Solution,
    Stop,
    Technician,
    check,
    objective,
    problem_from_json,
    solve,
)

solving = importlib.import_module("schedules.planning.routing.solve")

HOUR = 3600
LINE = [[abs(one - other) * 600 for other in range(5)] for one in range(5)]


def technician(name: str = "t1", **keys: Any) -> dict[str, Any]:
    return {"id": name, "node": 0, "shift": [8 * HOUR, 17 * HOUR]} | keys


def stop(name: str = "s1", **keys: Any) -> dict[str, Any]:
    return {"id": name, "node": 1, "service_s": 1800} | keys


def problem(technicians: list[Any], stops: list[Any], travel: list[Any] = LINE) -> Problem:
    return problem_from_json(
        {"technicians": technicians, "stops": stops, "travel_s": travel, "travel_m": travel}
    )


def solved(given: Problem, iterations: int = 50) -> Solution:
    solution = solve(given, Iterations(iterations), seed=1)
    assert check(given, solution) == []
    return solution


def reasons(solution: Solution) -> dict[str, str]:
    return {left.id: left.why for left in solution.unserved}


def faults(data: object) -> list[str]:
    with pytest.raises(ProblemFaults) as refused:
        problem_from_json(data)
    return refused.value.faults


# Brute force: every partition of the stops, every order, no code shared with the solver.


def walked(given: Problem, who: Technician, order: tuple[int, ...]) -> int | None:
    if who.van is not None and sum(given.stops[index].load for index in order) > who.van:
        return None
    clock, node, total = who.shift[0], who.node, 0
    for index in order:
        at = given.stops[index]
        way = given.travel_s[node][at.node]
        if way is None or at.skills - who.skills:
            return None
        starts = [max(clock + way, start) for start, end in at.windows if end >= clock + way]
        if at.windows and not starts:
            return None
        clock = (min(starts) if at.windows else clock + way) + at.service_s
        node, total = at.node, total + way
    way = given.travel_s[node][who.node] if order else 0
    return None if way is None or clock + way > who.shift[1] else total + way


def least(given: Problem) -> tuple[int, int]:
    everything = range(len(given.stops))
    best = {frozenset[int](): 0}
    for who in given.technicians:
        following: dict[frozenset[int], int] = {}
        for size in range(len(given.stops) + 1):
            for chosen in itertools.combinations(everything, size):
                costs = [walked(given, who, order) for order in itertools.permutations(chosen)]
                known = [cost for cost in costs if cost is not None]
                for served, cost in best.items():
                    if known and not served & set(chosen):
                        key = served | set(chosen)
                        following[key] = min(following.get(key, cost + min(known)), cost + min(known))
        best = following
    answers = []
    for served, cost in best.items():
        left = [given.stops[index] for index in everything if index not in served]
        answers.append((sum(s.must for s in left), cost + sum(s.worth for s in left if not s.must)))
    return min(answers)


def random_problem(seed: int, stops: int = 6) -> Problem:
    rng = random.Random(seed)
    nodes = rng.randint(2, 6)
    travel = [[0 if a == b else rng.randint(0, 3000) for b in range(nodes)] for a in range(nodes)]
    for row in travel:
        if rng.random() < 0.2:
            row[rng.randrange(nodes)] = None
    people = []
    for number in range(rng.randint(1, 2)):
        start = rng.randint(0, 9000)
        people.append(
            technician(
                f"t{number}",
                node=rng.randrange(nodes),
                shift=[start, start + rng.randint(3000, 20000)],
                skills=[skill for skill in "ab" if rng.random() < 0.7],
                van=rng.choice([None, 2, 6]),
            )
        )
    starts = [[rng.randint(0, 25000) for _ in range(rng.choice([0, 1, 1, 2, 3]))] for _ in range(stops)]
    visits = [
        stop(
            f"s{number}",
            node=rng.randrange(nodes),
            service_s=rng.randint(0, 2500),
            windows=[[start, start + rng.choice([0, 900, 6000])] for start in starts[number]],
            skills=[skill for skill in "ab" if rng.random() < 0.2],
            load=rng.randint(0, 2),
            must=rng.random() < 0.6,
            worth=rng.choice([0, rng.randint(0, 5000), 10**15]),
        )
        for number in range(rng.randint(1, stops))
    ]
    return problem(people, visits, travel)


@pytest.mark.parametrize("seed", range(30))
def test_no_set_of_routes_beats_the_answer_to_a_small_problem(seed: int) -> None:
    given = random_problem(seed)
    assert objective(given, solved(given, iterations=0)) == least(given)


def test_the_search_alone_finds_the_best_answer_to_almost_all_small_problems(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(solving, "is_small", lambda given, servable: not servable)
    problems = [random_problem(seed, stops=5) for seed in range(100, 130)]
    found = [objective(given, solved(given, iterations=200)) for given in problems]
    bests = [least(given) for given in problems]
    assert all(one >= best for one, best in zip(found, bests, strict=True))
    assert sum(one == best for one, best in zip(found, bests, strict=True)) >= 28


@pytest.mark.parametrize("iterations", [0, 1, 30])
def test_an_answer_to_a_crowded_problem_breaks_no_rule_however_short_the_search(iterations: int) -> None:
    for seed in range(5):
        given = random_problem(seed, stops=30)
        named = {left.id for left in solved(given, iterations).unserved}
        assert named <= {at.id for at in given.stops}


# What the format says.


def test_the_way_back_counts_and_the_departure_avoids_waiting() -> None:
    given = problem([technician()], [stop(windows=[[10 * HOUR, 11 * HOUR]])])
    solution = solved(given)
    (route,) = solution.routes
    assert (solution.travel_s, solution.travel_m) == (1200, 1200)
    assert (route.visits[0].arrive_s, route.visits[0].start_s) == (10 * HOUR, 10 * HOUR)
    assert (route.depart_s, route.back_s) == (10 * HOUR - 600, 10 * HOUR + 1800 + 600)


def test_a_window_includes_both_its_ends() -> None:
    given = problem([technician(shift=[0, 2000])], [stop(windows=[[600, 600]], service_s=800)])
    assert solved(given).routes[0].back_s == 2000


def test_the_shift_includes_its_end_but_no_second_more() -> None:
    assert solved(problem([technician(shift=[0, 3000])], [stop()])).unserved == ()
    assert len(solved(problem([technician(shift=[0, 2999])], [stop()])).unserved) == 1


def test_service_may_outlast_its_window() -> None:
    assert solved(problem([technician()], [stop(windows=[[8 * HOUR, 9 * HOUR]], service_s=3 * HOUR)])).routes


def test_the_second_of_several_windows_is_used_where_the_first_is_taken() -> None:
    both = [[9 * HOUR, 9 * HOUR], [13 * HOUR, 13 * HOUR]]
    solution = solved(problem([technician()], [stop("a", windows=both), stop("b", windows=both)]))
    starts = sorted(visit.start_s for visit in solution.routes[0].visits)
    assert starts == [9 * HOUR, 13 * HOUR]


def test_stops_of_one_route_may_fill_the_van_and_not_overfill_it() -> None:
    stops = [stop(f"s{number}", load=2) for number in range(3)]
    assert len(solved(problem([technician(van=4)], stops)).unserved) == 1
    assert solved(problem([technician(van=6)], stops)).unserved == ()
    assert solved(problem([technician()], stops)).unserved == ()


def test_a_may_is_served_where_its_worth_pays_for_the_way() -> None:
    assert solved(problem([technician()], [stop(must=False, worth=1201)])).unserved == ()
    left = solved(problem([technician()], [stop(must=False, worth=1199)])).unserved
    assert left[0].why == "its worth of 1199 s is less than the 1200 s of travel it would cost"


def test_a_may_of_no_worth_on_the_way_is_not_sent_away_for_nothing() -> None:
    given = problem([technician()], [stop("must", node=2), stop("may", node=1, must=False)])
    assert objective(given, solved(given)) == (0, 2400)


def test_musts_go_before_mays_of_any_worth() -> None:
    day = [technician(shift=[0, 3000])]
    given = problem(day, [stop("must"), stop("may", must=False, worth=10**30)])
    assert [visit.id for visit in solved(given).routes[0].visits] == ["must"]


def test_musts_go_before_mays_of_any_worth_in_a_large_problem_too() -> None:
    mays = [stop(f"may{number}", must=False, worth=10**30) for number in range(15)]
    given = problem([technician(shift=[0, 3000])], [*mays, stop("must")])
    assert [visit.id for visit in solved(given).routes[0].visits] == ["must"]


def test_unknown_keys_are_named_and_ignored() -> None:
    given = problem([technician(colour="red")], [stop(notes="dog")])
    assert given.ignored == ("technicians[0] (t1): colour", "stops[0] (s1): notes")


def test_null_stands_for_an_optional_key_left_out() -> None:
    given = problem([technician(van=None, skills=None)], [stop(windows=None, must=None, worth=None)])
    assert given.stops[0] == Stop("s1", 1, 1800)
    assert given.technicians[0] == Technician("t1", 0, (8 * HOUR, 17 * HOUR))


# Hard edges.


def test_no_stops_give_no_routes() -> None:
    assert solved(problem([technician()], [])) == Solution((), (), 0, 0)


def test_nothing_at_all_is_a_problem_too() -> None:
    assert solved(problem([], [], [])) == Solution((), (), 0, 0)


def test_without_technicians_every_stop_says_so() -> None:
    assert reasons(solved(problem([], [stop()]))) == {"s1": "there is no technician"}


def test_stops_at_the_depot_and_at_the_same_node_cost_no_travel() -> None:
    given = problem([technician()], [stop("a", node=0), stop("b", node=0), stop("c", node=0)])
    solution = solved(given)
    assert (solution.travel_s, len(solution.routes), solution.unserved) == (0, 1, ())


def test_days_later_are_seconds_further_on() -> None:
    day = 24 * HOUR
    people = [technician("mon"), technician("tue", shift=[day + 8 * HOUR, day + 17 * HOUR])]
    solution = solved(problem(people, [stop(windows=[[day + 9 * HOUR, day + 10 * HOUR]])]))
    assert [route.technician for route in solution.routes] == ["tue"]


def test_equal_ways_and_equal_stops_are_no_trouble() -> None:
    travel = [[0 if a == b else 300 for b in range(12)] for a in range(12)]
    stops = [stop(f"s{number}", node=number) for number in range(1, 12)]
    solution = solved(problem([technician("a"), technician("b")], stops, travel))
    assert solution.unserved == ()
    assert solution.travel_s == 300 * (11 + len(solution.routes))


def test_a_way_missing_one_way_round_is_gone_round() -> None:
    travel = [[0, None, 10], [10, 0, None], [None, 10, 0]]
    given = problem([technician()], [stop("a", node=1), stop("b", node=2)], travel)
    solution = solved(given)
    assert [visit.id for visit in solution.routes[0].visits] == ["b", "a"]
    assert solution.travel_s == 30


def test_huge_times_do_not_overflow() -> None:
    far = 10**12
    travel = [[0, 5, far], [5, 0, far], [far, far, 0]]
    people = [technician(shift=[0, far])]
    stops = [stop(f"s{number}", windows=[[0, far]], load=10**11) for number in range(12)]
    solution = solved(problem(people, [*stops, stop("far", node=2)], travel))
    assert list(reasons(solution)) == ["far"]
    assert solution.travel_s == 10


def test_a_search_by_seconds_ends() -> None:
    given = problem([technician()], [stop(f"s{number}") for number in range(10)])
    assert check(given, solve(given, Seconds(0.05), seed=1)) == []


def test_the_same_seed_gives_the_same_bytes_in_another_process() -> None:
    script = (
        "import json, sys; from schedules.planning.routing import *;"
        "p = problem_from_json(json.load(sys.stdin));"
        "print(json.dumps(solve(p, Iterations(100), 5).to_json()))"
    )
    rng = random.Random(4)
    travel = [[0 if a == b else rng.randint(100, 3000) for b in range(15)] for a in range(15)]
    people = [technician("a", skills=["x", "y", "z"]), technician("b", skills=["y", "z"]), technician("c")]
    stops = [
        stop(f"s{n}", node=n, skills=[["x"], ["y", "z"], []][n % 3], windows=[[0, 40000], [50000, 60000]])
        for n in range(1, 15)
    ]
    data = {"technicians": people, "stops": stops, "travel_s": travel, "travel_m": travel}
    answers = {
        subprocess.run(
            [sys.executable, "-c", script],
            input=json.dumps(data),
            capture_output=True,
            text=True,
            check=True,
            cwd=Path(__file__).parents[3],
            env=os.environ | {"PYTHONHASHSEED": hash_seed},
        ).stdout
        for hash_seed in ("1", "2")
    }
    assert len(answers) == 1


# Why a stop is left out.


@pytest.mark.parametrize(
    ("people", "left", "why"),
    [
        ([technician()], stop(skills=["gas"]), "no technician has the skill gas"),
        (
            [technician("a", skills=["gas"]), technician("b", skills=["duct"])],
            stop(skills=["gas", "duct"]),
            "no technician has all of the skills duct, gas",
        ),
        (
            [technician("a", van=3), technician("b", van=5)],
            stop(load=6),
            "its load of 6 exceeds every van that may come (the largest holds 5)",
        ),
        (
            [technician()],
            stop(windows=[[0, HOUR], [18 * HOUR, 19 * HOUR]]),
            "its windows lie outside the shifts of all who may serve it",
        ),
        (
            [technician()],
            stop(windows=[[17 * HOUR, 18 * HOUR]]),
            "it cannot be reached and returned from within any window and shift",
        ),
        (
            [technician()],
            stop(service_s=10 * HOUR),
            "it cannot be reached and returned from within any window and shift",
        ),
    ],
)
def test_a_stop_left_out_names_what_stands_in_its_way(
    people: list[Any], left: dict[str, Any], why: str
) -> None:
    assert reasons(solved(problem(people, [left]))) == {"s1": why}


@pytest.mark.parametrize("travel", [[[0, None], [10, 0]], [[0, 10], [None, 0]]])
def test_a_stop_without_a_way_there_or_back_says_so(travel: list[list[int | None]]) -> None:
    assert reasons(solved(problem([technician()], [stop()], travel))) == {
        "s1": "there is no way to node 1 and back for any technician who may serve it"
    }


@pytest.mark.parametrize("number", [3, 12])
def test_a_must_for_which_no_time_is_left_says_that_the_others_fill_the_day(number: int) -> None:
    day = [technician(shift=[0, 1200 + (number - 1) * 1800])]
    given = problem(day, [stop(f"s{at}") for at in range(number)])
    left = solved(given).unserved
    assert [item.why for item in left] == ["the other stops fill the day of all who may serve it"]


# Faults.


def test_every_fault_is_found_at_once_and_names_its_place() -> None:
    data = {
        "technicians": [
            technician("t1", node=9, shift=[100, 50]),
            technician("t1", skills="gas", van=-1),
            technician("", shift=[1]),
            "nobody",
        ],
        "stops": [
            stop("s1", node=1.5, windows=[[5, 4], [1, 2, 3], 7], load=-2),
            {"id": 7, "must": 1, "worth": "much"},
            stop("s3", service_s=True, skills=[3]),
        ],
        "travel_s": [[0, 600], [600]],
        "travel_m": [[0, -1], [0.5, 0], [0, 0]],
    }
    assert faults(data) == [
        "travel_s[1]: has 1 entries where the matrix has 2 rows",
        "travel_m[0]: has 2 entries where the matrix has 3 rows",
        "travel_m[0][1]: must not be negative, and is -1",
        "travel_m[1]: has 2 entries where the matrix has 3 rows",
        "travel_m[1][0]: must be a whole number, not 0.5",
        "travel_m[2]: has 2 entries where the matrix has 3 rows",
        "travel_m: has 3 rows where travel_s has 2",
        "technicians[0] (t1).node: 9 is no node of travel_s, which has 2 (from 0)",
        "technicians[0] (t1).shift: ends at 50, before it starts at 100",
        "technicians[1] (t1).skills: must be a list, not 'gas'",
        "technicians[1] (t1).van: must not be negative, and is -1",
        "technicians[2].id: must be a text that is not empty, not ''",
        "technicians[2].shift: must be a list of two whole numbers, not a list of 1",
        "technicians[3]: must be an object with keys, not 'nobody'",
        "technicians[1] (t1): id stands already at technicians[0]",
        "stops[0] (s1).node: must be a whole number, not 1.5",
        "stops[0] (s1).windows[0]: ends at 4, before it starts at 5",
        "stops[0] (s1).windows[1]: must be a list of two whole numbers, not a list of 3",
        "stops[0] (s1).windows[2]: must be a list of two whole numbers, not 7",
        "stops[0] (s1).load: must not be negative, and is -2",
        "stops[1]: node is missing",
        "stops[1]: service_s is missing",
        "stops[1].id: must be a text that is not empty, not 7",
        "stops[1].must: must be true or false, not 1",
        "stops[1].worth: must be a whole number, not 'much'",
        "stops[2] (s3).service_s: must be a whole number, not True",
        "stops[2] (s3).skills[0]: must be a text that is not empty, not 3",
    ]


@pytest.mark.parametrize("data", [None, [], "text", 3])
def test_what_is_no_object_is_refused(data: object) -> None:
    assert any("must be an object with keys" in fault for fault in faults(data))


def test_missing_parts_are_each_named() -> None:
    assert faults({}) == [
        f"the problem: {key} is missing" for key in ("stops", "technicians", "travel_m", "travel_s")
    ]


def test_a_number_too_large_to_be_meant_is_refused() -> None:
    data = {"technicians": [technician()], "stops": [stop(service_s=10**13)]}
    assert faults(data | {"travel_s": LINE, "travel_m": LINE}) == [
        "stops[0] (s1).service_s: must not be above 1000000000000, and is 10000000000000"
    ]


# The checker itself.


def test_the_checker_sees_each_broken_rule() -> None:
    given = problem([technician(van=2)], [stop("a", load=1, windows=[[9 * HOUR, 10 * HOUR]]), stop("b")])
    good = solved(given)
    route = good.routes[0]
    first, second = route.visits

    def spoilt(**changes: Any) -> str:
        return " ".join(check(given, replace(good, routes=(replace(route, **changes),))))

    late = replace(first, start_s=11 * HOUR, leave_s=11 * HOUR + 1800)
    assert "travel_s is 7" in " ".join(check(given, replace(good, travel_s=7)))
    assert "travel_m is 7" in " ".join(check(given, replace(good, travel_m=7)))
    assert "outside its windows" in spoilt(visits=tuple(late if v.id == "a" else v for v in route.visits))
    assert "do not add up" in spoilt(visits=(first, replace(second, leave_s=second.leave_s + 1)))
    assert "is named nowhere" in spoilt(visits=(first,))
    assert "is named twice" in spoilt(visits=(first, second, second))
    assert "is no stop" in spoilt(visits=(first, second, replace(second, id="c")))
    assert "before the shift" in spoilt(depart_s=0)
    assert "after the shift" in spoilt(back_s=18 * HOUR)
    assert "is no technician" in spoilt(technician="t2")
    assert "without stops" in spoilt(visits=())
    assert "more than one route" in " ".join(check(given, replace(good, routes=(route, route))))
    for broken, words in (
        ([technician(van=0)], "carries more"),
        ([technician(shift=[0, 1])], "after the shift"),
    ):
        assert words in " ".join(check(problem(broken, [stop("a", load=1), stop("b")]), good))
    skilled = problem([technician()], [stop("a", skills=["gas"]), stop("b")])
    assert "lacks a skill" in " ".join(check(skilled, good))
    cut = [[0, None, 1], [None, 0, 1], [1, 1, 0]]
    faulty = " ".join(check(problem([technician()], [stop("a"), stop("b")], cut), good))
    assert "no way to" in faulty
    assert "no way back" in faulty
