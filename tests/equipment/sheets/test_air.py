"""air.csv: fine dust by the hour or the day."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest

from equipment.models import AirDay, FilterSlot, Station
from tests.equipment.sheets.conftest import SHEETS

Faults = Callable[..., list[str]]
Importing = Callable[..., Any]


def air(time: str, value: object, station: str = "ord") -> dict[str, object]:
    return {"station": station, "time": time, "pm25_ugm3": value}


def hourly(day: str, values: list[float], offset: str = "") -> list[dict[str, object]]:
    return [air(f"{day}T{hour:02}:00{offset}", value) for hour, value in enumerate(values)]


@pytest.fixture
def faulty(whole: Importing) -> Callable[..., list[str]]:
    """The faults of the desk with an air sheet; nothing may have been stored."""

    def run(*rows: dict[str, object]) -> list[str]:
        report = whole(air=list(rows))
        assert not report.stored
        assert not Station.objects.exists()
        return [str(fault) for fault in report.faults]

    return run


def stored() -> dict[date, tuple[float, int]]:
    return {row.day: (row.pm25_ugm3, row.hours) for row in AirDay.objects.order_by("day")}


def test_hours_become_the_mean_of_the_desks_day(whole: Importing) -> None:
    """Chicago, six hours behind UTC in March before the 8th."""
    report = whole(air=[*hourly("2026-03-01", [6.0] * 12 + [18.0] * 12), air("2026-03-03T02:00Z", 7)])
    assert not report.faults
    assert stored() == {date(2026, 3, 1): (12.0, 24), date(2026, 3, 2): (7.0, 1)}
    assert report.rows["air.csv"] == 25
    assert report.changed["air.csv"] == 2


def test_a_day_alone_is_its_own_mean_and_twice_the_same_is_once(whole: Importing) -> None:
    whole(air=[air("2026-03-01", 9.5), air("2026-03-01", "9.50")])
    assert stored() == {date(2026, 3, 1): (9.5, 24)}


def test_importing_twice_changes_nothing_and_stamps_nothing(whole: Importing) -> None:
    rows = [*hourly("2026-03-01", [0.1] * 24), air("2026-03-02", 8)]
    whole(air=rows)
    Station.objects.update(weather_changed_at=None)
    report = whole(air=rows)
    assert report.changed.get("air.csv", 0) == 0
    assert Station.objects.get().weather_changed_at is None


def test_new_air_stamps_its_station_and_a_corrected_day_updates(whole: Importing, now: object) -> None:
    whole(air=[air("2026-03-01", 8)])
    assert Station.objects.get().weather_changed_at == now
    assert whole(air=[air("2026-03-01", 80)]).changed["air.csv"] == 1
    assert stored() == {date(2026, 3, 1): (80.0, 24)}


def test_a_few_hours_do_not_push_a_fuller_day_aside(whole: Importing) -> None:
    whole(air=hourly("2026-03-01", [5.0] * 20))
    assert whole(air=hourly("2026-03-01", [50.0] * 4)).changed.get("air.csv", 0) == 0
    assert whole(air=hourly("2026-03-01", [6.0] * 24)).changed["air.csv"] == 1
    assert stored() == {date(2026, 3, 1): (6.0, 24)}


@pytest.mark.parametrize(
    ("value", "why"),
    [
        ("thick", "is not a number"),
        ("-1", "must be at least 0 µg/m³"),
        ("nan", "is not a finite number"),
        ("20000", "must be at most 10000 µg/m³"),
        ("", "must not be empty"),
        ("8,5", "write a decimal point"),
    ],
)
def test_figures_that_no_air_has(faulty: Faults, value: str, why: str) -> None:
    (fault,) = faulty(air("2026-03-01", 5), air("2026-03-02", value))
    assert fault.startswith(
        f"air.csv line 3, pm25_ugm3 “{value}”: " if value else "air.csv line 3, pm25_ugm3"
    )
    assert why in fault


@pytest.mark.parametrize(
    ("time", "why"),
    [
        ("yesterday", "is not a date"),
        ("2026-02-30", "does not have"),
        ("2026-03-01T10:30", "is not a whole hour"),
        ("2029-05-13", "more than 3 years ahead"),
        ("2029-05-14T19:00Z", "more than 3 years ahead"),
        ("2026-03-08T02:00", "the clocks go forward over it"),
        ("1949-12-31T10:00", "between 1950 and 2100"),
    ],
)
def test_times_that_cannot_be(faulty: Faults, time: str, why: str) -> None:
    (fault,) = faulty(air(time, 5))
    assert fault.startswith(f"air.csv line 2, time “{time}”: ")
    assert why in fault


def test_a_station_nobody_knows(faulty: Faults) -> None:
    (fault,) = faulty(air("2026-03-01", 5, "mdw"))
    assert fault == "air.csv line 2, station “mdw”: no station of this name is known"


def test_an_hour_twice_with_another_value_is_a_fault_on_both_lines(faulty: Faults) -> None:
    rows = [air("2026-03-01T10:00", 5), air("2026-03-01T11:00", 5), air("2026-03-01T16:00Z", 6)]
    why = "stands twice in this file with other values, see line"
    assert faulty(*rows) == [
        f"air.csv line 2, time “2026-03-01T10:00”: {why} 4; neither row is taken",
        f"air.csv line 4, time “2026-03-01T16:00Z”: {why} 2; neither row is taken",
    ]


@pytest.mark.parametrize("turned", [False, True])
def test_a_day_both_whole_and_by_the_hour_is_a_fault(faulty: Faults, turned: bool) -> None:
    rows = [air("2026-03-01", 5), air("2026-03-01T10:00", 5)]
    (fault,) = faulty(*(reversed(rows) if turned else rows))
    assert "line 3" in fault
    assert "both as a whole and by its hours" in fault


def test_every_fault_is_listed_and_the_good_rows_can_be_kept(whole: Importing) -> None:
    rows = [air("2026-03-01", 5), air("2026-03-02", "x"), air("2026-03-03", 5, "mdw"), air("2026-03-04", 6)]
    report = whole(air=rows, keep_good=True)
    assert [fault.line for fault in report.faults] == [3, 4]
    assert set(stored()) == {date(2026, 3, 1), date(2026, 3, 4)}


def test_the_hour_that_comes_twice_in_autumn_is_two_hours_with_an_offset(whole: Importing) -> None:
    whole(air=[air("2025-11-02T01:00-05:00", 4), air("2025-11-02T01:00-06:00", 8)])
    assert stored() == {date(2025, 11, 2): (6.0, 2)}


def test_rows_may_come_in_any_order(whole: Importing) -> None:
    first = date(2026, 1, 1)
    days = [air((first + timedelta(days=n)).isoformat(), n) for n in (9, 3, 70, 0, 41)]
    whole(air=days)
    assert {day: mean for day, (mean, _) in stored().items()} == {
        first + timedelta(days=n): n for n in (0, 3, 9, 41, 70)
    }


def test_air_is_no_part_of_the_slots_own_facts(whole: Importing) -> None:
    assert "air" not in SHEETS
    whole()
    before = set(FilterSlot.objects.values_list("pk", "facts_changed_at"))
    whole(air=[air("2026-03-01", 5)])
    assert set(FilterSlot.objects.values_list("pk", "facts_changed_at")) == before
