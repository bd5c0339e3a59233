"""Single cells: what each kind of column takes and what it refuses."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from equipment.sheets import columns as c
from equipment.sheets.catalogue import MEDIA
from equipment.sheets.events import CHANGES, READINGS
from equipment.sheets.faults import Refused
from equipment.sheets.installed import INSTALLED
from shared.units import M3S_PER_CFM, METRE_PER_INCH, PA_PER_INWC, W_PER_TON

COLUMNS = {column.name: column for sheet in (MEDIA, INSTALLED, READINGS, CHANGES) for column in sheet}


def parsed(column: str, cell: str) -> Any:
    return COLUMNS[column].parse(cell)


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("nominal_size", "0x25x1"), ("nominal_size", "16x25"), ("nominal_size", "16x25x1x1"),
        ("nominal_size", "16x25x-1"), ("nominal_size", "16x25x20"), ("nominal_size", "160x250x1"),
        ("nominal_size", "axbxc"), ("nominal_size", "nanx25x1"),
        ("merv", "0"), ("merv", "21"), ("merv", "8.5"), ("merv", "MERV 8"), ("merv", "nan"), ("merv", "inf"),
        ("price", "-1"), ("price", "6,50"), ("on_hand", "-1"), ("on_hand", "1_000"), ("kind", "paper"),
        ("max_days", "0"),
        ("email", "robin"), ("email", "a@b"), ("language", "english"), ("timezone", "Chicago"),
        ("timezone", "../etc/passwd"), ("timezone", "/etc/passwd"), ("timezone", "America"),
        ("latitude", "91"), ("longitude", "-181"), ("system_kind", "ducted"), ("blower", "ecm"),
        ("capacity_tons", "0"), ("capacity_tons", "500"), ("design_airflow_cfm", "0"),
        ("design_airflow_cfm", "-800"), ("design_airflow_cfm", "8e9"), ("return_budget_inwc", "-0.1"),
        ("return_budget_inwc", "12"), ("limit_drop_inwc", "0"), ("pets", "yes"), ("pets", "2"),
        ("fitted_on", "2026-02-30"), ("fitted_on", "02/14/2026"), ("fitted_on", "2026-2-3"),
        ("fitted_on", "1826-05-01"), ("fitted_on", "20260203"),
        ("taken_at", "yesterday"), ("taken_at", "2026-02-30T10:00"), ("taken_at", "2026-03-01T25:00"),
        ("filter_drop_inwc", "12"), ("filter_drop_inwc", "-0.1"), ("filter_drop_inwc", "nan"),
        ("changed_on", "2026-13-01"), ("changed_on", "2026-03-01 at noon"),
        ("blower_table", "800:0.5"), ("blower_table", "800;900"), ("blower_table", "800:0.5;800:0.4"),
        ("blower_table", "800:nan;900:0.1"), ("blower_table", "-1:0.5;900:0.1"), ("blower_table", "8:19;9:1"),
        ("phone", "0" * 41), ("postcode", "0" * 21), ("city", "x" * 81), ("street", "x" * 201),
        ("customer", "x" * 201), ("site", "x" * 121),
    ],
)  # fmt: skip
def test_what_cannot_be_so_is_refused_with_a_reason(column: str, cell: str) -> None:
    with pytest.raises(Refused, match=r"\w{3}"):
        parsed(column, cell)


@pytest.mark.parametrize(
    ("cell", "inches"),
    [
        ("16x25x1", (16, 25, 1)),
        ('16 X 25 x 1"', (16, 25, 1)),
        ("25 x 16 x 1", (16, 25, 1)),
        ("406 x 635 x 25 mm", (16, 25, 1)),
        ("14x30x1", (14, 30, 1)),
    ],
)
def test_sizes_as_people_type_them(cell: str, inches: tuple[int, int, int]) -> None:
    size = parsed("nominal_size", cell)
    assert size.triple == pytest.approx(tuple(side * METRE_PER_INCH for side in inches))
    assert size.label == "x".join(map(str, inches))


@pytest.mark.parametrize(
    ("column", "cell", "value"),
    [
        ("design_airflow_cfm", "800", 800 * M3S_PER_CFM),
        ("filter_drop_inwc", "0", 0.0),
        ("filter_drop_inwc", "5", 5 * PA_PER_INWC),
        ("capacity_tons", "2.5", 2.5 * W_PER_TON),
        ("dust_capacity_g", "120", 0.120),
    ],
)
def test_numbers_are_kept_in_si(column: str, cell: str, value: float) -> None:
    assert parsed(column, cell) == pytest.approx(value)


def test_a_blower_table_is_sorted_by_airflow() -> None:
    table = parsed("blower_table", " 1000:0.25 ; 600:0.65; ")
    assert table == [
        pytest.approx([600 * M3S_PER_CFM, 0.65 * PA_PER_INWC]),
        pytest.approx([1000 * M3S_PER_CFM, 0.25 * PA_PER_INWC]),
    ]


def at(cell: str) -> datetime:
    return c.at_instant(c.instant(cell), "America/Chicago")


def test_a_naive_time_is_the_zones_own_and_an_offset_counts() -> None:
    """Chicago keeps UTC-6 in winter and UTC-5 in summer."""
    assert at("2026-01-10T10:00") == datetime(2026, 1, 10, 16, tzinfo=UTC)
    assert at("2026-07-10T10:00") == datetime(2026, 7, 10, 15, tzinfo=UTC)
    assert at("2026-07-10T10:00Z") == datetime(2026, 7, 10, 10, tzinfo=UTC)


def test_a_day_counts_as_its_end() -> None:
    assert c.at_instant(date(2026, 7, 10), "America/Chicago") == datetime(2026, 7, 11, 5, tzinfo=UTC)
    assert c.at_instant(date(2026, 10, 31), "America/Chicago") == datetime(2026, 11, 1, 5, tzinfo=UTC)
    assert c.at_instant(date(2026, 11, 1), "America/Chicago") == datetime(2026, 11, 2, 6, tzinfo=UTC)
