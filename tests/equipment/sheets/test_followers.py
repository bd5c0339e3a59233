"""A refused row and the rows of later sheets that lean on it."""

import pytest

from tests.conftest import Importing

pytestmark = pytest.mark.django_db


def test_a_row_that_refers_to_a_refused_row_says_so(importing: Importing) -> None:
    report = importing(
        media=[{"media": "thin", "nominal_size": "0x20x1", "merv": 8}],
        media_points=[{"media": "thin", "airflow_cfm": 400, "clean_drop_inwc": 0.1}],
        installed=[
            {
                "customer": "a",
                "site": "s",
                "system": "y",
                "filter_slot": "f",
                "nominal_size": "16x25x1",
                "media": "thin",
            }
        ],
        readings=[{"filter_slot": "f", "taken_at": "2026-05-01T10:00", "filter_drop_inwc": 0.2}],
        runtime=[
            {"system": "y", "date": "2026-05-01", "fan_hours": 4},
            {"system": "z", "date": "2026-05-01", "fan_hours": 4},
        ],
    )
    reasons = [(fault.sheet, fault.reason) for fault in report.faults]
    leaning = "the row that names this {} was itself refused, see above"
    assert reasons[1:] == [
        ("media_points.csv", leaning.format("medium")),
        ("installed.csv", leaning.format("medium")),
        ("runtime.csv", leaning.format("system")),
        ("runtime.csv", "no system of this name is known"),
        ("readings.csv", leaning.format("filter slot")),
    ]
