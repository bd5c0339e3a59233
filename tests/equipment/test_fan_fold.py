"""Folded days say what their rows said; late and corrected ones count before them."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.fan_fold import fold
from equipment.fan_log import fan_log
from equipment.models import FanYear, RuntimeDay, System
from tests.factories import RuntimeDayFactory, SystemFactory

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


def test_only_the_days_asked_for_are_told() -> None:
    system = SystemFactory()
    store(system, {date(2025, 12, 31): 1.0, date(2026, 1, 1): 2.0, date(2026, 1, 2): 3.0})
    fold([system.pk], date(2026, 1, 2))
    log = fan_log([system.pk], date(2026, 1, 1), since=date(2026, 1, 1))
    assert log.by_day() == {(system.pk, date(2026, 1, 1)): 2.0}
