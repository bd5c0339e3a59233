"""The page of planned maintenance."""

import re
from datetime import date, timedelta

import pytest
from django.test import Client

from equipment.models import System
from schedules.models import MaintenanceTask
from tests.factories import TODAY, MaintenanceTaskFactory, SystemFactory

pytestmark = pytest.mark.django_db


def test_a_task_whose_day_is_past_is_marked_and_counted(technician: Client) -> None:
    for name, days in (("late", -1), ("today", 0), ("early", 30)):
        MaintenanceTaskFactory(name=name, due_on=TODAY + timedelta(days=days))
    text = technician.get("/tasks/").text
    assert "<h1>3 maintenance tasks are agreed, 1 is overdue</h1>" in text
    rows = text.split("<li>")[1:]
    assert ["overdue" in row for row in rows] == [True, False, False]
    assert ">late<" not in rows[1]


def test_the_rhythm_and_the_last_time_are_in_words(technician: Client) -> None:
    MaintenanceTaskFactory(
        interval_days=365, interval_fan_hours=400, last_done_on=date(2025, 6, 3), due_on=date(2026, 6, 3)
    )
    MaintenanceTaskFactory(due_on=date(2026, 7, 3))
    text = technician.get("/tasks/").text
    assert "every 12 months or 400 fan hours, whichever comes first" in text
    assert "last done 3 June 2025" in text
    assert "never done yet" in text


def test_tasks_of_replaced_systems_are_not_listed(technician: Client) -> None:
    MaintenanceTaskFactory(name="old work", due_on=TODAY)
    System.objects.update(replaced_on=TODAY)
    text = technician.get("/tasks/").text
    assert "No maintenance task is agreed yet" in text
    assert "old work" not in text


def test_a_new_task_says_its_day_as_the_pages_write_it(manager: Client) -> None:
    typed = {"system": SystemFactory().pk, "name": "Flush the drain", "interval_days": 365, "minutes": 30}
    answer = manager.post("/tasks/", {**typed, "season": "autumn"}, follow=True)
    assert MaintenanceTask.objects.get().due_on == date(2026, 10, 15)
    assert "due by 15 October 2026" in answer.text


def test_a_task_may_want_it_warm_outdoors_in_either_unit(manager: Client) -> None:
    system = SystemFactory()
    told = {
        "system": system.pk,
        "name": "charge",
        "interval_days": "365",
        "season": "spring",
        "minutes": "60",
    }
    manager.post("/tasks/", {**told, "least_outdoors": "55"})
    assert MaintenanceTask.objects.get().least_outdoors_c == pytest.approx((55 - 32) / 1.8)
    assert re.search(r"mean of 55\s°F or more", manager.get("/tasks/").text)
    manager.post("/tasks/", {**told, "name": "other", "least_outdoors": "-5 °C"})
    assert MaintenanceTask.objects.get(name="other").least_outdoors_c == pytest.approx(-5)


def test_visits_agreed_for_a_year_come_evenly(manager: Client) -> None:
    told = {"system": SystemFactory().pk, "name": "agreed visit", "season": "any", "minutes": "40"}
    manager.post("/tasks/", {**told, "visits_a_year": "2", "last_done_on": "2026-03-01"})
    task = MaintenanceTask.objects.get()
    assert task.interval_days == 182
    assert task.due_on == date(2026, 8, 30)
    assert "every 6 months" in manager.get("/tasks/").text
    answer = manager.post("/tasks/", {**told, "name": "both", "visits_a_year": "2", "interval_days": "90"})
    assert answer.status_code == 422
    assert "Either so many visits a year" in answer.text
