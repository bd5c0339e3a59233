"""Due days of maintenance tasks."""

from datetime import date, timedelta

import pytest

from schedules import tasks_due
from schedules.models import MaintenanceTask, TaskDone
from tests.factories import MaintenanceTaskFactory, RuntimeDayFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)


def test_days_count_from_the_last_time() -> None:
    task = MaintenanceTaskFactory(interval_days=180, last_done_on=date(2026, 1, 1))
    assert tasks_due.due_day(task, TODAY) == date(2026, 6, 30)


def test_fan_hours_count_as_the_log_says() -> None:
    task = MaintenanceTaskFactory(
        interval_days=None, interval_fan_hours=200, last_done_on=TODAY - timedelta(days=20)
    )
    for back in range(20):
        RuntimeDayFactory(system=task.system, day=TODAY - timedelta(days=back), fan_hours=5.0)
    # A hundred hours ran in twenty days; the other hundred take twenty more.
    assert tasks_due.due_day(task, TODAY) == TODAY + timedelta(days=20)


def test_the_earlier_of_days_and_hours_counts() -> None:
    task = MaintenanceTaskFactory(interval_days=30, interval_fan_hours=10_000, last_done_on=TODAY)
    assert tasks_due.due_day(task, TODAY) == TODAY + timedelta(days=30)


@pytest.mark.parametrize(
    ("season", "done", "expected"),
    [
        (MaintenanceTask.Season.SPRING, date(2025, 4, 20), date(2026, 5, 15)),
        (MaintenanceTask.Season.AUTUMN, date(2025, 9, 20), date(2026, 10, 15)),
        (MaintenanceTask.Season.SPRING, date(2025, 6, 20), date(2026, 5, 15)),
    ],
)
def test_a_yearly_task_falls_into_its_season(season: str, done: date, expected: date) -> None:
    task = MaintenanceTaskFactory(interval_days=365, season=season, last_done_on=done)
    assert tasks_due.due_day(task, TODAY) == expected


def test_a_task_never_done_is_due_today() -> None:
    assert tasks_due.due_day(MaintenanceTaskFactory(), TODAY) == TODAY


def test_done_twice_on_a_day_counts_once() -> None:
    task = MaintenanceTaskFactory(interval_days=100)
    for _ in range(2):
        tasks_due.mark_done(task, TODAY, None, "", TODAY)
    assert TaskDone.objects.count() == 1
    task.refresh_from_db()
    assert task.due_on == TODAY + timedelta(days=100)
    assert tasks_due.refresh_all(TODAY) == 0


@pytest.mark.parametrize(
    ("days", "hours", "expected"),
    [
        (365, None, "every 12 months"),
        (365, 400, "every 12 months or 400 fan hours, whichever comes first"),
        (730, None, "every 24 months"),
        (180, None, "every 6 months"),
        (183, None, "every 6 months"),
        (91, None, "every 3 months"),
        (30, None, "every month"),
        (28, None, "every 4 weeks"),
        (7, None, "every week"),
        (45, None, "every 45 days"),
        (1, None, "every day"),
        (None, 1500, "every 1,500 fan hours"),
    ],
)
def test_the_rhythm_reads_as_people_say_it(days: int | None, hours: float | None, expected: str) -> None:
    task = MaintenanceTaskFactory.build(system=None, interval_days=days, interval_fan_hours=hours)
    assert tasks_due.rhythm(task) == expected
