"""The import rule and the pure rooms, read from the sources themselves."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from django.conf import settings

ROOT = Path(settings.BASE_DIR)
# The top first: each may import what stands after it, never what stands before.
ROOMS = ("servicedesk", "schedules", "equipment", "shared")
PURE = (
    "shared/units.py", "shared/sizes.py", "shared/clock.py", "shared/charts.py", "shared/season_strip.py",
    "shared/photographs.py", "equipment/airside", "equipment/verdict.py", "schedules/planning",
)  # fmt: skip
NOT_PURE = {"django", "celery", "redis", "kombu", "environ", "simple_history"}


def sources(place: str) -> list[Path]:
    path = ROOT / place
    found = [path] if path.is_file() else sorted(path.rglob("*.py"))
    return [file for file in found if "migrations" not in file.parts]


def imported(node: ast.AST) -> Iterator[str]:
    """Full names that an import statement brings in; a relative one has no name and is no way here."""
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        yield f"{'.' * node.level}{node.module or ''}"
        if not node.level:
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


@cache
def nodes_of(file: Path) -> list[ast.AST]:
    return list(ast.walk(ast.parse(file.read_text("utf-8"))))


@cache
def imports_of(file: Path) -> set[str]:
    return {name for node in nodes_of(file) for name in imported(node)}


def imports_in_functions(file: Path) -> set[str]:
    """Names imported inside a function, method or class body."""
    inside: set[str] = set()
    for node in nodes_of(file):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.Lambda):
            inside |= {name for child in ast.walk(node) for name in imported(child)}
    return inside


def ours(name: str) -> Path | None:
    """The file of a module of this project."""
    path = ROOT.joinpath(*name.split("."))
    for file in (path.with_suffix(".py"), path / "__init__.py"):
        if file.is_file() and name.split(".")[0] in ROOMS:
            return file
    return None


def reached(file: Path) -> set[str]:
    """Every name that importing ``file`` brings in, through this project's own modules."""
    names: set[str] = set()
    waiting, done = [file], set()
    while waiting:
        here = waiting.pop()
        if here in done:
            continue
        done.add(here)
        found = imports_of(here)
        names |= found
        waiting += [path for name in found if (path := ours(name))]
    return names


def every_source() -> list[Path]:
    return [file for room in ROOMS for file in sources(room)]


def test_there_is_something_to_look_at() -> None:
    assert all(sources(place) for place in (*ROOMS, *PURE))


@pytest.mark.parametrize("room", ROOMS)
def test_no_room_imports_one_above_it_not_even_inside_a_function(room: str) -> None:
    above = set(ROOMS[: ROOMS.index(room)])
    wrong = {
        (str(file.relative_to(ROOT)), name)
        for file in sources(room)
        for name in imports_of(file)
        if name.split(".")[0] in above
    }
    assert not wrong


def test_imports_are_written_in_full() -> None:
    wrong = {
        (str(file.relative_to(ROOT)), name)
        for file in every_source()
        for name in imports_of(file)
        if name.startswith(".") or name.split(".")[0] == "tests"
    }
    assert not wrong


@pytest.mark.parametrize("place", PURE)
def test_a_pure_room_reaches_neither_django_nor_celery_nor_redis(place: str) -> None:
    wrong = {
        (str(file.relative_to(ROOT)), name)
        for file in sources(place)
        for name in reached(file)
        if name.split(".")[0] in NOT_PURE
    }
    assert not wrong


def test_the_engine_runs_where_django_was_never_loaded() -> None:
    code = (
        "import sys, schedules.planning.forecast, schedules.planning.routing.solve, equipment.verdict, "
        "shared.units, shared.sizes, shared.clock, shared.charts; "
        "sys.exit(sorted({'django', 'celery', 'redis'} & set(sys.modules)) or 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


def test_nothing_is_imported_inside_a_function() -> None:
    """But the settings' key, for which a desk that has one never loads Django's."""
    wrong = {
        (str(file.relative_to(ROOT)), name) for file in every_source() for name in imports_in_functions(file)
    }
    helper = "django.core.management.utils"
    assert wrong == {
        ("servicedesk/settings.py", helper),
        ("servicedesk/settings.py", f"{helper}.get_random_secret_key"),
    }


@pytest.mark.parametrize("room", ROOMS)
def test_the_first_page_of_a_room_is_empty(room: str) -> None:
    assert (ROOT / room / "__init__.py").read_text() == ""


def test_no_module_is_a_drawer_for_everything() -> None:
    drawers = {"utils", "util", "helpers", "misc", "common"}
    assert not [file for file in every_source() if file.stem in drawers or drawers & set(file.parts)]


def test_no_signals_carry_the_work() -> None:
    wrong = {
        (str(file.relative_to(ROOT)), name)
        for file in every_source()
        for name in imports_of(file)
        if name.startswith(("django.dispatch", "django.db.models.signals", "django.core.signals"))
    }
    assert not wrong


def test_planning_never_asks_for_the_time_itself() -> None:
    """`now` is an argument there."""
    askers = {"now", "today", "utcnow", "time", "perf_counter", "localtime"}
    wrong = set()
    for place in ("schedules/planning", "shared/clock.py"):
        for file in sources(place):
            for node in nodes_of(file):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Attribute)
                    and node.func.attr in askers
                    and isinstance(node.func.value, ast.Name)
                    and node.func.value.id in {"datetime", "date", "timezone", "time"}
                ):
                    wrong.add((str(file.relative_to(ROOT)), node.lineno))
    assert not wrong
