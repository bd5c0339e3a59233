"""readings.csv and changes.csv: what happened is never overwritten."""

from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any

import pytest

from equipment.models import FilterChange, Reading

Faults = Callable[..., list[str]]
READING = {
    "filter_slot": "up-1",
    "taken_at": "2026-03-01T10:00",
    "filter_drop_inwc": 0.12,
    "airflow_cfm": 390,
}
CHANGE = {"filter_slot": "up-1", "changed_on": "2026-03-10", "media": "pleat", "changed_by": "occupant"}


def test_a_reading_of_12_inches_is_a_slip_of_the_decimal_point(faults: Faults) -> None:
    (fault,) = faults(readings=[READING | {"taken_at": "2026-03-02T10:00", "filter_drop_inwc": 12}])
    assert "readings.csv line 4, filter_drop_inwc “12”" in fault


@pytest.mark.parametrize("name", ["readings", "changes"])
def test_a_slot_nobody_knows(faults: Faults, name: str) -> None:
    row = (READING if name == "readings" else CHANGE) | {"filter_slot": "nowhere"}
    (fault,) = faults(**{name: [row]})
    assert "no filter slot of this name" in fault


def test_the_same_event_twice_is_once(faults: Faults) -> None:
    assert faults(readings=[READING], changes=[CHANGE]) == []
    assert Reading.objects.filter(slot__name="up-1").count() == 1
    assert FilterChange.objects.filter(slot__name="up-1").count() == 1


def test_the_same_instant_written_with_an_offset_is_the_same_event(faults: Faults) -> None:
    assert faults(readings=[READING | {"taken_at": "2026-03-01T16:00Z"}]) == []
    assert Reading.objects.filter(slot__name="up-1").count() == 1


def test_the_same_key_with_other_values_in_one_file_is_a_fault(faults: Faults) -> None:
    why = "stands twice in this file with other values, see line"
    assert faults(readings=[READING | {"filter_drop_inwc": 0.13}]) == [
        f"readings.csv line 2, taken_at “2026-03-01T10:00”: {why} 4; neither row is taken",
        f"readings.csv line 4, taken_at “2026-03-01T10:00”: {why} 2; neither row is taken",
    ]
    assert faults(changes=[CHANGE | {"changed_by": "technician"}]) == [
        f"changes.csv line 2, changed_on “2026-03-10”: {why} 4; neither row is taken",
        f"changes.csv line 4, changed_on “2026-03-10”: {why} 2; neither row is taken",
    ]


def test_keeping_the_good_rows_keeps_neither_of_two_events_that_contradict_each_other(
    whole: Callable[..., Any],
) -> None:
    other = READING | {"taken_at": "2026-03-01T16:00Z", "filter_drop_inwc": 0.13}
    report = whole(add={"readings": [other]}, keep_good=True)
    assert [fault.value for fault in report.faults] == ["2026-03-01T10:00", "2026-03-01T16:00Z"]
    assert Reading.objects.get().slot.name == "cot-1"


@pytest.mark.parametrize(("column", "cell"), [("filter_drop_inwc", "0.130"), ("airflow_cfm", "400")])
def test_a_stored_reading_is_not_overwritten_and_the_fault_shows_the_cell(
    whole: Callable[..., Any], column: str, cell: str
) -> None:
    whole()
    report = whole(readings=[READING | {column: cell}])
    assert [(fault.line, fault.column, fault.value) for fault in report.faults] == [(2, column, cell)]
    assert "stored" in report.faults[0].reason


def test_a_stored_change_is_not_overwritten(whole: Callable[..., Any]) -> None:
    whole()
    report = whole(changes=[CHANGE | {"media": "deep"}])
    assert [(fault.column, fault.value) for fault in report.faults] == [("media", "deep")]
    assert FilterChange.objects.get(slot__name="up-1").media.name == "pleat"


def test_times_without_an_offset_are_those_of_the_site(whole: Callable[..., Any]) -> None:
    """Ten in Chicago is four in the afternoon in UTC before the clocks change on 8 March 2026."""
    whole(readings=[READING, READING | {"filter_slot": "cot-1"}])
    at = dict(Reading.objects.values_list("slot__name", "taken_at"))
    assert at == {
        "up-1": datetime(2026, 3, 1, 16, tzinfo=UTC),
        "cot-1": datetime(2026, 3, 1, 9, tzinfo=UTC),
    }


def test_a_change_known_by_its_day_counts_from_the_days_end(whole: Callable[..., Any]) -> None:
    whole()
    change = FilterChange.objects.get(slot__name="up-1")
    assert change.changed_on == date(2026, 3, 10)
    assert change.changed_at == datetime(2026, 3, 11, 5, tzinfo=UTC)


def test_a_change_with_a_time_counts_from_that_time(whole: Callable[..., Any]) -> None:
    whole()
    change = FilterChange.objects.get(slot__name="up-2")
    assert change.changed_on == date(2026, 3, 10)
    assert change.changed_at == datetime(2026, 3, 10, 14, 30, tzinfo=UTC)


def test_a_change_late_in_the_evening_keeps_its_local_day(whole: Callable[..., Any]) -> None:
    whole(changes=[CHANGE | {"changed_on": "2026-03-11T03:00Z"}])
    assert FilterChange.objects.get().changed_on == date(2026, 3, 10)


def test_a_change_to_a_medium_nobody_knows(faults: Faults) -> None:
    (fault,) = faults(changes=[CHANGE | {"changed_on": "2026-04-01", "media": "wool"}])
    assert "changes.csv line 4, media “wool”: no medium of this name is known" in fault


@pytest.mark.parametrize(
    ("name", "row", "column", "cell"),
    [
        ("readings", READING, "taken_at", "2026-03-08T02:30"),
        ("changes", CHANGE, "changed_on", "2026-03-08T02:00"),
    ],
)
def test_a_time_that_the_clocks_skip_is_refused(
    faults: Faults, name: str, row: dict[str, object], column: str, cell: str
) -> None:
    """Clocks in Chicago go from 02:00 to 03:00 on 8 March 2026; Berlin's do so three weeks later."""
    (fault,) = faults(**{name: [row | {column: cell}]})
    assert f"{name}.csv line 4, {column} “{cell}”: is a time that never was in America/Chicago" in fault


def test_a_time_skipped_elsewhere_or_just_after_the_gap_is_good(faults: Faults) -> None:
    good = READING | {"taken_at": "2026-03-08T03:00"}
    assert faults(readings=[good, READING | {"filter_slot": "cot-1", "taken_at": "2026-03-08T02:30"}]) == []


def test_a_time_shown_twice_is_the_first_and_that_is_said(whole: Callable[..., Any]) -> None:
    """Clocks in Chicago go from 02:00 back to 01:00 on 2 November 2025, from UTC-5 to UTC-6."""
    report = whole(readings=[READING | {"taken_at": "2025-11-02T01:30"}])
    assert Reading.objects.get().taken_at == datetime(2025, 11, 2, 6, 30, tzinfo=UTC)
    assert report.stored
    (remark,) = report.remarks
    assert "readings.csv: taken_at of 1 rows (the first on line 2)" in remark


def test_an_offset_says_which_of_the_two_is_meant(whole: Callable[..., Any]) -> None:
    report = whole(readings=[READING | {"taken_at": "2025-11-02T01:30-06:00"}])
    assert Reading.objects.get().taken_at == datetime(2025, 11, 2, 7, 30, tzinfo=UTC)
    assert report.remarks == []
