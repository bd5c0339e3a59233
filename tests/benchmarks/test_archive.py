"""The whole desk written and read back, beside reading and writing the same rows barely."""

import time
import tracemalloc
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from django.db import connection

from equipment.models import RuntimeDay
from servicedesk.archive.restore import restore_archive
from servicedesk.archive.write import write_archive
from tests.factories import NOW, TODAY, SystemFactory
from tests.servicedesk.test_archive import emptied

pytestmark = [pytest.mark.benchmark, pytest.mark.long, pytest.mark.django_db]
SYSTEMS, DAYS = 100, 2_000


@pytest.fixture
def filled(db: None) -> None:
    rows = (
        RuntimeDay(system=system, day=TODAY - timedelta(days=n), fan_hours=5.0 + n / DAYS)
        for system in SystemFactory.create_batch(SYSTEMS)
        for n in range(DAYS)
    )
    RuntimeDay.objects.bulk_create(rows, batch_size=5_000)


def bare(path: Path) -> float:
    """Seconds to read the same rows and write them as they come."""
    began = time.perf_counter()
    with connection.cursor() as cursor, path.open("w") as out:
        cursor.execute("SELECT * FROM equipment_runtimeday ORDER BY id")
        while rows := cursor.fetchmany(2_000):
            out.writelines(f"{row}\n" for row in rows)
    return time.perf_counter() - began


def test_two_hundred_thousand_days(
    filled: None, tmp_path: Path, ratio: Callable[[str, float, float], float]
) -> None:
    yardstick = bare(tmp_path / "rows.txt")
    began = time.perf_counter()
    told = write_archive(tmp_path / "desk.zip", NOW)
    wrote = time.perf_counter() - began
    assert told["equipment.runtimeday"] == SYSTEMS * DAYS
    emptied()
    tracemalloc.start()
    began = time.perf_counter()
    restore_archive(tmp_path / "desk.zip")
    read = time.perf_counter() - began
    _now, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    size = (tmp_path / "desk.zip").stat().st_size
    print(
        f"\n{SYSTEMS * DAYS:,} rows: {size:,} bytes, at most {peak / 2**20:.0f} MB while they are read back"
    )
    ratio("200,000 days archived, against reading and writing them barely", wrote, yardstick)
    ratio("the same read back into an empty desk (memory traced)", read, yardstick)
