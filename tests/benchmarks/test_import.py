"""What checking and comparing every row of a sheet costs beside merely reading and inserting it."""

import csv
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.db import connection, transaction

from equipment.models import RuntimeDay, System
from equipment.sheets.importer import import_sheets
from tests.factories import NOW, SystemFactory

ROWS = 100_000
PER_SYSTEM = 1000


@pytest.fixture
def runtime_sheet(db: None, tmp_path: Path) -> Path:
    path = tmp_path / "runtime.csv"
    first = date(2023, 1, 1)
    with path.open("w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["system", "date", "fan_hours"])
        for number in range(ROWS // PER_SYSTEM):
            name = SystemFactory(name=f"s{number}").name
            writer.writerows(
                [name, first + timedelta(days=day), (day * 7 + number) % 97 / 4] for day in range(PER_SYSTEM)
            )
    return path


def bare(path: Path) -> float:
    """Seconds to read the file with the csv module and insert its rows with one prepared statement."""
    ids = dict(System.objects.values_list("name", "pk"))
    table = RuntimeDay._meta.db_table
    start = time.perf_counter()
    with path.open(newline="") as file, transaction.atomic(), connection.cursor() as cursor:
        rows = csv.reader(file)
        next(rows)
        cursor.executemany(
            f"INSERT INTO {table} (system_id, day, fan_hours) VALUES (%s, %s, %s)",
            [(ids[name], day, float(hours)) for name, day, hours in rows],
        )
    return time.perf_counter() - start


@pytest.mark.benchmark
def test_import_of_100000_runtime_rows(
    runtime_sheet: Path, ratio: Callable[[str, float, float], float]
) -> None:
    yardstick_s = bare(runtime_sheet)
    assert RuntimeDay.objects.count() == ROWS
    RuntimeDay.objects.all().delete()
    start = time.perf_counter()
    report = import_sheets(runtime_sheet.parent, NOW)
    first_s = time.perf_counter() - start
    assert report.changed["runtime.csv"] == RuntimeDay.objects.count() == ROWS
    start = time.perf_counter()
    again = import_sheets(runtime_sheet.parent, NOW)
    again_s = time.perf_counter() - start
    assert again.changed["runtime.csv"] == 0
    ratio("import 100,000 runtime rows / csv.reader and executemany", first_s, yardstick_s)
    ratio("the same rows again / csv.reader and executemany", again_s, yardstick_s)
