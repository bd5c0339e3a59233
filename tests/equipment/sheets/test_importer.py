"""A directory of sheets: all or nothing, idempotent, every fault listed."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db.models import Model

from equipment.models import (
    Customer,
    FilterChange,
    FilterSlot,
    Media,
    MediaPoint,
    Person,
    Reading,
    RuntimeDay,
    Site,
    SiteRole,
    Station,
    System,
    WeatherDay,
)
from equipment.sheets.importer import NoSheets, import_sheets
from shared.units import M3S_PER_CFM, PA_PER_INWC
from tests.factories import NOW

Whole = Callable[..., Any]
MODELS: list[type[Model]] = [
    Customer, FilterChange, FilterSlot, Media, MediaPoint, Person, Reading, RuntimeDay, Site, SiteRole,
    Station, System, WeatherDay, FilterSlot.history.model, Reading.history.model, FilterChange.history.model,
    Media.history.model, Site.history.model, System.history.model,
]  # fmt: skip


def counts() -> dict[str, int]:
    return {model.__name__: model._default_manager.count() for model in MODELS}


def stamps() -> list[tuple[object, ...]]:
    return [
        *FilterSlot.objects.order_by("pk").values_list("name", "facts_changed_at"),
        *Station.objects.order_by("pk").values_list("name", "weather_changed_at"),
    ]


def test_a_whole_desk_is_stored_in_si(whole: Whole) -> None:
    report = whole()
    assert not report.faults
    assert report.stored
    slot = FilterSlot.objects.get(name="up-1")
    assert (slot.system.name, slot.system.site.name, slot.system.site.customer.name) == ("up", "home", "Reed")
    assert slot.system.design_airflow_m3s == pytest.approx(800 * M3S_PER_CFM)
    assert slot.system.site.station == Station.objects.get(name="ord")
    assert slot.system.site.pets is True
    assert slot.first_media == Media.objects.get(name="pleat")
    reading = Reading.objects.get(slot=slot)
    assert reading.filter_drop_pa == pytest.approx(0.12 * PA_PER_INWC)
    assert reading.airflow_m3s == pytest.approx(390 * M3S_PER_CFM)
    temps = WeatherDay.objects.order_by("day").values_list("mean_temp_c", flat=True)
    assert list(temps) == pytest.approx([0.0, 5.0])


def test_two_systems_and_many_slots_of_one_house_make_one_site_and_one_person(whole: Whole) -> None:
    whole()
    assert Site.objects.get(name="home").systems.count() == 2
    roles = SiteRole.objects.filter(site__name="home")
    assert set(roles.values_list("role", flat=True)) == {"occupant", "filter_changer"}
    assert Person.objects.get(name="Reed").email == "robin@home.example"


def test_the_same_sheets_a_second_time_change_nothing(whole: Whole) -> None:
    whole()
    before, stamped = counts(), stamps()
    report = whole(at=NOW + timedelta(days=1))
    assert counts() == before
    assert stamps() == stamped
    assert set(report.changed.values()) <= {0}


def test_one_bad_row_in_the_last_sheet_leaves_nothing_behind(whole: Whole) -> None:
    report = whole(add={"changes": [{"filter_slot": "nowhere", "changed_on": "2026-03-10"}]})
    assert [fault.sheet for fault in report.faults] == ["changes.csv"]
    assert not report.stored
    assert set(counts().values()) == {0}
    assert all(line.endswith(" 0 new or changed") for line in report.lines() if "rows read" in line)


def test_a_refused_update_leaves_the_stored_rows_as_they_were(whole: Whole) -> None:
    whole()
    stamped = stamps()
    bad = [
        {"media": "pleat", "nominal_size": "16x25x1", "merv": 11},
        {"media": "x", "nominal_size": "1", "merv": 8},
    ]
    whole(media=bad, at=NOW + timedelta(days=1))
    assert Media.objects.get(name="pleat").merv == 8
    assert stamps() == stamped


def test_keeping_the_good_rows_leaves_out_the_bad_alone(whole: Whole) -> None:
    bad = {"filter_slot": "up-1", "taken_at": "2026-03-02T10:00", "filter_drop_inwc": 12}
    good = bad | {"taken_at": "2026-03-03T10:00", "filter_drop_inwc": 0.14}
    report = whole(add={"readings": [bad, good]}, keep_good=True)
    assert len(report.faults) == 1
    assert report.stored
    assert Reading.objects.filter(slot__name="up-1").count() == 2


def test_every_fault_of_every_sheet_is_listed_with_its_place(whole: Whole) -> None:
    report = whole(
        add={
            "media": [{"media": "odd", "nominal_size": "0x25x1", "merv": 77}],
            "runtime": [
                {"system": "up", "date": "2026-02-30", "fan_hours": 3},
                {"system": "up", "date": "2026-03-05", "fan_hours": -3},
            ],
            "readings": [{"filter_slot": "up-1", "taken_at": "noon", "filter_drop_inwc": "much"}],
        }
    )
    assert [(f.sheet, f.line, f.column, f.value) for f in report.faults] == [
        ("media.csv", 4, "nominal_size", "0x25x1"),
        ("media.csv", 4, "merv", "77"),
        ("runtime.csv", 5, "date", "2026-02-30"),
        ("runtime.csv", 6, "fan_hours", "-3"),
        ("readings.csv", 4, "taken_at", "noon"),
        ("readings.csv", 4, "filter_drop_inwc", "much"),
    ]
    assert all(fault.reason for fault in report.faults)


def test_sheets_may_come_one_at_a_time(whole: Whole, importing: Whole) -> None:
    whole(readings="filter_slot,taken_at,filter_drop_inwc\n")
    later = [{"filter_slot": "up-1", "taken_at": "2026-04-01T10:00", "filter_drop_inwc": 0.15}]
    assert not importing(readings=later).faults
    assert Reading.objects.count() == 1


def test_only_the_slots_a_fact_touches_are_stamped_anew(whole: Whole, importing: Whole) -> None:
    whole()
    later = NOW + timedelta(days=1)
    importing(
        at=later, readings=[{"filter_slot": "up-1", "taken_at": "2026-04-01T10:00", "filter_drop_inwc": 1}]
    )
    importing(at=later, runtime=[{"system": "down", "date": "2026-04-01", "fan_hours": 3}])
    fresh = set(FilterSlot.objects.filter(facts_changed_at=later).values_list("name", flat=True))
    assert fresh == {"up-1", "down-1"}


def test_new_weather_stamps_its_station(whole: Whole, importing: Whole) -> None:
    whole()
    later = NOW + timedelta(days=1)
    importing(at=later, weather=[{"station": "ord", "date": "2026-03-03", "mean_temp_f": 50}])
    assert Station.objects.get().weather_changed_at == later


def test_another_label_point_stamps_the_slots_that_hold_the_medium(whole: Whole, importing: Whole) -> None:
    whole()
    later = NOW + timedelta(days=1)
    importing(at=later, media_points=[{"media": "pleat", "airflow_cfm": 800, "clean_drop_inwc": 0.12}])
    assert set(FilterSlot.objects.filter(facts_changed_at=later).values_list("name", flat=True)) == {"up-1"}


def test_a_directory_without_sheets_says_so(db: None, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("nothing here")
    with pytest.raises(NoSheets, match=r"media\.csv"):
        import_sheets(tmp_path, datetime(2026, 5, 12, tzinfo=UTC))


def test_another_csv_file_is_named_and_left_unread(whole: Whole) -> None:
    report = whole(runtimes="system,date\nup,never\n")
    assert not report.faults
    assert any("runtimes.csv" in remark for remark in report.remarks)
