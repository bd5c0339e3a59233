"""What an import would change, sheet by sheet: rows counted, cells beside what is on record."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from equipment.models import AirDay, Person, Site
from equipment.sheets.importer import import_sheets, preview_sheets
from equipment.sheets.tally import Rows
from tests.equipment.sheets.conftest import HOUSE, INSTALLED, POINTS, READINGS, RUNTIME, STATIONS, WEATHER
from tests.equipment.sheets.test_importer import counts, stamps
from tests.factories import NOW

pytestmark = pytest.mark.django_db
Whole = Callable[..., Any]
AIR = [{"station": "ord", "time": f"2026-03-01T0{hour}:00", "pm25_ugm3": 5} for hour in range(3)]


@pytest.fixture
def preview(sheet: Callable[..., Path], tmp_path: Path) -> Callable[..., Any]:
    """Shows what the given sheets alone would change."""

    def run(**sheets: object) -> Any:
        for path in tmp_path.glob("*.csv"):
            path.unlink()
        for name, rows in sheets.items():
            sheet(f"{name}.csv", rows)
        return preview_sheets(tmp_path, NOW)

    return run


@pytest.fixture
def shown(whole: Whole, preview: Callable[..., Any]) -> Callable[..., Any]:
    """The same, of the whole desk that was stored before."""

    def run(**sheets: object) -> Any:
        whole()
        return preview(**sheets)

    return run


def cells(report: Any) -> list[tuple[int, str, str, str]]:
    return [(d.line, d.column, d.before, d.after) for d in report.tally.differences]


def test_all_rows_of_an_empty_desk_are_new_and_then_the_same(whole: Whole, tmp_path: Path) -> None:
    report = whole()
    rows = {name: Rows(new=count) for name, count in report.rows.items()}
    assert report.tally.rows == rows
    assert not report.tally.differences
    again = preview_sheets(tmp_path, NOW)
    assert again.tally.rows == {name: Rows(same=count) for name, count in report.rows.items()}


def test_a_preview_stores_nothing(whole: Whole, sheet: Callable[..., Path], tmp_path: Path) -> None:
    whole()
    before, stamped = counts(), stamps()
    sheet("media_points.csv", [POINTS[0] | {"clean_drop_inwc": 0.5}])
    sheet("installed.csv", [INSTALLED[0] | {"city": "Elsewhere", "filter_slot": "new"}])
    report = preview_sheets(tmp_path, NOW)
    assert not report.stored
    assert not report.faults
    assert report.tally.rows["installed.csv"] == Rows(new=1)
    assert (counts(), stamps()) == (before, stamped)


def test_every_part_of_a_row_is_told_at_its_line(shown: Callable[..., Any]) -> None:
    house = HOUSE | {"city": "Riverton", "email": "ash@home.example", "pets": 0, "customer": "Oak"}
    rows = [
        INSTALLED[3],
        INSTALLED[1] | house,
        INSTALLED[0] | house | {"fitted_on": "2026-01-06", "design_airflow_cfm": 900, "limit_drop_inwc": 0.3},
    ]
    report = shown(installed=rows)
    assert report.tally.rows["installed.csv"] == Rows(changed=2, same=1)
    assert cells(report) == [
        (3, "customer", "Reed", "Oak"),
        (3, "city", "Springfield", "Riverton"),
        (3, "pets", "1", "0"),
        (3, "email", "robin@home.example", "ash@home.example"),
        (4, "design_airflow_cfm", "800", "900"),
        (4, "fitted_on", "2026-01-05", "2026-01-06"),
        (4, "limit_drop_inwc", "", "0.3"),
    ]
    assert set(Site.objects.values_list("city", flat=True)) == {"Springfield", ""}
    assert not Person.objects.filter(email="ash@home.example").exists()


def test_a_zone_that_the_postcode_gives_is_told_too(whole: Whole, preview: Callable[..., Any]) -> None:
    whole()
    Site.objects.filter(name="home").update(timezone="")
    row = {key: value for key, value in INSTALLED[0].items() if key != "timezone"} | {"postcode": "97201"}
    told = cells(preview(installed=[row]))
    assert (2, "timezone", "", "America/Los_Angeles") in told


def test_a_text_is_told_as_the_record_holds_it(shown: Callable[..., Any]) -> None:
    report = shown(installed=[INSTALLED[1] | {"location": "'=hall"}])
    assert cells(report) == [(2, "location", "", "=hall")]


@pytest.mark.parametrize(
    ("name", "rows", "counted", "told"),
    [
        ("media_points", [POINTS[0] | {"clean_drop_inwc": 0.06}, POINTS[1]], Rows(changed=1, same=1),
         [(2, "clean_drop_inwc", "0.05", "0.06")]),
        ("media_points", [POINTS[0] | {"airflow_cfm": 500}], Rows(new=1), []),
        ("stations", [STATIONS[0] | {"latitude": 42}], Rows(changed=1), [(2, "latitude", "41.98", "42")]),
        ("weather", [WEATHER[0] | {"mean_temp_f": 33}, WEATHER[1], WEATHER[1]], Rows(changed=1, same=2),
         [(2, "mean_temp_f", "32", "33")]),
        ("runtime", [RUNTIME[0], RUNTIME[1] | {"fan_hours": 2}, RUNTIME[2] | {"date": "2026-03-05"}],
         Rows(new=1, changed=1, same=1), [(3, "fan_hours", "0", "2")]),
        ("readings", [READINGS[0], READINGS[0], READINGS[1] | {"taken_at": "2026-03-02T10:00"}],
         Rows(new=1, same=2), []),
        ("readings", [READINGS[0] | {"filter_drop_inwc": 0.5}], Rows(), []),
        ("air", AIR, Rows(new=3), []),
        ("air", [AIR[0], AIR[0]], Rows(new=1, same=1), []),
    ],
)  # fmt: skip
def test_rows_are_counted_and_changes_told(
    shown: Callable[..., Any], name: str, rows: object, counted: Rows, told: list[object]
) -> None:
    report = shown(**{name: rows})
    assert report.tally.rows[f"{name}.csv"] == counted
    assert cells(report) == told


def test_a_day_of_air_that_gets_other_hours_is_told(whole: Whole, preview: Callable[..., Any]) -> None:
    whole(air=AIR)
    assert AirDay.objects.get().hours == 3
    report = preview(air=[*AIR[:2], {**AIR[2], "pm25_ugm3": 8}, {**AIR[2], "time": "2026-03-01T05:00"}])
    assert report.tally.rows["air.csv"] == Rows(changed=4)
    assert cells(report) == [(2, "pm25_ugm3", "5 (3 h)", "5.75 (4 h)")]


def test_what_contradicts_itself_is_counted_as_read_the_second_time(shown: Callable[..., Any]) -> None:
    rows = [RUNTIME[0], RUNTIME[0] | {"fan_hours": 9}, RUNTIME[1] | {"fan_hours": 1}]
    report = shown(runtime=rows)
    assert len(report.faults) == 2
    assert report.tally.rows["runtime.csv"] == Rows(changed=1)
    assert cells(report) == [(4, "fan_hours", "0", "1")]


def test_the_mark_is_the_same_while_the_record_is_and_another_after(whole: Whole, tmp_path: Path) -> None:
    many = [{"system": "up", "date": f"2026-{month:02}-{day:02}", "fan_hours": 3}
            for month in range(1, 5) for day in range(1, 29)]  # fmt: skip
    whole(runtime=many)
    other = "\n".join(f"up,{row['date']},4" for row in many)
    (tmp_path / "runtime.csv").write_text(f"system,date,fan_hours\n{other}\n")
    first = preview_sheets(tmp_path, NOW)
    assert first.tally.more
    assert preview_sheets(tmp_path, NOW).mark() == first.mark()
    last = Site.objects.get(name="home").systems.get(name="up").runtime.latest("day")
    last.fan_hours = 3.5
    last.save()
    again = preview_sheets(tmp_path, NOW)
    assert again.tally.rows == first.tally.rows
    assert again.tally.differences == first.tally.differences
    assert again.mark() != first.mark()


def test_the_mark_of_homes_beyond_the_hundredth_change_differs_too(
    importing: Callable[..., Any], preview: Callable[..., Any]
) -> None:
    def rows(city: str) -> list[dict[str, str]]:
        return [
            {"customer": f"c{n}", "site": f"c{n}", "system": f"c{n}", "filter_slot": f"c{n}",
             "nominal_size": "16x25x1", "city": city}
            for n in range(120)
        ]  # fmt: skip

    importing(installed=rows("Before"))
    one = preview(installed=rows("After"))
    Site.objects.filter(name="c119").update(city="Between")
    other = preview(installed=rows("After"))
    assert one.tally.more
    assert one.tally.differences == other.tally.differences
    assert one.mark() != other.mark()


def test_nothing_is_stored_where_it_is_not_agreed_to(whole: Whole, tmp_path: Path) -> None:
    whole()
    (tmp_path / "media_points.csv").write_text("media,airflow_cfm,clean_drop_inwc\npleat,400,0.5\n")
    before = counts()
    assert not import_sheets(tmp_path, NOW, agreed=lambda report: False).stored
    assert counts() == before
