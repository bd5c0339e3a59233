"""Whether a process can serve is told in plain words, and nothing else with it."""

from collections.abc import Iterator
from typing import Any

import pytest
from django.db import OperationalError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.test import Client
from pytest_django.fixtures import Settings

from servicedesk.views import ready

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def asked_anew(settings: Settings) -> None:
    ready._migrated.clear()
    settings.REDIS_URL = ""


def told() -> tuple[int, str]:
    answer = Client().get("/ready/")
    assert answer["Cache-Control"] == "no-store"
    return answer.status_code, answer.text


def test_it_is_ready_and_asks_of_migrations_once(django_assert_max_num_queries: Any) -> None:
    assert told() == (200, "ready\n")
    with django_assert_max_num_queries(2):
        assert told() == (200, "ready\n")


def test_a_migration_that_was_not_applied_is_told() -> None:
    ((app, last),) = MigrationLoader(connection).graph.leaf_nodes("schedules")
    MigrationRecorder(connection).record_unapplied(app, last)
    assert told() == (503, "The database lacks migrations: run manage migrate.\n")


def test_a_database_that_is_down_is_told_without_its_address(monkeypatch: pytest.MonkeyPatch) -> None:
    def down() -> str:
        raise OperationalError("could not connect to 10.1.2.3, user desk")

    monkeypatch.setattr(ready, "_migrations_left", down)
    assert told() == (503, "The database does not answer.\n")


def test_a_redis_that_is_down_is_told_without_its_address(settings: Settings) -> None:
    settings.REDIS_URL = "redis://secret@127.0.0.1:1/0"
    assert told() == (503, "Redis does not answer.\n")


@pytest.fixture
def database_away() -> Iterator[list[str]]:
    """Every query fails; those tried."""
    tried: list[str] = []

    def down(execute: Any, sql: str, params: Any, many: bool, context: Any) -> None:
        tried.append(sql)
        raise OperationalError("could not connect to 10.1.2.3, user desk")

    with connection.execute_wrapper(down):
        yield tried


def test_a_process_is_alive_also_while_the_database_is_away(
    manager: Client, database_away: list[str]
) -> None:
    for visitor in (Client(), manager):
        answer = visitor.get("/alive/")
        assert (answer.status_code, answer.text, answer["Cache-Control"]) == (200, "ok\n", "no-store")
        assert visitor.head("/alive/").status_code == 200
    assert database_away == []


def test_a_process_whose_database_is_away_says_that_it_is_not_ready(
    manager: Client, database_away: list[str]
) -> None:
    assert told() == (503, "The database does not answer.\n")
    assert manager.get("/ready/").status_code == 503
    assert database_away == ["SELECT 1", "SELECT 1"]


def test_machines_ask_by_whatever_name_and_write_nothing() -> None:
    for page in ("/alive/", "/ready/"):
        assert Client().get(page, headers={"Host": "10.1.2.3:8000"}).status_code == 200
        assert Client().post(page).status_code == 405


def test_it_answers_plain_http_where_pages_and_figures_ask_for_https(settings: Settings) -> None:
    settings.SECURE_SSL_REDIRECT = True
    assert told() == (200, "ready\n")
    assert Client().get("/alive/").status_code == 200
    for page in ("/", "/metrics/"):
        assert Client().get(page)["Location"].startswith("https://")
