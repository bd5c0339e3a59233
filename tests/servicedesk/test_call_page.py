"""The list of homes to ring, worked off on its page."""

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Person
from schedules.models import Rung
from tests.factories import PlanFactory

pytestmark = pytest.mark.django_db
LIST = "/to-ring/"


@pytest.fixture
def key(manager: Client, home_slot: FilterSlot, homeowner_person: Person) -> str:
    """The key of the one call on the list."""
    Person.objects.update(email="")
    PlanFactory(slot=home_slot, due_on=date(2026, 5, 16))
    return str(manager.get(LIST).context["rows"][0][0].key)


def test_a_home_that_was_told_leaves_the_list_and_its_page_keeps_the_call(
    manager: Client, key: str, home_slot: FilterSlot
) -> None:
    text = manager.post(LIST, {"key": key, "reached": "yes", "note": "does it on Sunday"}, follow=True).text
    assert "was reached" in text
    assert "No home is to be rung" in text
    page = manager.get(reverse("site", args=[home_slot.system.site_id])).text
    assert "rung, told" in page
    assert "does it on Sunday" in page


def test_why_a_home_is_rung_begins_with_a_capital(manager: Client, key: str, home_slot: FilterSlot) -> None:
    said = manager.get(LIST).context["rows"][0][0].why
    assert said == "no mail address"
    assert '<span class="small">No mail address</span>' in manager.get(LIST).text
    manager.post(LIST, {"key": key, "reached": "yes", "note": ""})
    assert "No mail address" in manager.get(reverse("site", args=[home_slot.system.site_id])).text


def test_a_home_where_nobody_answered_stays_with_its_try(manager: Client, key: str) -> None:
    text = manager.post(LIST, {"key": key, "reached": "no", "note": ""}, follow=True).text
    assert "stays on the list" in text
    assert "tried once" in text


@pytest.mark.parametrize("typed", [{}, {"key": "nonsense", "reached": "yes"}, {"key": "\0"}])
def test_a_call_that_is_on_no_list_is_said_to_be_settled(
    manager: Client, key: str, typed: dict[str, str]
) -> None:
    assert "settled meanwhile" in manager.post(LIST, typed, follow=True).text
    assert not Rung.objects.exists()
