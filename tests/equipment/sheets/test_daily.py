"""runtime.csv and weather.csv: one number a day."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from equipment.models import RuntimeDay, WeatherDay

Faults = Callable[..., list[str]]


def run(date: str, hours: object, system: str = "up") -> dict[str, object]:
    return {"system": system, "date": date, "fan_hours": hours}


@pytest.mark.parametrize("hours", [-3, 26, 25.5, "nan", "all day", ""])
def test_hours_that_no_day_has(faults: Faults, hours: object) -> None:
    (fault,) = faults(runtime=[run("2025-11-02", hours)])
    assert "runtime.csv line 5, fan_hours" in fault


def test_25_hours_are_good_on_the_day_the_clocks_go_back_alone(faults: Faults) -> None:
    """2 November 2025 in the United States; 26 October in the European Union."""
    assert faults(runtime=[run("2025-11-02", 25)]) == []
    assert RuntimeDay.objects.get(day="2025-11-02").fan_hours == 25
    (ordinary,) = faults(runtime=[run("2025-11-03", 25)])
    assert "24 hours in America/Chicago" in ordinary
    (american,) = faults(runtime=[run("2025-11-02", 25, "cottage")])
    assert "24 hours in Europe/Berlin" in american
    assert faults(runtime=[run("2025-10-26", 25, "cottage")]) == []


def test_a_system_nobody_knows(faults: Faults) -> None:
    (fault,) = faults(runtime=[run("2026-03-04", 3, "attic")])
    assert "no system of this name" in fault


def test_a_day_twice_with_the_same_value_is_once(faults: Faults) -> None:
    assert faults(runtime=[run("2026-03-01", 7.5)]) == []
    assert RuntimeDay.objects.filter(system__name="up").count() == 2


def test_a_day_twice_with_another_value_is_a_fault(faults: Faults) -> None:
    why = "stands twice in this file with other values, see line"
    assert faults(runtime=[run("2026-03-01", 7.6)]) == [
        f"runtime.csv line 2, date “2026-03-01”: {why} 5; neither row is taken",
        f"runtime.csv line 5, date “2026-03-01”: {why} 2; neither row is taken",
    ]
    assert faults(weather=[{"station": "ord", "date": "2026-03-01", "mean_temp_f": 33}]) == [
        f"weather.csv line 2, date “2026-03-01”: {why} 4; neither row is taken",
        f"weather.csv line 4, date “2026-03-01”: {why} 2; neither row is taken",
    ]


def test_keeping_the_good_rows_keeps_neither_of_two_that_contradict_each_other(
    whole: Callable[..., Any],
) -> None:
    again = [run("2026-03-01", 7.6), run("2026-03-01", 7.5), run("2026-03-09", 2)]
    report = whole(add={"runtime": again}, keep_good=True)
    assert [fault.line for fault in report.faults] == [2, 5, 6]
    kept = RuntimeDay.objects.filter(system__name="up").values_list("day", "fan_hours")
    assert {day.isoformat(): hours for day, hours in kept} == {"2026-03-02": 0, "2026-03-09": 2}
    assert report.rows["runtime.csv"] == 6
    assert report.changed["runtime.csv"] == 3


def test_another_value_of_a_stored_day_updates_it(whole: Callable[..., Any]) -> None:
    whole()
    whole(
        runtime=[run("2026-03-01", 9)], weather=[{"station": "ord", "date": "2026-03-01", "mean_temp_f": 50}]
    )
    assert RuntimeDay.objects.get(system__name="up", day="2026-03-01").fan_hours == 9
    assert WeatherDay.objects.get(day="2026-03-01").mean_temp_c == pytest.approx(10)
    assert RuntimeDay.objects.count() == 3


def test_days_may_come_in_any_order(faults: Faults) -> None:
    days = ["2026-02-03", "2025-12-24", "2026-02-01", "2024-02-29"]
    assert faults(runtime=[run(day, 1) for day in days]) == []
    assert RuntimeDay.objects.filter(fan_hours=1).count() == 4


@pytest.mark.parametrize("temperature", [-200, 212, "cold"])
def test_weather_of_no_place_on_earth(faults: Faults, temperature: object) -> None:
    (fault,) = faults(weather=[{"station": "ord", "date": "2026-03-05", "mean_temp_f": temperature}])
    assert "weather.csv line 4, mean_temp_f" in fault


@pytest.mark.parametrize("day", ["2026-05-12", "2026-05-13"])
def test_today_and_tomorrow_which_has_begun_elsewhere_are_good(faults: Faults, day: str) -> None:
    weather = [{"station": "ord", "date": day, "mean_temp_f": 50}]
    assert faults(at=datetime(2026, 5, 12, 15, tzinfo=UTC), runtime=[run(day, 3)], weather=weather) == []
