"""Who serves which stop and when: a Problem in, a Solution out."""

from schedules.planning.routing.check import check
from schedules.planning.routing.problem import (
    Problem,
    Route,
    Solution,
    Stop,
    Technician,
    Unserved,
    Visit,
    objective,
)
from schedules.planning.routing.reading import ProblemFaults, problem_from_json
from schedules.planning.routing.solve import Iterations, Seconds, StopRule, solve

__all__ = [
    "Iterations",
    "Problem",
    "ProblemFaults",
    "Route",
    "Seconds",
    "Solution",
    "Stop",
    "StopRule",
    "Technician",
    "Unserved",
    "Visit",
    "check",
    "objective",
    "problem_from_json",
    "solve",
]
