"""A small desk in sheets: two stations, one house with two systems and three slots, one other house."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

import pytest

from tests.factories import NOW

MEDIA = [
    {"media": "pleat", "nominal_size": "16x25x1", "merv": 8, "price": "6.50", "on_hand": 12},
    {"media": "deep", "nominal_size": "20x25x4", "merv": 13, "kind": "deep", "max_days": 365},
]
POINTS = [
    {"media": "pleat", "airflow_cfm": 400, "clean_drop_inwc": 0.05},
    {"media": "pleat", "airflow_cfm": 800, "clean_drop_inwc": 0.11},
]
STATIONS = [{"station": "ord", "latitude": 41.98, "longitude": -87.9}]
WEATHER = [
    {"station": "ord", "date": "2026-03-01", "mean_temp_f": 32},
    {"station": "ord", "date": "2026-03-02", "mean_temp_f": 41},
]
HOUSE = {
    "customer": "Reed", "site": "home", "timezone": "America/Chicago", "weather_station": "ord",
    "email": "robin@home.example", "city": "Springfield", "pets": 1,
}  # fmt: skip
INSTALLED = [
    HOUSE | {"system": "up", "filter_slot": "up-1", "nominal_size": "16x25x1", "media": "pleat",
             "fitted_on": "2026-01-05", "design_airflow_cfm": 800},
    HOUSE | {"system": "up", "filter_slot": "up-2", "nominal_size": "16x25x1"},
    HOUSE | {"system": "down", "filter_slot": "down-1", "nominal_size": "20x25x4", "media": "deep"},
    {"customer": "Ash", "site": "cottage", "system": "cottage", "filter_slot": "cot-1",
     "nominal_size": "14x20x1", "timezone": "Europe/Berlin"},
]  # fmt: skip
RUNTIME = [
    {"system": "up", "date": "2026-03-01", "fan_hours": 7.5},
    {"system": "up", "date": "2026-03-02", "fan_hours": 0},
    {"system": "down", "date": "2026-03-01", "fan_hours": 24},
]
READINGS = [
    {"filter_slot": "up-1", "taken_at": "2026-03-01T10:00", "filter_drop_inwc": 0.12, "airflow_cfm": 390},
    {"filter_slot": "cot-1", "taken_at": "2026-03-01T10:00+01:00", "filter_drop_inwc": 0.2},
]
CHANGES = [
    {"filter_slot": "up-1", "changed_on": "2026-03-10", "media": "pleat", "changed_by": "occupant"},
    {"filter_slot": "up-2", "changed_on": "2026-03-10T09:30"},
]
SHEETS = {
    "media": MEDIA, "media_points": POINTS, "stations": STATIONS, "weather": WEATHER, "installed": INSTALLED,
    "runtime": RUNTIME, "readings": READINGS, "changes": CHANGES,
}  # fmt: skip


@pytest.fixture
def whole(importing: Callable[..., Any]) -> Callable[..., Any]:
    """Imports the whole desk with some sheets put in another's place; rows given alone are added to it."""

    def run(*, add: dict[str, list[dict[str, Any]]] | None = None, **instead: Any) -> Any:
        options = {key: instead.pop(key) for key in ("at", "keep_good") if key in instead}
        sheets = SHEETS | instead
        for name, rows in (add or {}).items():
            sheets[name] = [*sheets[name], *rows]
        return importing(**options, **sheets)

    return run


@pytest.fixture
def faults(whole: Callable[..., Any]) -> Callable[..., list[str]]:
    """The faults, one line each, of the desk with rows added; nothing may have been stored."""

    def run(at: datetime = NOW, **add: list[dict[str, Any]]) -> list[str]:
        report = whole(add=add, at=at)
        assert report.stored == (not report.faults)
        return [str(fault) for fault in report.faults]

    return run
