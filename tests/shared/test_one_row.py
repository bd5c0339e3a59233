"""The desk's own rows: read once while they are held, and never stale after a change of one's own."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from equipment.models import Desk
from schedules.models import Policy
from shared.one_row import held

pytestmark = pytest.mark.django_db
Counted = Callable[[int], Any]


@pytest.fixture(autouse=True)
def made(db: None) -> None:
    Desk.the()
    Policy.the()


def test_a_held_row_is_read_once(django_assert_num_queries: Counted) -> None:
    with django_assert_num_queries(2), held():
        assert {Desk.the().name, Desk.the().name} == {"Service desk"}
        assert Policy.the().accepted_risk == 0.2
    with django_assert_num_queries(2):
        assert [Desk.the().name, Desk.the().name] == ["Service desk"] * 2


def test_what_was_saved_or_updated_meanwhile_is_seen() -> None:
    with held():
        desk = Desk.the()
        desk.name = "Elm"
        assert Desk.the().name == "Service desk"
        desk.save()
        assert Desk.the().name == "Elm"
        Desk.objects.update(name="Oak")
        assert Desk.the().name == "Oak"
        assert Policy.the().accepted_risk == 0.2
        Policy.objects.filter(pk=1).update(accepted_risk=0.3)
        assert Policy.the().accepted_risk == 0.3
    assert Desk.the().name == "Oak"


def test_a_row_that_somebody_else_wrote_shows_once_it_is_no_longer_held() -> None:
    with held():
        Desk.the()
        with connection.cursor() as cursor:
            cursor.execute("UPDATE equipment_desk SET name = 'Ash'")
        assert Desk.the().name == "Service desk"
    assert Desk.the().name == "Ash"


def test_a_form_that_is_refused_leaves_the_others_rows_alone() -> None:
    with held():
        Desk.the().name = "typed and refused"
        assert Desk.the().name == "Service desk"


def test_a_page_asks_for_the_desk_once(manager: Client) -> None:
    with CaptureQueriesContext(connection) as queries:
        assert manager.get("/due/").status_code == 200
    assert sum('FROM "equipment_desk"' in query["sql"] for query in queries.captured_queries) == 1
