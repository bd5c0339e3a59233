"""Figures of another unit than their column's are taken where they can be, and asked about."""

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.django_db
HOUSE = {"customer": "A", "site": "A home", "system": "A1", "filter_slot": "A1-1", "nominal_size": "16x25x1"}


def readings(*drops: float) -> list[dict[str, Any]]:
    return [
        {"filter_slot": "A1-1", "taken_at": f"2026-04-{day:02d}T10:00", "filter_drop_inwc": drop}
        for day, drop in enumerate(drops, start=1)
    ]


def test_pascals_among_inches_are_asked_about_once_a_column(importing: Callable[..., Any]) -> None:
    report = importing(installed=[HOUSE], readings=readings(5, 0.2, 8))
    assert not report.faults
    assert report.remarks == [
        "readings.csv: filter_drop_inwc of 2 rows, the first on line 2, is unusually large; "
        "was it read in Pa? 5 Pa are 0.020 in. w.c."
    ]


def test_what_no_blower_reaches_is_refused_with_what_it_would_be_in_pascals(
    importing: Callable[..., Any],
) -> None:
    (fault,) = importing(installed=[HOUSE], readings=readings(62)).faults
    assert "62 Pa would be 0.249 in. w.c." in fault.reason


def test_kilowatts_among_tons_are_asked_about(importing: Callable[..., Any]) -> None:
    assert importing(installed=[{**HOUSE, "capacity_tons": "10.5"}]).remarks == [
        "installed.csv: capacity_tons of line 2 is unusually large; was it written in kW? "
        "10.5 kW are 2.99 tons"
    ]


def test_a_blower_table_that_does_not_fall_is_remarked(importing: Callable[..., Any]) -> None:
    remarks = importing(installed=[{**HOUSE, "blower_table": "400:0.5;800:0.9"}]).remarks
    assert remarks == [
        "installed.csv: the static of blower_table on line 2 does not fall with rising airflow; "
        "no airflow can be read from such a table"
    ]
