"""media.csv, media_points.csv and stations.csv."""

from collections.abc import Callable
from typing import Any

import pytest

from equipment.models import Media, MediaPoint, Station
from shared.units import METRE_PER_INCH, PA_PER_INWC

Faults = Callable[..., list[str]]
Importing = Callable[..., Any]
PLEAT = {"media": "pleat", "nominal_size": "16x25x1", "merv": 8, "price": "6.50", "on_hand": 12}


@pytest.mark.parametrize(
    ("name", "row"),
    [
        ("media", PLEAT | {"merv": 11}),
        ("media_points", {"media": "pleat", "airflow_cfm": 400, "clean_drop_inwc": 0.06}),
        ("stations", {"station": "ord", "latitude": 42, "longitude": -87.9}),
    ],
)
def test_the_same_key_with_other_values_in_one_file_is_a_fault(
    faults: Faults, name: str, row: dict[str, object]
) -> None:
    first, second = (fault for fault in faults(**{name: [row]}) if fault.startswith(f"{name}.csv"))
    assert first.startswith(f"{name}.csv line 2")
    assert second.endswith("stands twice in this file with other values, see line 2; neither row is taken")


@pytest.mark.parametrize(
    ("name", "row"),
    [
        ("media", PLEAT | {"nominal_size": "25 x 16 x 1"}),
        ("media_points", {"media": "pleat", "airflow_cfm": 400, "clean_drop_inwc": 0.05}),
        ("stations", {"station": "ord", "latitude": 41.98, "longitude": -87.9}),
    ],
)
def test_the_same_key_with_the_same_values_is_once(faults: Faults, name: str, row: dict[str, object]) -> None:
    assert faults(**{name: [row]}) == []
    assert (Media.objects.count(), MediaPoint.objects.count(), Station.objects.count()) == (2, 2, 1)


def test_other_values_of_stored_media_points_and_stations_update_them(whole: Callable[..., Any]) -> None:
    whole()
    whole(
        media=[PLEAT | {"merv": 11, "price": "7.25"}],
        media_points=[{"media": "pleat", "airflow_cfm": 400, "clean_drop_inwc": 0.06}],
        stations=[{"station": "ord", "latitude": 42, "longitude": -87.9}],
        installed=[{"customer": "Reed", "site": "home", "system": "up", "filter_slot": "up-1",
                    "nominal_size": "16x25x1"}],
    )  # fmt: skip
    pleat = Media.objects.get(name="pleat")
    assert (pleat.merv, str(pleat.price)) == (11, "7.25")
    drops = MediaPoint.objects.filter(media=pleat).values_list("clean_drop_pa", flat=True)
    assert sorted(drops) == pytest.approx([0.06 * PA_PER_INWC, 0.11 * PA_PER_INWC])
    assert Station.objects.get().latitude == 42


def test_the_actual_size_is_stored_beside_the_nominal_and_never_derived(
    importing: Callable[..., Any],
) -> None:
    importing(media=[PLEAT | {"actual_size": '15 1/2 x 24 1/2 x 7/8"'}, PLEAT | {"media": "bare"}])
    actual = Media.objects.get(name="pleat")
    assert actual.actual_short_m == pytest.approx(15.5 * METRE_PER_INCH)
    assert actual.actual_depth_m == pytest.approx(0.875 * METRE_PER_INCH)
    assert actual.short_m == pytest.approx(16 * METRE_PER_INCH)
    assert Media.objects.get(name="bare").actual_short_m is None


def test_a_point_of_a_medium_nobody_knows(faults: Faults) -> None:
    (fault,) = faults(media_points=[{"media": "wool", "airflow_cfm": 400, "clean_drop_inwc": 0.05}])
    assert "no medium of this name" in fault


@pytest.mark.parametrize(("column", "value"), [("airflow_cfm", 0), ("clean_drop_inwc", 0)])
def test_a_point_of_nought_is_refused(faults: Faults, column: str, value: int) -> None:
    row = {"media": "deep", "airflow_cfm": 400, "clean_drop_inwc": 0.05}
    (fault,) = faults(media_points=[row | {column: value}])
    assert "must be above 0" in fault


def test_a_drop_that_falls_as_its_airflow_rises_is_remarked_and_the_rest_goes_on(
    whole: Callable[..., Any],
) -> None:
    report = whole(add={"media_points": [{"media": "pleat", "airflow_cfm": 1000, "clean_drop_inwc": 0.04}]})
    (remark,) = report.remarks
    assert "media_points.csv: the drop of “pleat” falls from 0.11 to 0.04 in. w.c." in remark
    assert "from 800 to 1000 cfm" in remark
    assert report.stored
    assert MediaPoint.objects.count() == 3


def test_a_point_that_falls_below_one_stored_earlier_is_remarked(
    whole: Callable[..., Any], importing: Callable[..., Any]
) -> None:
    whole()
    report = importing(media_points=[{"media": "pleat", "airflow_cfm": 600, "clean_drop_inwc": 0.2}])
    assert "falls from 0.2 to 0.11" in report.remarks[0]


def test_a_label_that_rises_is_not_remarked(whole: Callable[..., Any]) -> None:
    assert whole().remarks == []
