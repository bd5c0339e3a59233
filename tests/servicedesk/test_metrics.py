"""The figures for a program that watches the desk: shut by default, cheap, and without anybody's data."""

import os
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from celery import shared_task
from django.db import OperationalError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from prometheus_client.parser import text_string_to_metric_families
from pytest_django.fixtures import Settings

from equipment.models import FilterSlot
from schedules import due
from schedules.models import NightPart
from servicedesk.metrics import requests, state, tasks
from tests.factories import NOW, FilterSlotFactory, NightFactory, NightPartFactory, NoticeFactory, PlanFactory

pytestmark = pytest.mark.django_db
TOKEN = "metrics-token-of-the-tests"
Told = dict[tuple[str, ...], float]


@shared_task
def goes_well() -> None:
    pass


@shared_task
def goes_wrong() -> None:
    raise ValueError


@pytest.fixture(autouse=True)
def opened(settings: Settings) -> Iterator[None]:
    settings.METRICS_TOKEN, settings.REDIS_URL, settings.BACKUP_DIR = TOKEN, "", ""
    state._kept.clear()
    tasks.forget()
    # What other tests asked for would be told, and read here, a hundred times.
    requests._REQUESTS.clear()
    requests._SECONDS.clear()
    yield
    tasks.forget()


def asked(client: Client | None = None, token: str = TOKEN) -> Any:
    return (client or Client()).get("/metrics/", headers={"Authorization": f"Bearer {token}"})


def told() -> Told:
    """Every figure by its name and its labels, which come in the order of their names."""
    answer = asked()
    assert answer.status_code == 200
    assert answer["Content-Type"].startswith("text/plain; version=")
    return {
        (sample.name, *(value for _, value in sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def test_it_is_shut_without_a_token_in_the_settings_and_to_any_other_token(
    settings: Settings, manager: Client
) -> None:
    for token in ("", "another", TOKEN[:-1], f"{TOKEN}x", "naïve"):
        assert asked(token=token).status_code == 401
    assert manager.get("/metrics/").status_code == 401
    assert manager.get("/metrics/", headers={"Authorization": f"Basic {TOKEN}"}).status_code == 401
    settings.METRICS_TOKEN = ""
    assert asked(manager).status_code == 404
    assert asked(manager, token="").status_code == 404


def test_requests_are_counted_by_the_name_of_their_address(manager: Client, home_slot: FilterSlot) -> None:
    PlanFactory(slot=home_slot)
    page = ("desk_requests_total", "GET", "filter", "200")
    before = told().get(page, 0)
    assert manager.get(f"/filters/{home_slot.pk}/").status_code == 200
    manager.generic("BREW", "/no/such/page/")
    after = told()
    assert after[page] == before + 1
    assert after["desk_request_seconds_count", "GET", "filter"] >= 1
    assert after["desk_requests_total", "other", "none", "404"] >= 1
    text = asked().text
    assert "BREW" not in text
    assert f"/{home_slot.pk}" not in text


def test_nothing_is_counted_where_nobody_reads_it(settings: Settings) -> None:
    page = ("desk_requests_total", "GET", "alive", "200")
    Client().get("/alive/")
    before = told()[page]
    settings.METRICS_TOKEN = ""
    Client().get("/alive/")
    goes_well.apply()
    settings.METRICS_TOKEN = TOKEN
    after = told()
    assert after[page] == before
    assert ("desk_tasks_total", "done", "goes_well") not in after


def does_tasks() -> None:
    goes_well.apply()
    goes_well.apply()
    goes_wrong.apply()
    found = told()
    assert found["desk_tasks_total", "done", "goes_well"] == 2
    assert found["desk_tasks_total", "failed", "goes_wrong"] == 1
    assert found["desk_task_seconds_total", "goes_well"] > 0
    assert found["desk_task_last_success_timestamp_seconds", "goes_well"] > 1.7e9
    assert ("desk_task_last_success_timestamp_seconds", "goes_wrong") not in found


def test_tasks_are_counted_in_memory() -> None:
    does_tasks()
    assert ("desk_redis_up",) not in told()


@pytest.mark.redis
def test_tasks_are_counted_in_redis_for_all_machines(settings: Settings) -> None:
    settings.REDIS_URL = redis_url = f"{os.environ['TEST_REDIS_URL']}/9"
    link = tasks.server(redis_url)
    link.delete(tasks.KEY, "celery")
    try:
        does_tasks()
        tasks.forget()
        assert told()["desk_tasks_total", "done", "goes_well"] == 2
        link.rpush("celery", "a", "b", "c")
        assert told()["desk_queue_waiting", "celery"] == 3
        assert told()["desk_queue_waiting", "night"] == 0
        assert told()["desk_redis_up",] == 1
    finally:
        link.delete(tasks.KEY, "celery")


def test_servers_that_are_down_are_told_and_a_task_is_done_all_the_same(
    settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    assert goes_well.apply().successful()
    assert told()["desk_redis_up",] == 0

    def down(_now: object) -> Iterator[Any]:
        raise OperationalError("no connection to 10.1.2.3")

    monkeypatch.setattr(state, "_letters", down)
    state._kept.clear()
    found = told()
    assert found["desk_database_up",] == 0
    assert ("desk_plans_stale",) not in found


def test_letters_dates_and_the_night_are_told(monkeypatch: pytest.MonkeyPatch) -> None:
    NoticeFactory(state="waiting", send_at=NOW + timedelta(hours=1))
    NoticeFactory(state="waiting", send_at=NOW - timedelta(hours=2))
    NoticeFactory(state="sent", send_at=NOW - timedelta(hours=2))
    FilterSlotFactory()
    night = NightFactory(started_at=NOW)
    for n, more in enumerate(({"done_at": NOW, "filters": 7}, {"tries": 5}, {}, {"tries": 1})):
        NightPartFactory(night=night, first_site=n * 10, last_site=n * 10 + 9, **more)
    assert NightPart.objects.count() == 4
    found = figures()
    assert (found["desk_outbox_waiting"], found["desk_outbox_late"]) == (2, 1)
    assert found["desk_plans_stale"] == due.stale(NOW).count() == 1
    assert (found["desk_night_parts done"], found["desk_night_parts left"]) == (1, 2)
    assert (found["desk_night_parts failed"], found["desk_night_filters"]) == (1, 7)
    assert found["desk_night_started_timestamp_seconds"] == NOW.timestamp()
    assert "desk_night_finished_timestamp_seconds" not in found


def figures() -> dict[str, float]:
    return {
        " ".join([sample.name, *sample.labels.values()]): sample.value
        for family in state.families(NOW)
        for sample in family.samples
    }


def test_within_a_minute_the_database_is_only_asked_whether_it_answers() -> None:
    list(state.families(NOW))
    with CaptureQueriesContext(connection) as soon:
        list(state.families(NOW + timedelta(seconds=59)))
    with CaptureQueriesContext(connection) as later:
        list(state.families(NOW + timedelta(seconds=60)))
    assert [query["sql"] for query in soon] == ["SELECT 1"]
    assert 3 < len(later) <= 12


def test_counts_stop_at_a_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(state, "MOST", 2)
    for _ in range(3):
        NoticeFactory(state="waiting", send_at=NOW - timedelta(hours=2))
    assert figures()["desk_outbox_waiting"] == 2
