"""The forecast command on imported sheets."""

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command

MEDIA = [
    {"media": "pleat", "nominal_size": "16x25x1", "merv": 8},
    {"media": "washing", "nominal_size": "16x25x1", "merv": 4, "kind": "washable"},
    {"media": "block", "nominal_size": "16x25x4", "merv": 11, "kind": "deep"},
    {"media": "short", "nominal_size": "16x25x1", "merv": 8, "max_days": 60},
    {"media": "priced", "nominal_size": "16x25x1", "merv": 8, "price": 0.5},
]
# Drop over airflow to the power log(2.5) / log(2): 400 cfm cost 0.10 in. w.c., 800 cost 0.25.
POINTS = [
    {"media": media["media"], "airflow_cfm": cfm, "clean_drop_inwc": inwc}
    for media in MEDIA
    for cfm, inwc in ((400, 0.10), (800, 0.25))
]
SLOT = {
    "customer": "Reed", "site": "home", "system": "air", "filter_slot": "hall", "nominal_size": "16x25x1",
    "media": "pleat", "fitted_on": "2026-01-01", "design_airflow_cfm": 400, "timezone": "America/Chicago",
}  # fmt: skip


@pytest.fixture
def forecast_file(importing: Callable[..., Any], tmp_path: Path) -> Callable[..., bytes]:
    """The bytes that the command writes after importing the sheets given."""

    def run(as_of: str = "2026-05-12", **sheets: Any) -> bytes:
        if sheets:
            report = importing(**sheets)
            assert not report.faults, list(report.lines())
        out = tmp_path / "forecast.out"
        call_command("forecast", "--as-of", as_of, "--out", str(out))
        return out.read_bytes()

    return run


@pytest.fixture
def forecast_of(forecast_file: Callable[..., bytes]) -> Callable[..., dict[str, str]]:
    """The row of the one slot of a desk, some of its cells given; other sheets by name."""

    def run(slot: dict[str, Any] | None = None, as_of: str = "2026-05-12", **sheets: Any) -> dict[str, str]:
        installed = [SLOT | (slot or {})]
        content = forecast_file(as_of, media=MEDIA, media_points=POINTS, installed=installed, **sheets)
        (row,) = csv.DictReader(content.decode().splitlines())
        return row

    return run
