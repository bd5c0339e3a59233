"""Folded days say what their rows said; late and corrected ones count before them."""

from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.device_posts import DayPosted, take
from equipment.fan_fold import WHOLE_DAYS, fold, fold_late
from equipment.fan_log import fan_log
from equipment.models import FanYear, FilterSlot, RuntimeBefore, RuntimeDay, System
from equipment.sheets.exporter import export_sheets
from equipment.sheets.importer import import_sheets
from tests.conftest import WriteSheet
from tests.factories import DeviceFactory, RuntimeDayFactory, SystemFactory
from tests.factories.clock import NOW

pytestmark = pytest.mark.django_db
FIRST = date(2023, 12, 25)
DAYS = st.dictionaries(
    st.integers(0, 800).map(lambda n: FIRST + timedelta(days=n)), st.integers(0, 2500).map(lambda n: n / 100)
)
Told = dict[tuple[int, date], float]


def store(system: System, days: dict[date, float]) -> None:
    for day, hours in days.items():
        RuntimeDay.objects.update_or_create(system=system, day=day, defaults={"fan_hours": hours})


def told(*systems: System) -> Told:
    return fan_log([system.pk for system in systems], date.max).by_day()


@given(DAYS, DAYS, st.integers(0, 800), st.integers(0, 800))
def test_a_log_is_the_same_however_often_and_wherever_it_is_folded(
    days: dict[date, float], later: dict[date, float], first_cut: int, second_cut: int
) -> None:
    system, beside = SystemFactory(), SystemFactory()
    store(system, days)
    store(beside, {FIRST: 3.0})
    fold([system.pk], FIRST + timedelta(days=first_cut))
    assert told(system) == {(system.pk, day): hours for day, hours in days.items()}
    store(system, later)
    both = {(system.pk, day): hours for day, hours in (days | later).items()}
    assert told(system) == both
    fold([system.pk], FIRST + timedelta(days=second_cut))
    assert told(system) == both
    assert told(beside) == {(beside.pk, FIRST): 3.0}


def test_what_is_folded_are_no_rows_any_more() -> None:
    rows = [RuntimeDayFactory(day=date(2025, 12, 30) + timedelta(days=n), fan_hours=n / 3) for n in range(4)]
    RuntimeDay.objects.update(system=rows[0].system)
    assert fold([rows[0].system_id], date(2026, 1, 2)) == 3
    assert RuntimeDay.objects.get().day == date(2026, 1, 2)
    assert sorted(FanYear.objects.values_list("year", flat=True)) == [2025, 2026]
    assert fold([rows[0].system_id], date(2026, 1, 2)) == 0


def test_a_system_is_folded_once_a_day_of_it_has_waited_for_four_weeks() -> None:
    today = date(2026, 5, 12)
    ages = {n: today - timedelta(days=n) for n in (1, WHOLE_DAYS, WHOLE_DAYS + 1, WHOLE_DAYS + 28, 700)}
    waited, waits = SystemFactory(), SystemFactory()
    store(waited, {day: n / 100 for n, day in ages.items()} | {today - timedelta(days=91): 9.0})
    store(waits, {day: 2.0 for n, day in ages.items() if n <= WHOLE_DAYS + 28})
    before = told(waited, waits)
    assert fold_late(today) == 4
    rows = RuntimeDay.objects.filter(system=waited).values_list("day", flat=True)
    assert set(rows) == {ages[1], ages[WHOLE_DAYS]}
    assert RuntimeDay.objects.filter(system=waits).count() == 4
    assert told(waited, waits) == before
    assert fold_late(today) == 0


def test_only_the_days_asked_for_are_told() -> None:
    system = SystemFactory()
    store(system, {date(2025, 12, 31): 1.0, date(2026, 1, 1): 2.0, date(2026, 1, 2): 3.0})
    fold([system.pk], date(2026, 1, 2))
    log = fan_log([system.pk], date(2026, 1, 1), since=date(2026, 1, 1))
    assert log.by_day() == {(system.pk, date(2026, 1, 1)): 2.0}


def test_a_device_posts_a_folded_day_again_and_puts_another_right() -> None:
    device = DeviceFactory()
    days = {date(2026, 1, 1): 1.0, date(2026, 1, 2): 2.0}
    store(device.system, days)
    fold([device.system_id], date(2026, 2, 1))
    posted = [
        DayPosted(date(2026, 1, 1), 1.0),
        DayPosted(date(2026, 1, 2), 2.5),
        DayPosted(date(2026, 1, 3), 3.0),
    ]
    outcome = take(device, posted, [], NOW)
    assert (outcome.known, outcome.changed, outcome.stored) == (1, 1, 1)
    assert told(device.system) == {(device.system_id, one.day): one.fan_hours for one in posted}
    assert RuntimeBefore.objects.get().fan_hours == 2.0
    assert take(device, posted, [], NOW).known == 3


def test_a_sheet_of_folded_days_changes_nothing_and_comes_out_as_it_went_in(
    sheet: WriteSheet, tmp_path: Path, home_slot: FilterSlot, home_system: System
) -> None:
    days = {date(2026, 1, 1) + timedelta(days=n): n / 10 for n in range(40)}
    store(home_system, days)
    for name in ("before", "after"):
        (tmp_path / name).mkdir()
    export_sheets(tmp_path / "before")
    fold([home_system.pk], date(2026, 1, 31))
    export_sheets(tmp_path / "after")
    before, after = (tmp_path / name / "runtime.csv" for name in ("before", "after"))
    assert after.read_bytes() == before.read_bytes()
    assert len(before.read_text().splitlines()) == 41
    sheet(
        "runtime.csv",
        [{"system": home_system.name, "date": day, "fan_hours": f"{hours:g}"} for day, hours in days.items()],
    )
    report = import_sheets(tmp_path, NOW)
    assert not report.faults
    assert RuntimeDay.objects.count() == 10
