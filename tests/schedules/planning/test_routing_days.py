"""Several days in one search: hours that differ from day to day are kept, equal ones are one client."""

import importlib

from schedules.planning.routing import Iterations, Problem, Stop, Technician, check, solve

solving = importlib.import_module("schedules.planning.routing.solve")
DAY, HOUR = 86_400, 3600
LINE = tuple(tuple(abs(one - other) * 600 for other in range(5)) for one in range(5))


def over_days(number: int) -> Problem:
    """Two vans on four days; half the stops open all day on some days, the others in the mornings of two and
    the afternoon of a third."""
    vans = [
        Technician(f"{name}{day}", 0, (day * DAY + 8 * HOUR, day * DAY + 17 * HOUR))
        for name in "ab"
        for day in range(4)
    ]
    stops = []
    for at in range(number):
        first = at % 3
        if at % 2:
            hours = [(day, 8, 17) for day in (first, first + 1)]
        else:
            hours = [(0, 8, 11), (first, 8, 11), (3, 13, 16)]
        windows = tuple((day * DAY + opens * HOUR, day * DAY + ends * HOUR) for day, opens, ends in hours)
        stops.append(Stop(f"s{at}", 1 + at % 4, 1800, windows))
    return Problem(tuple(vans), tuple(stops), LINE, LINE)


def test_hours_that_differ_from_day_to_day_are_kept_in_a_problem_of_many_stops() -> None:
    given = over_days(24)
    solution = solve(given, Iterations(200), seed=1)
    assert check(given, solution) == []
    assert not solution.unserved


def test_a_stop_open_at_the_same_hours_of_several_days_is_one_client() -> None:
    given = over_days(24)
    model = solving._Model(given, solving.Obstacles(given), list(range(24)), dear=True)
    # Open all day on any days: one client; mornings and an afternoon: two.
    assert len(model.clients) == 12 + 2 * 12


def two_vans(number: int, dearer: tuple[tuple[str, int], ...]) -> Problem:
    """Stops in two places, every one as near to one van as to the other."""
    vans = tuple(Technician(name, 0, (8 * HOUR, 17 * HOUR)) for name in ("a:0", "b:0"))
    stops = tuple(Stop(f"s{at}", 1 + at % 2, 600, dearer=dearer if at < 3 else ()) for at in range(number))
    return Problem(vans, stops, LINE, LINE)


def test_what_is_dearer_with_one_goes_to_the_other_in_small_and_large_problems() -> None:
    for number in (6, 24):
        for dear, cheap in (("a:0", "b:0"), ("b:0", "a:0")):
            solution = solve(two_vans(number, ((dear, 1800),)), Iterations(200), seed=1)
            served = {stop.id: route.technician for route in solution.routes for stop in route.visits}
            assert {served[f"s{at}"] for at in range(3)} == {cheap}
            assert solution.travel_s == 2 * 1200  # the extra steers, and is no travel


def test_what_saves_more_than_it_is_dearer_is_taken_all_the_same() -> None:
    vans = (Technician("a:0", 0, (0, DAY)), Technician("b:0", 4, (0, DAY)))
    stops = (Stop("near a", 1, 600, dearer=(("a:0", 1000),)), Stop("at b", 4, 600))
    served = solve(Problem(vans, stops, LINE, LINE), Iterations(50), seed=1).routes
    assert {(route.technician, route.visits[0].id) for route in served} == {
        ("a:0", "near a"),
        ("b:0", "at b"),
    }


def test_where_not_all_musts_have_room_the_search_still_serves_what_it_can() -> None:
    """Forty musts of an hour for two days of nine hours: the dear search gives up, the other serves."""
    ways = tuple(tuple(300 * (one != other) for other in range(41)) for one in range(41))
    given = Problem(
        tuple(Technician(name, 0, (28_800, 61_200)) for name in "ab"),
        tuple(Stop(f"s{at}", at, 3600) for at in range(1, 41)),
        ways, ways,
    )  # fmt: skip
    solution = solve(given, Iterations(1500), seed=1)
    assert check(given, solution) == []
    # Nine hours hold eight stops of 3,600 s with nine ways of 300 s.
    assert len(solution.unserved) == 40 - 2 * 8
