"""Solves one routing problem given whole in a file."""

import json
from argparse import ArgumentTypeError
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from schedules.planning.routing import (
    Iterations,
    Problem,
    ProblemFaults,
    Seconds,
    StopRule,
    problem_from_json,
    solve,
)
from shared.files import replacing


class Command(BaseCommand):
    help = "Solves the routing problem in a JSON file and writes the routes as JSON."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("problem", type=Path, metavar="PROBLEM.json")
        ending = parser.add_mutually_exclusive_group(required=True)
        ending.add_argument("--seconds", type=_seconds, help="search for so many seconds")
        ending.add_argument("--iterations", type=_whole, help="search for so many iterations")
        parser.add_argument(
            "--seed", type=_whole, default=0, help="the same seed and iterations, the same answer"
        )
        parser.add_argument("--out", type=Path, required=True, metavar="FILE.json")

    def handle(self, *args: object, **options: Any) -> None:
        problem = _read(options["problem"])
        for place in problem.ignored:
            self.stderr.write(f"unknown key ignored: {place}")
        out: Path = options["out"]
        if not out.absolute().parent.is_dir():
            raise CommandError(f"there is no directory for {out}")
        seconds = options["seconds"]
        rule: StopRule = Iterations(options["iterations"]) if seconds is None else Seconds(seconds)
        solution = solve(problem, rule, options["seed"])
        _write(out, json.dumps(solution.to_json(), indent=1) + "\n")
        self.stdout.write(
            f"{len(solution.routes)} routes, {len(solution.unserved)} of {len(problem.stops)} stops "
            f"unserved, {solution.travel_s} s and {solution.travel_m} m of travel"
        )


def _read(path: Path) -> Problem:
    try:
        data = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise CommandError(f"{path} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise CommandError(f"{path} is not UTF-8 text") from error
    except (json.JSONDecodeError, RecursionError) as error:
        raise CommandError(f"{path} is not JSON: {error}") from error
    except ValueError as error:
        raise CommandError(f"{path} holds a number too long to read") from error
    try:
        return problem_from_json(data)
    except ProblemFaults as error:
        raise CommandError(f"{path} has {_counted(error.faults)}:\n" + "\n".join(error.faults)) from error


def _counted(faults: list[str]) -> str:
    return "one fault" if len(faults) == 1 else f"{len(faults)} faults"


def _write(path: Path, text: str) -> None:
    """Puts the whole file in place at once, so that nobody finds half an answer."""
    try:
        with replacing(path) as file:
            file.write(text)
    except OSError as error:
        raise CommandError(f"{path} cannot be written: {error.strerror}") from error


def _whole(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 18):
        raise ArgumentTypeError(f"{text} is not a whole number from 0")
    return int(text)


def _seconds(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 <= value < 86_400:
        raise ArgumentTypeError(f"{text} is not a number of seconds from 0 to a day")
    return value
