"""Facts dated after today: planned ones are taken with a remark, slips of the pen refused."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from equipment.fitted import fitted_media, life_keys
from equipment.models import FilterChange, FilterSlot, Reading, RuntimeDay
from equipment.record import Told, record_change, undo_change
from equipment.sheets.importer import import_sheets
from tests.conftest import Importing

Faults = Callable[..., list[str]]
Whole = Callable[..., Any]
AT = datetime(2026, 5, 12, 15, tzinfo=UTC)
DEMO = Path(__file__).parents[3] / "fixtures" / "demo"
NEW = {"customer": "Fir", "site": "new", "system": "new", "filter_slot": "new-1", "nominal_size": "16x25x1"}

ROWS: list[tuple[str, str, dict[str, object]]] = [
    ("weather", "date", {"station": "ord", "mean_temp_f": 50}),
    ("air", "time", {"station": "ord", "pm25_ugm3": 8}),
    ("installed", "fitted_on", NEW),
    ("runtime", "date", {"system": "up", "fan_hours": 3}),
    ("readings", "taken_at", {"filter_slot": "up-1", "filter_drop_inwc": 0.2}),
    ("changes", "changed_on", {"filter_slot": "up-1", "media": "pleat"}),
]
each_sheet = pytest.mark.parametrize(("name", "column", "row"), ROWS, ids=[name for name, _, _ in ROWS])


def cell(name: str, day: str) -> str:
    return f"{day}T10:00" if name == "readings" else day


@each_sheet
@pytest.mark.parametrize("day", ["2026-05-14", "2029-05-12"])
def test_a_day_to_come_is_taken_and_said_in_one_remark(
    whole: Whole, name: str, column: str, row: dict[str, object], day: str
) -> None:
    sheets = {"air": []} if name == "air" else {}
    report = whole(at=AT, add={name: [row | {column: cell(name, day)}]}, **sheets)
    assert report.faults == []
    assert report.stored
    (remark,) = report.remarks
    assert remark.startswith(f"{name}.csv: 1 row is dated after today (line ")
    assert f"{column} up to {day}" in remark
    assert remark.endswith("each counts from its day on")


@each_sheet
@pytest.mark.parametrize("day", ["2029-05-13", "2031-01-01", "2062-03-01"])
def test_a_day_years_ahead_is_refused_as_a_slip(
    whole: Whole, name: str, column: str, row: dict[str, object], day: str
) -> None:
    sheets = {"air": []} if name == "air" else {}
    report = whole(at=AT, add={name: [row | {column: cell(name, day)}]}, **sheets)
    (fault,) = report.faults
    assert (fault.sheet, fault.column, fault.value) == (f"{name}.csv", column, cell(name, day))
    assert "more than 3 years ahead, a likely slip of the pen" in fault.reason
    assert not report.stored


def test_many_days_to_come_are_one_remark_with_their_number_and_first_line(whole: Whole) -> None:
    days = ["2026-05-13", "2026-05-20", "2026-05-15", "2026-05-15"]
    rows = [{"system": "up", "date": day, "fan_hours": 3} for day in days]
    report = whole(at=AT, add={"runtime": rows})
    assert report.remarks == [
        "runtime.csv: 2 rows are dated after today (the first on line 6, date up to 2026-05-20); "
        "each counts from its day on"
    ]
    assert RuntimeDay.objects.filter(day__gt="2026-05-12").count() == 3


def test_three_years_from_a_leap_day_are_its_morrow(faults: Faults) -> None:
    leap = datetime(2028, 2, 29, 18, tzinfo=UTC)
    row = {"system": "up", "fan_hours": 3}
    assert faults(at=leap, runtime=[row | {"date": "2031-03-01"}]) == []
    assert len(faults(at=leap, runtime=[row | {"date": "2031-03-02"}])) == 1


def test_a_slip_and_another_fault_of_one_row_are_both_listed(faults: Faults) -> None:
    found = faults(at=AT, installed=[NEW | {"fitted_on": "2036-05-01", "media": "nope", "merv": ""}])
    assert [fault.split(":")[0] for fault in found] == [
        "installed.csv line 6, media “nope”",
        "installed.csv line 6, fitted_on “2036-05-01”",
    ]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("now", "remarks"),
    [
        (datetime(2025, 3, 1, 12, tzinfo=UTC), 4),
        pytest.param(datetime(2028, 1, 1, 12, tzinfo=UTC), 0, marks=pytest.mark.long),
    ],
    ids=["clock far behind", "clock far ahead"],
)
def test_the_demos_sheets_are_read_whatever_the_machines_clock_says(now: datetime, remarks: int) -> None:
    report = import_sheets(DEMO, now)
    assert report.faults == []
    assert report.stored
    assert len([remark for remark in report.remarks if "dated after today" in remark]) == remarks
    assert Reading.objects.exists()


@pytest.fixture
def planned(importing: Importing, whole: Whole) -> FilterSlot:
    """A slot whose sheet plans a change to another medium for September."""
    whole()
    other = [{"media": "finer", "nominal_size": "16x25x1", "merv": 13}]
    plan = [{"filter_slot": "up-1", "changed_on": "2026-09-01", "media": "finer"}]
    assert importing(at=AT, media=other, changes=plan).stored
    return FilterSlot.objects.get(name="up-1")


def test_a_change_planned_ahead_counts_from_its_day_on(planned: FilterSlot) -> None:
    september = datetime(2026, 9, 2, 15, tzinfo=UTC)
    before, after = (fitted_media([planned], now)[planned.pk] for now in (AT, september))
    assert before is not None
    assert after is not None
    assert (before.name, after.name) == ("pleat", "finer")
    assert life_keys([planned.pk], AT) != life_keys([planned.pk], september)


def test_a_change_made_today_may_be_told_though_another_is_planned(planned: FilterSlot) -> None:
    told = Told(how=FilterChange.Told.OCCUPANT, by="occupant")
    change = record_change(planned, date(2026, 5, 12), None, told, AT)
    FilterChange.objects.filter(pk=change.pk).update(recorded_at=AT)
    undo_change(change, AT)
    assert FilterChange.objects.get(pk=change.pk).undone_at == AT
