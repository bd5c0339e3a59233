"""installed.csv: repeated columns agree, stored rows are updated, an empty cell says nothing."""

from collections.abc import Callable
from typing import Any

import pytest

from equipment.models import FilterSlot, Person, Site, System
from tests.equipment.sheets.conftest import HOUSE, INSTALLED

Faults = Callable[..., list[str]]
Importing = Callable[..., Any]
FIRST: dict[str, Any] = INSTALLED[0]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("customer", "Oak"), ("timezone", "America/Denver"), ("email", "other@home.example"), ("pets", 0),
        ("city", "Shelby"),
    ],
)  # fmt: skip
def test_rows_of_one_site_that_disagree_are_a_fault(faults: Faults, column: str, value: object) -> None:
    row = HOUSE | {"system": "up", "filter_slot": "up-3", "nominal_size": "16x25x1", column: value}
    found = [fault for fault in faults(installed=[row]) if fault.startswith("installed.csv")]
    assert f"installed.csv line 6, {column} “{value}”: another row of this site says otherwise" in found[-1]
    assert "line 2" in found[0]


@pytest.mark.parametrize(("column", "value"), [("design_airflow_cfm", 900), ("site", "cottage")])
def test_rows_of_one_system_that_disagree_are_a_fault(faults: Faults, column: str, value: object) -> None:
    row = {
        "customer": "Reed",
        "site": "home",
        "system": "up",
        "filter_slot": "up-3",
        "nominal_size": "16x25x1",
    }
    found = faults(installed=[row | {column: value}])
    assert any(f"line 6, {column}" in fault for fault in found)


def test_a_slot_twice_with_other_values_is_a_fault(faults: Faults) -> None:
    found = faults(installed=[FIRST | {"nominal_size": "20x25x1"}])
    why = "another row of this filter slot says otherwise, see line"
    assert f"installed.csv line 2, nominal_size “16x25x1”: {why} 6" in found
    assert f"installed.csv line 6, nominal_size “20x25x1”: {why} 2" in found


def test_a_slot_twice_with_the_same_values_is_once(faults: Faults) -> None:
    assert faults(installed=[FIRST]) == []
    assert FilterSlot.objects.count() == 4


@pytest.mark.parametrize(("column", "what"), [("media", "medium"), ("weather_station", "station")])
def test_a_name_that_no_sheet_above_gave(faults: Faults, column: str, what: str) -> None:
    row = {"customer": "A", "site": "a", "system": "a", "filter_slot": "a", "nominal_size": "16x25x1"}
    (fault,) = faults(installed=[row | {column: "who"}])
    assert f"no {what} of this name is known" in fault


@pytest.mark.parametrize("column", ["customer", "site", "system", "filter_slot", "nominal_size"])
def test_the_five_cells_that_every_row_needs(faults: Faults, column: str) -> None:
    row = {"customer": "A", "site": "a", "system": "a", "filter_slot": "a", "nominal_size": "16x25x1"}
    (fault,) = faults(installed=[row | {column: ""}])
    assert f"line 6, {column} “”: must not be empty" in fault


def test_other_values_of_a_stored_slot_update_it(whole: Importing, importing: Importing) -> None:
    whole()
    importing(installed=[FIRST | {"nominal_size": "20x25x1", "location": "hall", "city": "Shelby"}])
    slot = FilterSlot.objects.get(name="up-1")
    assert (slot.nominal_size, slot.location, slot.system.site.city) == ("20x25x1", "hall", "Shelby")
    assert slot.history.count() == 2


def test_an_empty_cell_leaves_what_is_stored(whole: Importing, importing: Importing) -> None:
    whole()
    bare = ("customer", "site", "system", "filter_slot", "nominal_size")
    importing(installed=[{name: FIRST[name] for name in bare}])
    slot = FilterSlot.objects.get(name="up-1")
    assert slot.first_media is not None
    assert slot.fitted_on is not None
    assert System.objects.get(name="up").design_airflow_m3s is not None
    assert Site.objects.get(name="home").timezone == "America/Chicago"


