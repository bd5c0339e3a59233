"""The record as sheets: out, in again, and out the same."""

import csv
import tracemalloc
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from equipment.models import AirDay, FilterChange, FilterSlot, Media, Reading, RuntimeDay, SiteRole, System
from equipment.sheets import exporter
from equipment.sheets.exporter import export_sheets
from equipment.sheets.importer import SHEETS, import_sheets
from tests.equipment.sheets.record import brought_back, exported
from tests.factories import (
    NOW,
    CustomerFactory,
    FilterChangeFactory,
    FilterSlotFactory,
    MediaFactory,
    MediaPointFactory,
    PersonFactory,
    ReadingFactory,
    RuntimeDayFactory,
    SiteFactory,
    SiteRoleFactory,
    StationFactory,
    SystemFactory,
)

pytestmark = pytest.mark.django_db
ODD = ['Oak, "the" old', "two\nlines\r\nof it", "שלום בית", "=1+1", "+1 555", "-x", "@home", "'=a", "'", "-5"]
CHANGER = SiteRole.Role.FILTER_CHANGER


def read(directory: Path, name: str) -> list[dict[str, str]]:
    with (directory / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture
def full() -> FilterSlot:
    """A slot of which every column of every sheet says something."""
    station = StationFactory(name="=ord", latitude=41.98, longitude=-87.9)
    station.days.create(day=date(2026, 3, 1), mean_temp_c=-17.8)
    AirDay.objects.create(station=station, day=date(2026, 3, 1), pm25_ugm3=7.3)
    AirDay.objects.create(station=station, day=date(2026, 3, 8), pm25_ugm3=0.1, hours=3)
    AirDay.objects.create(station=station, day=date(2026, 11, 1), pm25_ugm3=1 / 3, hours=23)
    medium = MediaFactory(
        name='pleat, "13"', nominal_size="16x25x1", short_m=0.4064, long_m=0.635, depth_m=0.0254, merv=13,
        actual_short_m=0.394, actual_long_m=0.622, actual_depth_m=0.02, kind=Media.Kind.DEEP, price="11.50",
        dust_capacity_kg=0.1234, max_days=365, on_hand=7,
    )  # fmt: skip
    MediaPointFactory(media=medium, airflow_m3s=0.2, clean_drop_pa=25.0)
    site = SiteFactory(
        name="-home", customer=CustomerFactory(name="@Reed"), street="12 Linden\nStreet", city="+Springfield",
        region="IL", postcode="62701", latitude=39.8, longitude=-89.6, timezone="America/Denver",
        station=station, pets=True, smokers=False,
    )  # fmt: skip
    system = SystemFactory(
        name="up", site=site, kind=System.Kind.HIGH_VELOCITY, capacity_w=7000.0, design_airflow_m3s=0.3,
        blower=System.Blower.FIXED_SPEED, blower_table=[[0.3, 150.0], [0.4, 100.0]],
        rated_external_static_pa=200.0, return_budget_pa=60.0, return_static_pa=20.0, supply_static_pa=50.0,
    )  # fmt: skip
    slot = FilterSlotFactory(
        name="שלום", system=system, location="=hall", first_media=medium, fitted_on=date(2026, 1, 5),
        limit_drop_pa=70.0, changed_by="occupant", access_notes='ring "twice",\r\nthen wait',
    )  # fmt: skip
    person = PersonFactory(name="@Reed", email="robin@home.example", phone="+1 555 0100", language="es")
    SiteRoleFactory(site=site, person=person, role=CHANGER)
    RuntimeDayFactory(system=system, day=date(2026, 3, 1), fan_hours=7.123456789012345)
    ReadingFactory(
        slot=slot, taken_at=datetime(2026, 3, 1, 10, 0, 7, 5, UTC), filter_drop_pa=31.7, airflow_m3s=0.29
    )
    FilterChangeFactory(
        slot=slot, changed_on=date(2026, 3, 9), changed_at=datetime(2026, 3, 10, 6, tzinfo=UTC), media=medium,
        changed_by="technician",
    )  # fmt: skip
    FilterChangeFactory(
        slot=slot,
        changed_on=date(2026, 4, 9),
        changed_at=datetime(2026, 4, 9, 15, 30, tzinfo=UTC),
        media=None,
    )
    return slot


def test_every_column_is_filled_and_comes_back_the_same(full: FilterSlot, tmp_path: Path) -> None:
    first = exported(tmp_path / "out")
    for name, columns, _load in SHEETS:
        rows = read(tmp_path / "out", name)
        empty = {column.name for column in columns if not any(row[column.name] for row in rows)}
        assert (name, empty) == (name, set())
    assert brought_back(tmp_path / "out") == first
    again = FilterSlot.objects.get()
    assert (again.name, again.location, again.access_notes) == (full.name, "=hall", full.access_notes)
    reading, change = Reading.objects.get(), FilterChange.objects.order_by("changed_at")[0]
    assert reading.taken_at == datetime(2026, 3, 1, 10, 0, 7, 5, UTC)
    assert RuntimeDay.objects.get().fan_hours == 7.123456789012345
    assert (change.changed_on, change.changed_at) == (date(2026, 3, 9), datetime(2026, 3, 10, 6, tzinfo=UTC))
    assert list(AirDay.objects.order_by("day").values_list("hours", flat=True)) == [24, 3, 23]


def test_no_cell_would_run(full: FilterSlot, tmp_path: Path) -> None:
    exported(tmp_path / "out")
    for name, _columns, _load in SHEETS:
        for cell in (cell for row in read(tmp_path / "out", name) for cell in row.values()):
            if cell.startswith(("=", "+", "-", "@", "\t", "\r")):
                float(cell)
    assert read(tmp_path / "out", "installed.csv")[0]["phone"] == "'+1 555 0100"


def test_what_it_exports_is_nothing_new_to_the_same_desk(full: FilterSlot, tmp_path: Path) -> None:
    exported(tmp_path / "out")
    report = import_sheets(tmp_path / "out", NOW)
    assert not report.faults
    assert set(report.changed.values()) == {0}


@pytest.mark.parametrize("odd", ODD)
def test_odd_names_come_back(odd: str, tmp_path: Path) -> None:
    site = SiteFactory(
        name=odd, customer=CustomerFactory(name=odd), street=odd, station=StationFactory(name=odd)
    )
    slot = FilterSlotFactory(name=odd, system=SystemFactory(name=odd, site=site), location=odd)
    FilterSlot.objects.filter(pk=slot.pk).update(first_media=MediaFactory(name=odd))
    first = exported(tmp_path / "out")
    assert brought_back(tmp_path / "out") == first
    back = FilterSlot.objects.get()
    assert (back.name, back.location, back.system.site.customer.name) == (odd, odd, odd)


def test_of_several_people_the_one_who_came_last_to_the_filters_is_told(tmp_path: Path) -> None:
    site = FilterSlotFactory().system.site
    for mail, role in (("a", CHANGER), ("b", CHANGER), ("c", SiteRole.Role.OWNER)):
        person = PersonFactory(email=f"{mail}@home.example")
        SiteRoleFactory(site=site, person=person, role=role)
    SiteRoleFactory(
        site=site, person=PersonFactory(email="d@home.example"), role=CHANGER, until=date(2026, 1, 1)
    )
    first = exported(tmp_path / "out")
    assert [row["email"] for row in read(tmp_path / "out", "installed.csv")] == ["b@home.example"]
    assert brought_back(tmp_path / "out") == first


def test_a_home_of_nobody_comes_back_the_same(tmp_path: Path) -> None:
    FilterSlotFactory()
    assert not SiteRole.objects.exists()
    first = exported(tmp_path / "out")
    assert brought_back(tmp_path / "out") == first


@pytest.mark.parametrize("over", ["slot", "system", "customer"])
def test_what_is_over_is_left_out_with_its_days(over: str, tmp_path: Path) -> None:
    gone = FilterSlotFactory(name="gone")
    for slot in (gone, FilterSlotFactory(name="here")):
        RuntimeDayFactory(system=slot.system)
        ReadingFactory(slot=slot)
        FilterChangeFactory(slot=slot)
    ended = date(2026, 4, 1)
    gone.retired_on = ended if over == "slot" else None
    gone.system.replaced_on = ended if over == "system" else None
    gone.system.site.customer.gone_on = ended if over == "customer" else None
    for row in (gone, gone.system, gone.system.site.customer):
        row.save()
    exported(tmp_path / "out")
    assert [row["filter_slot"] for row in read(tmp_path / "out", "installed.csv")] == ["here"]
    for name in ("runtime.csv", "readings.csv", "changes.csv"):
        assert len(read(tmp_path / "out", name)) == 1


def test_a_change_that_was_taken_back_is_left_out(tmp_path: Path) -> None:
    FilterChangeFactory(undone_at=NOW)
    exported(tmp_path / "out")
    assert read(tmp_path / "out", "changes.csv") == []


def test_a_cell_that_the_import_would_refuse_is_left_empty(tmp_path: Path) -> None:
    site = SiteFactory(latitude=41.0, longitude=None, timezone="Nowhere/At all")
    slot = FilterSlotFactory(system__site=site, fitted_on=date(2126, 1, 1))
    person = PersonFactory(language="xx-12345", email="nonsense")
    SiteRoleFactory(site=site, person=person, role=CHANGER)
    FilterSlot.objects.filter(pk=slot.pk).update(first_media=MediaFactory(on_hand=-2, max_days=0))
    first = exported(tmp_path / "out")
    (row,) = read(tmp_path / "out", "installed.csv")
    told = ("latitude", "longitude", "timezone", "fitted_on", "email", "language")
    assert [row[name] for name in told] == ["", "", "", "", "", "en"]
    assert [read(tmp_path / "out", "media.csv")[0][name] for name in ("on_hand", "max_days")] == ["", ""]
    assert brought_back(tmp_path / "out") == first


def test_a_home_without_a_zone_keeps_the_desks_where_its_postcode_has_another(tmp_path: Path) -> None:
    FilterSlotFactory(system__site__timezone="", system__site__postcode="97201")
    first = exported(tmp_path / "out")
    assert read(tmp_path / "out", "installed.csv")[0]["timezone"] == "America/Chicago"
    assert brought_back(tmp_path / "out") == first


def test_there_is_an_air_sheet_only_where_there_is_air(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "air.csv").write_text("of another record")
    (tmp_path / "out" / "notes.csv").write_text("mine")
    assert set(exported(tmp_path / "out")) == {name for name, _, _ in SHEETS if name != "air.csv"} | {
        "notes.csv"
    }
    AirDay.objects.create(station=StationFactory(), day=date(2026, 3, 1), pm25_ugm3=7.3)
    assert "air.csv" in exported(tmp_path / "out")


def test_an_empty_record_is_headers_alone(tmp_path: Path) -> None:
    first = exported(tmp_path / "out")
    assert all(content.count(b"\r\n") == 1 for content in first.values())
    assert brought_back(tmp_path / "out") == first


def test_names_are_in_the_order_of_their_code_points(tmp_path: Path) -> None:
    for name in ("b", "B", "é", "a-b", "ab", "Z"):
        MediaFactory(name=name)
    exported(tmp_path / "out")
    assert [row["media"] for row in read(tmp_path / "out", "media.csv")] == ["B", "Z", "a-b", "ab", "b", "é"]


def test_the_number_of_queries_does_not_grow(full: FilterSlot, tmp_path: Path) -> None:
    def count() -> int:
        with CaptureQueriesContext(connection) as asked:
            exported(tmp_path / "out")
        return len(asked)

    count()
    few = count()
    for number in range(12):
        slot = FilterSlotFactory(name=f"s{number}", first_media=MediaFactory(name=f"m{number}"))
        SiteRoleFactory(site=slot.system.site, person=PersonFactory(), role=CHANGER)
        ReadingFactory(slot=slot)
        FilterChangeFactory(slot=slot, media=slot.first_media)
        RuntimeDayFactory(system=slot.system)
    assert count() == few


TEXTS = st.one_of(
    st.sampled_from(ODD), st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)
)
# Every way in takes the blanks off the ends of a name.
NAMES = st.lists(TEXTS.map(str.strip).filter(bool), min_size=2, max_size=2, unique=True)
AMOUNTS = st.floats(0.01, 20.0)


