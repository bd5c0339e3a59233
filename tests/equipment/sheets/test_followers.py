"""A refused row and the rows of later sheets that lean on it."""

import pytest

from equipment.sheets.faults import Report
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


GOOD = {"customer": "a", "site": "s", "system": "y", "filter_slot": "f", "nominal_size": "16x25x1"}


def places(report: Report) -> list[tuple[str, int, str, str]]:
    return [(fault.sheet[:-4], fault.line, fault.column, fault.reason) for fault in report.faults]


def test_a_refused_cell_hides_no_bad_reference_of_its_row(importing: Importing) -> None:
    report = importing(
        stations=[{"station": "ord", "latitude": 41, "longitude": -87}],
        installed=[GOOD | {"media": "nope", "weather_station": "nowhere", "fitted_on": "2026-02-30"}],
        media=[{"media": "thin", "nominal_size": "16x25x1", "merv": 8}],
        media_points=[{"media": "nope", "airflow_cfm": "1,5", "clean_drop_inwc": 0.1}],
        weather=[{"station": "nowhere", "date": "2026-05-01", "mean_temp_f": "warm"}],
        air=[{"station": "nowhere", "time": "2026-05-01T10:30", "pm25_ugm3": "nan"}],
    )
    assert [(sheet, line, column) for sheet, line, column, _ in places(report)] == [
        ("media_points", 2, "airflow_cfm"),
        ("media_points", 2, "media"),
        ("weather", 2, "mean_temp_f"),
        ("weather", 2, "station"),
        ("air", 2, "pm25_ugm3"),
        ("air", 2, "time"),
        ("air", 2, "station"),
        ("installed", 2, "fitted_on"),
        ("installed", 2, "media"),
        ("installed", 2, "weather_station"),
    ]


def test_rows_that_lean_on_a_refused_row_have_their_own_faults_listed(importing: Importing) -> None:
    def reading(at: str, drop: object) -> dict[str, object]:
        return {"filter_slot": "f", "taken_at": at, "filter_drop_inwc": drop}

    report = importing(
        installed=[GOOD | {"media": "nope"}],
        readings=[
            reading("2026-05-01T10:00", 12),
            reading("2036-05-01T10:00", 0.1),
            reading("2026-04-01T10:00", 0.1),
            reading("2026-04-01T10:00", 0.2),
        ],
        changes=[
            {"filter_slot": "f", "changed_on": "2036-01-01", "media": "nope"},
            {"filter_slot": "f", "changed_on": "2026-13-01", "media": "nope"},
        ],
        runtime=[
            {"system": "y", "date": "2036-05-01", "fan_hours": 4},
            {"system": "y", "date": "2026-05-01", "fan_hours": 4},
            {"system": "y", "date": "2026-05-01", "fan_hours": 5},
            {"system": "y", "date": "2026-05-02", "fan_hours": 31},
        ],
    )
    found = places(report)
    leaning = [place for place in found if "itself refused" in place[3]]
    assert [place[:2] for place in leaning] == [
        ("runtime", 2), ("runtime", 3), ("runtime", 4), ("runtime", 5),
        ("readings", 2), ("readings", 3), ("readings", 4), ("readings", 5),
        ("changes", 2), ("changes", 3),
    ]  # fmt: skip
    own = [place[:3] for place in found if place not in leaning]
    assert own == [
        ("installed", 2, "media"),
        ("runtime", 2, "date"),
        ("runtime", 3, "date"),
        ("runtime", 4, "date"),
        ("runtime", 5, "fan_hours"),
        ("readings", 2, "filter_drop_inwc"),
        ("readings", 3, "taken_at"),
        ("readings", 4, "taken_at"),
        ("readings", 5, "taken_at"),
        ("changes", 2, "media"),
        ("changes", 2, "changed_on"),
        ("changes", 3, "changed_on"),
        ("changes", 3, "media"),
    ]
    twice = [place for place in found if "stands twice" in place[3]]
    assert [place[:2] for place in twice] == [
        ("runtime", 3),
        ("runtime", 4),
        ("readings", 4),
        ("readings", 5),
    ]


def test_a_row_of_the_wrong_width_still_names_what_later_sheets_lean_on(importing: Importing) -> None:
    report = importing(
        installed="customer,site,system,filter_slot,nominal_size\na,s,y,f\n",
        readings=[{"filter_slot": "f", "taken_at": "2026-05-01T10:00", "filter_drop_inwc": 0.2}],
    )
    assert "itself refused" in report.faults[-1].reason


def test_unknown_owners_are_no_dispute_for_known_ones(importing: Importing) -> None:
    rows = [("y", 4), ("z", 5), ("q", 6), ("y", 4), ("z", 5)]
    report = importing(
        installed=[GOOD],
        runtime=[{"system": name, "date": "2026-05-01", "fan_hours": hours} for name, hours in rows],
    )
    assert [place[:3] for place in places(report)] == [
        ("runtime", 3, "system"), ("runtime", 4, "system"), ("runtime", 6, "system")
    ]  # fmt: skip