def test_an_address_that_comes_later_reaches_the_filter_changer(
    whole: Importing, importing: Importing
) -> None:
    whole()
    importing(installed=[INSTALLED[3] | {"email": "ash@home.example", "language": "es"}])
    assert Person.objects.get(name="Ash").email == "ash@home.example"
    assert Person.objects.get(name="Ash").language == "es"
    assert Person.objects.count() == 2


def test_keeping_the_good_rows_sets_aside_all_that_contradict_each_other(whole: Importing) -> None:
    row = HOUSE | {"system": "up", "filter_slot": "up-3", "nominal_size": "16x25x1", "city": "Shelby"}
    silent = row | {"filter_slot": "up-4", "city": ""}
    report = whole(add={"installed": [row, silent]}, keep_good=True)
    here = [fault for fault in report.faults if fault.sheet == "installed.csv"]
    assert [(fault.line, fault.column, fault.value) for fault in here] == [
        (2, "city", "Springfield"),
        (3, "city", "Springfield"),
        (4, "city", "Springfield"),
        (6, "city", "Shelby"),
    ]
    assert "see line 6" in here[0].reason
    assert "see line 2" in here[-1].reason
    assert sorted(FilterSlot.objects.values_list("name", flat=True)) == ["cot-1", "up-4"]
    assert Site.objects.get(name="home").city == ""


def test_a_slot_twice_with_other_values_keeps_neither(whole: Importing) -> None:
    report = whole(add={"installed": [FIRST | {"nominal_size": "20x25x1"}]}, keep_good=True)
    assert [fault.line for fault in report.faults if fault.sheet == "installed.csv"] == [2, 6]
    assert not FilterSlot.objects.filter(name="up-1").exists()
    assert FilterSlot.objects.count() == 3


@pytest.mark.parametrize(("there", "missing"), [("latitude", "longitude"), ("longitude", "latitude")])
@pytest.mark.parametrize("left_out", [True, False])
def test_half_a_position_is_a_fault(faults: Faults, there: str, missing: str, left_out: bool) -> None:
    row = {"customer": "A", "site": "a", "system": "a", "filter_slot": "a", "nominal_size": "16x25x1"}
    empty = {} if left_out else {missing: ""}
    (fault,) = faults(installed=[row | {there: 41.9} | empty])
    assert fault.endswith(f"line 6, {missing} “”: is empty beside a {there}; a position needs both")


def test_a_medium_of_another_size_than_its_slot_is_taken_and_told_with_both_sizes(whole: Importing) -> None:
    deep = HOUSE | {"system": "down", "filter_slot": "down-2", "nominal_size": "16x25x1", "media": "deep"}
    report = whole(
        add={
            "installed": [deep],
            "changes": [{"filter_slot": "up-2", "changed_on": "2026-04-01", "media": "deep"}],
        }
    )
    assert report.stored
    assert report.remarks == [
        f"{place}: “deep” is 20x25x4, its slot “{slot}” is 16x25x1; taken as what happened, but it is no fit"
        for place, slot in (("installed.csv line 6", "down-2"), ("changes.csv line 4", "up-2"))
    ]
    assert FilterSlot.objects.get(name="down-2").first_media is not None


def test_many_media_of_another_size_are_told_of_in_few_lines(whole: Importing) -> None:
    slots = [HOUSE | {"system": "up", "filter_slot": f"x-{n}", "nominal_size": "14x20x1", "media": "pleat"}
             for n in range(30)]  # fmt: skip
    remarks = whole(add={"installed": slots}).remarks
    assert len(remarks) == 21
    assert remarks[-1] == "installed.csv: 10 more rows name a filter of another size"


@pytest.mark.parametrize(("postcode", "zone"), [("85001", "America/Phoenix"), ("K1A 0B1", "")])
def test_a_home_without_a_zone_has_that_of_its_postcode(
    importing: Importing, postcode: str, zone: str
) -> None:
    bare = {
        "customer": "Fir",
        "site": "fir",
        "system": "fir",
        "filter_slot": "fir-1",
        "nominal_size": "16x25x1",
    }
    for _ in range(2):
        importing(installed=[bare | {"postcode": postcode}])
        assert Site.objects.get(name="fir").timezone == zone
    importing(installed=[bare | {"timezone": "America/Denver"}])
    importing(installed=[bare | {"postcode": postcode}])
    assert Site.objects.get(name="fir").timezone == "America/Denver"
