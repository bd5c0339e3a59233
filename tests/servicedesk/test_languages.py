"""A page or letter is wholly in one language: its dates follow its words, whatever was asked for."""

from datetime import date, datetime

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Person
from schedules import emails, reminders
from schedules.models import Notice, Plan
from tests.factories import PlanFactory

pytestmark = pytest.mark.django_db
SPANISH = {"HTTP_ACCEPT_LANGUAGE": "es-ES,es;q=0.9"}


@pytest.fixture
def spanish_home(home_slot: FilterSlot, homeowner_person: Person) -> Plan:
    """A household whose language on record is Spanish."""
    Person.objects.update(language="es")
    return PlanFactory(slot=home_slot, due_on=date(2026, 5, 16), reason=Plan.Reason.RISK, run_hours=700)


def test_only_languages_whose_texts_are_whole_are_offered() -> None:
    assert [code for code, _name in settings.LANGUAGES] == ["en"]


def test_a_letter_mixes_no_languages(spanish_home: Plan, now: datetime) -> None:
    reminders.write_due(now)
    letter = emails.letter_for(Notice.objects.get(), now)
    assert "16 May" in letter.subject
    assert "mayo" not in letter.text
    assert '<html lang="en">' in letter.html


def test_a_page_mixes_no_languages(manager: Client, homeowner: Client, spanish_home: Plan) -> None:
    pages = (
        (manager, reverse("due-list")),
        (homeowner, reverse("site", args=[spanish_home.slot.system.site_id])),
    )
    for client, address in pages:
        text = client.get(address, **SPANISH).text
        assert '<html lang="en">' in text
        assert "mayo" not in text
        assert "May 2026" in text
