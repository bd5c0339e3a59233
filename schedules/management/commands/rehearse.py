"""Score the engine on simulated fleets, through the same sheets and commands as anybody's."""

import csv
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from django.conf import settings
from django.core.management.base import BaseCommand, CommandParser

from schedules.planning.arrays import BoolArray
from schedules.rehearsal.fleet import AS_OF, Fleet, simulate
from schedules.rehearsal.observer import observe
from schedules.rehearsal.score import Pool, Promise, known, perfect, read_promise, run_hours, six_months
from schedules.rehearsal.sheets import write_sheets


class Command(BaseCommand):
    """``rehearse [--fleets N] [--slots M] [--seed S] [--observer]``"""

    help = "Simulate fleets, date them through the sheets, and score the dates beside habits and an oracle."

    def add_arguments(self, parser: CommandParser) -> None:
        """How many fleets of how many slots, from which seed on."""
        parser.add_argument("--fleets", type=int, default=5)
        parser.add_argument("--slots", type=int, default=1000)
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument(
            "--observer", action="store_true", help="the ideal observer too: half a second a slot"
        )

    def handle(self, *args: Any, fleets: int, slots: int, seed: int, observer: bool, **options: Any) -> None:
        """Print a row a split and forecaster, pooled over the fleets."""
        pool = Pool.empty()
        for number in range(seed, seed + fleets):
            fleet = simulate(number, slots, AS_OF)
            with tempfile.TemporaryDirectory() as folder:
                promise, said, logged = _dated(fleet, Path(folder))
            what = known(fleet, logged)
            daily = fleet.record.hours[:, -365:].mean(axis=1)[fleet.plant.slots.house]
            promises = {
                "ours": promise,
                "six months": six_months(what),
                "run-hours": run_hours(what, daily),
                "oracle": perfect(fleet),
            }
            if observer:
                promises["observer"] = observe(fleet, logged)
            pool.add(fleet, what, promises, said)
            self.stderr.write(f"fleet {number}: {fleet.count} slots dated")
        self.stdout.write(
            f"{'split':18}{'forecaster':12}{'slots':>7}{'in span':>9}{'pinball':>9}{'error':>8}"
        )
        for split, name, result in pool.scores():
            row = f"{result.count:7}{result.coverage:9.3f}{result.pinball:9.2f}{result.median_error:8.1f}"
            self.stdout.write(f"{split:18}{name:12}{row}")


def _dated(fleet: Fleet, folder: Path) -> tuple[Promise, BoolArray, BoolArray]:
    """Dates of the fleet from a desk of its own, slots of which anything was said, houses with a log."""
    write_sheets(fleet, folder / "sheets")
    out = folder / "dates.csv"
    desk = {**os.environ, "VAR_DIR": str(folder), "DATABASE_URL": f"sqlite:///{folder / 'desk.sqlite3'}"}
    for arguments in (
        ("migrate", "-v0"),
        ("import_sheets", str(folder / "sheets")),
        ("forecast", "--as-of", AS_OF.isoformat(), "--out", str(out)),
    ):
        command = [sys.executable, str(settings.BASE_DIR / "manage.py"), *arguments]
        subprocess.run(command, env=desk, check=True, stdout=subprocess.DEVNULL)  # noqa: S603
    with (folder / "sheets" / "runtime.csv").open(encoding="utf-8") as file:
        systems = {row["system"] for row in csv.DictReader(file)}
    logged = np.array([f"y{house}" in systems for house in range(len(fleet.plant.systems.slots))])
    return *read_promise(out, fleet), logged