@st.composite
def slots(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Two slots of any names, texts, amounts and instants."""
    at = st.datetimes(datetime(2020, 1, 1), datetime(2026, 5, 1), timezones=st.just(UTC))
    return [
        {
            "name": name, "location": draw(TEXTS), "access_notes": draw(TEXTS), "drop": draw(AMOUNTS),
            "flow": draw(AMOUNTS), "at": draw(at), "temp": draw(st.floats(-50, 50)), "price": draw(AMOUNTS),
            "position": draw(st.tuples(st.floats(-90, 90), st.floats(-180, 180))),
            "fan": draw(st.floats(0, 24)), "side": draw(st.floats(0.2, 1.2)),
            "hours": draw(st.integers(1, 24)),
        }
        for name in draw(NAMES)
    ]  # fmt: skip


def store(told: dict[str, Any]) -> None:
    name, drop, flow = (told[key] for key in ("name", "drop", "flow"))
    latitude, longitude = told["position"]
    station = StationFactory(name=name, latitude=latitude, longitude=longitude)
    station.days.create(day=told["at"].date(), mean_temp_c=told["temp"])
    AirDay.objects.create(station=station, day=told["at"].date(), pm25_ugm3=drop, hours=told["hours"])
    side = told["side"]
    medium = MediaFactory(
        name=name,
        price=round(told["price"], 2),
        actual_short_m=side,
        actual_long_m=side,
        actual_depth_m=side / 9,
    )
    MediaPointFactory(media=medium, airflow_m3s=flow, clean_drop_pa=drop)
    site = SiteFactory(
        name=name, customer__name=name, latitude=latitude, longitude=longitude, station=station
    )
    table = [[flow, drop], [flow + 1, drop / 2]]
    system = SystemFactory(name=name, site=site, capacity_w=drop * 1000, blower_table=table)
    slot = FilterSlotFactory(
        name=name,
        system=system,
        first_media=medium,
        location=told["location"],
        access_notes=told["access_notes"],
    )
    RuntimeDayFactory(system=system, day=told["at"].date(), fan_hours=told["fan"])
    ReadingFactory(slot=slot, taken_at=told["at"], filter_drop_pa=drop, airflow_m3s=flow)
    FilterChangeFactory(slot=slot, changed_on=told["at"].date(), changed_at=told["at"], media=medium)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(told=slots())
def test_any_record_comes_back_byte_for_byte(db: None, told: list[dict[str, Any]], tmp_path: Path) -> None:
    with transaction.atomic():
        for one in told:
            store(one)
        first = exported(tmp_path / "out")
        assert brought_back(tmp_path / "out") == first
        transaction.set_rollback(True)


def test_ten_times_the_rows_do_not_take_more_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond what is read at once, which is made small here: it alone may fill up."""
    monkeypatch.setattr(exporter, "_CHUNK", 20)
    monkeypatch.setattr(exporter, "_FEW", 20)

    def most(systems: int) -> int:
        first = date(2026, 1, 1)
        RuntimeDay.objects.bulk_create(
            RuntimeDay(system=slot.system, day=first + timedelta(days=day), fan_hours=day % 97 / 4)
            for slot in FilterSlotFactory.create_batch(systems)
            for day in range(200)
        )
        tracemalloc.start()
        export_sheets(tmp_path)
        taken = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return taken

    few = most(20)
    assert most(180) < 1.5 * few
