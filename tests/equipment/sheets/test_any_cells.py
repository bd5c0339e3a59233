"""Whatever stands in a sheet, an import ends with a report."""

import csv
import io
import tracemalloc
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from equipment.models import RuntimeDay
from equipment.sheets.importer import SHEETS, import_sheets
from tests.factories import NOW, SystemFactory

LIKELY = st.sampled_from(
    ["", "0", "1", "-1", "nan", "inf", "1e400", "16x25x1", "2026-02-30", "2026-03-01", "2026-03-01T10:00",
     "pleat", "800:0.5;900:0.1", "a@home.example", "9" * 400, "=1+1", "\ufeff", "१२", "½x½x½",
     "0001-01-01T00:00+14:00"]
)  # fmt: skip
CELL = st.one_of(LIKELY, st.text(st.characters(codec="utf-8"), max_size=12))


@st.composite
def sheets(draw: st.DrawFn) -> tuple[str, bytes]:
    name, columns, _ = draw(st.sampled_from(SHEETS))
    header = [column.name for column in columns]
    rows = draw(st.lists(st.lists(CELL, min_size=len(header), max_size=len(header)), max_size=3))
    out = io.StringIO()
    csv.writer(out).writerows([header, *rows])
    return name, out.getvalue().encode()


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(sheet=sheets())
def test_any_cells_end_in_a_report(db: None, tmp_path: Path, sheet: tuple[str, bytes]) -> None:
    check(tmp_path, *sheet)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.sampled_from([name for name, _, _ in SHEETS]), content=st.binary(max_size=200))
def test_any_bytes_end_in_a_report(db: None, tmp_path: Path, name: str, content: bytes) -> None:
    check(tmp_path, name, content)


def check(tmp_path: Path, name: str, content: bytes) -> None:
    for path in tmp_path.glob("*.csv"):
        path.unlink()
    (tmp_path / name).write_bytes(content)
    report = import_sheets(tmp_path, NOW)
    assert "\n".join(report.lines()).encode("utf-8")
    assert report.stored == (not report.faults)
    assert all(fault.line >= 1 and fault.reason for fault in report.faults)


def rows_of(count: int) -> Iterator[str]:
    yield "system,date,fan_hours\n"
    for row in range(count):
        yield f"s{row // 2000},{date(2020, 1, 1) + timedelta(days=row % 2000)},{row % 97 / 4}\n"


@pytest.mark.long
def test_ten_times_the_rows_do_not_take_ten_times_the_memory(db: None, tmp_path: Path) -> None:
    for system in range(100):
        SystemFactory(name=f"s{system}")
    peaks = []
    for count in (20_000, 200_000):
        RuntimeDay.objects.all().delete()
        (tmp_path / "runtime.csv").write_text("".join(rows_of(count)))
        tracemalloc.start()
        assert not import_sheets(tmp_path, NOW).faults
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert RuntimeDay.objects.count() == 200_000
    assert peaks[1] < 2 * peaks[0]
