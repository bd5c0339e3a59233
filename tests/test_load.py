"""The load script: its figures, and one short run on the demo desk."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.load import BARE, measured, table


def test_figures_are_those_of_the_answers() -> None:
    one = measured("x", [n / 1000 for n in range(101)], 10.0)
    figures = (one.a_second, one.p50, one.p95, one.p99)
    assert figures == pytest.approx((10.1, 50.0, 95.0, 99.0))


def test_the_table_holds_every_sort_against_the_bare_view() -> None:
    rows = [measured(BARE, [0.002], 1.0), measured("due list", [0.02], 1.0)]
    bare, due = table(rows).splitlines()[1:]
    assert bare.split()[-1] == "1.0"
    assert due.split()[-1] == "10.0"


@pytest.mark.long
def test_a_run_on_the_demo_desk(tmp_path: Path) -> None:
    root = Path(__file__).resolve().parents[1]
    database = {"DATABASE_URL": f"sqlite:///{tmp_path}/desk.sqlite3", "VAR_DIR": str(tmp_path)}
    environment = os.environ | database | {"PYTHONPATH": str(root)}

    def run(*command: str) -> str:
        ran = subprocess.run(
            [sys.executable, "-P", *command],
            cwd=root,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
        )
        assert ran.returncode == 0, ran.stderr
        return ran.stdout

    run("manage.py", "migrate", "-v0")
    run("manage.py", "load_demo")
    told = run("-m", "tests.load", "--seconds", "0.2", "--clients", "2")
    names = {line[:34].strip() for line in told.splitlines()[1:]}
    assert {BARE, "due list", "calendar, 304", "a device's 24 hours", "look-up by size"} <= names
