"""Three thousand sheets made from the demo's own by what happens to sheets: each ends in a report, is stored
whole or not at all beside the demo's record, and what was stored can be exported and read again."""

import csv
import io
import random
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.db import transaction

from equipment.models import FilterSlot
from equipment.sheets.exporter import export_sheets
from equipment.sheets.importer import SHEETS, import_sheets

pytestmark = [pytest.mark.long, pytest.mark.django_db]
DEMO = Path(__file__).resolve().parents[2] / "fixtures" / "demo"
COUNT, ROWS, OFTEN = 3_000, 6, 100
NOW_OF_DEMO = datetime(2026, 11, 25, 15, tzinfo=UTC)
ODD = (
    "", " ", "0", "-1", "nan", "1e400", "16x25x1", "16 × 25 × 1", "2026-02-30", "2026-03-08T02:30", "1,200",
    "=1+1", "'=1+1", "½", "１６", "\ufeff", "\u202e", "x" * 500, "\x00", '"', "a\nb", "true", "None", "0,5",
)  # fmt: skip

Cells = list[list[str]]
Change = Callable[[random.Random, Cells], None]


def a_cell(rng: random.Random, cells: Cells) -> None:
    row = rng.choice(cells[1:] or cells)
    if row:
        row[rng.randrange(len(row))] = rng.choice(ODD)


def two_cells_swapped(rng: random.Random, cells: Cells) -> None:
    row = rng.choice(cells)
    if len(row) > 1:
        one, other = rng.sample(range(len(row)), 2)
        row[one], row[other] = row[other], row[one]


def a_column_gone(rng: random.Random, cells: Cells) -> None:
    at = rng.randrange(len(cells[0]))
    for row in cells:
        del row[at : at + 1]


def a_column_twice(rng: random.Random, cells: Cells) -> None:
    at = rng.randrange(len(cells[0]))
    for row in cells:
        row.append(row[at] if at < len(row) else "")


def a_row_twice(rng: random.Random, cells: Cells) -> None:
    cells.append(list(rng.choice(cells)))


def a_row_short(rng: random.Random, cells: Cells) -> None:
    rng.choice(cells)[:] = rng.choice(cells)[: rng.randrange(3)]


CHANGES: tuple[Change, ...] = (
    a_cell, a_cell, a_cell, two_cells_swapped, a_column_gone, a_column_twice, a_row_twice, a_row_short
)  # fmt: skip


def as_bytes(rng: random.Random, cells: Cells) -> bytes:
    out = io.StringIO()
    separator = rng.choice(",,,,,;\t")
    csv.writer(out, delimiter=separator, lineterminator=rng.choice(["\r\n", "\n", "\r"])).writerows(cells)
    whole = out.getvalue()
    body = whole.encode(rng.choice(["utf-8"] * 6 + ["utf-8-sig", "utf-16", "cp1252"]), errors="replace")
    if rng.random() < 0.1 and body:
        body = body[: rng.randrange(len(body))]
    if rng.random() < 0.1 and body:
        at = rng.randrange(len(body))
        body = body[:at] + bytes([rng.randrange(256)]) + body[at + 1 :]
    return body


def few_of(path: Path, rng: random.Random) -> Cells:
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    return [rows[0], *(list(row) for row in rng.sample(rows[1:], min(ROWS, len(rows) - 1)))]


def test_whatever_happens_to_a_sheet_ends_in_a_report(tmp_path: Path) -> None:
    import_sheets(DEMO, NOW_OF_DEMO)
    paths, told = [DEMO / name for name, _columns, _load in SHEETS if (DEMO / name).exists()], Counter[str]()
    kept = {path: few_of(path, random.Random(1)) for path in paths}
    for seed in range(COUNT):
        rng = random.Random(seed)
        path = rng.choice(paths)
        cells = [list(row) for row in kept[path]]
        for _ in range(rng.randrange(1, 4)):
            if cells and cells[0]:
                rng.choice(CHANGES)(rng, cells)
        for old in tmp_path.glob("*.csv"):
            old.unlink()
        (tmp_path / path.name).write_bytes(as_bytes(rng, cells))
        with transaction.atomic():
            before = FilterSlot.objects.count()
            report = import_sheets(tmp_path, NOW_OF_DEMO)
            assert "\n".join(report.lines()).encode(), seed
            assert report.stored == (not report.faults), seed
            assert report.stored or FilterSlot.objects.count() == before, seed
            if report.stored and seed % OFTEN == 0:
                _comes_back(tmp_path / "out")
            transaction.set_rollback(True)
        told["stored" if report.stored else "refused"] += 1
    print(f"\n{COUNT} sheets: {dict(told)}")
    assert min(told.values()) > COUNT // 50


def _comes_back(folder: Path) -> None:
    folder.mkdir(exist_ok=True)
    export_sheets(folder)
    again = import_sheets(folder, NOW_OF_DEMO)
    assert again.stored
    assert not any(sheet.new or sheet.changed for sheet in again.tally.rows.values())
