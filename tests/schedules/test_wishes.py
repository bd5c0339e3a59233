"""Each time that somebody says what they want to hear is written down, with the words asked in."""

from datetime import datetime

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from pytest_django.fixtures import Settings

from equipment.models import Person, Site
from schedules import erasure, own_data, texts
from schedules.models import Wish
from shared import signing
from shared.signing import Purpose
from tests.factories import NOW

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def standing() -> object:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def said() -> list[tuple[str, bool, str, str]]:
    rows = Wish.objects.order_by("pk")
    assert all(row.at == NOW for row in rows)
    return [(row.subject, row.wanted, row.how, row.wording) for row in rows]


def test_by_the_link_in_a_letter_and_by_a_mail_program(stranger: Client, homeowner_person: Person) -> None:
    address = reverse("stop-mail", args=[signing.make(Purpose.STOP_MAIL, f"visits:{homeowner_person.pk}")])
    stranger.get(address)
    assert said() == []
    stranger.post(address, {"what": "stop-visits"})
    stranger.post(address, {"what": "stop-visits"})  # said already: nothing new
    Person.objects.update(language="es")
    stranger.post(address, {"what": "resume-visits"})
    stranger.post(address, {"List-Unsubscribe": "One-Click"})
    assert said() == [
        ("visits", False, "letter", "Letters about visits: Stop them"),
        ("visits", True, "letter", "Correos sobre visitas: Volver a enviarlos"),
        ("visits", False, "mail_program", "List-Unsubscribe"),
    ]


def test_on_the_own_page_each_that_changed(homeowner: Client, homeowner_person: Person, home: Site) -> None:
    told = {"language": "en", "wants_filter_mail": "on"}
    homeowner.post(reverse("household-wishes", args=[home.pk]), told)
    assert sorted(said()) == [
        ("record", False, "own_page", "Letters about what was done"),
        ("visits", False, "own_page", "Letters about visits"),
    ]


def test_by_a_text_message_and_told_to_the_desk(
    manager: Client, home: Site, settings: Settings, now: datetime
) -> None:
    told = {
        "name": "Jo",
        "phone": "312 555 0100",
        "text_consent": "on the phone, 12 May",
        "roles": "occupant",
    }
    assert manager.post(reverse("site-person", args=[home.pk]), told).status_code == 302
    texts.take_in("+1 312 555 0100", "Stop please", now)
    assert said()[0] == ("texts", True, "desk", "on the phone, 12 May")
    texts.take_in("312 555 0100", "STOP", now)
    assert said()[-1] == ("texts", False, "text", "STOP")


def test_it_is_taken_along_and_its_words_are_forgotten(
    homeowner: Client, homeowner_person: Person, home: Site
) -> None:
    homeowner.post(reverse("household-wishes", args=[home.pk]), {"language": "en"})
    rows = own_data.of(homeowner_person, NOW)["wishes"]
    assert {(row["about"], row["wanted"]) for row in rows} == {
        ("filters", False), ("visits", False), ("record", False)
    }  # fmt: skip
    erasure.erase(homeowner_person, NOW)
    assert {wording for _subject, _wanted, _how, wording in said()} == {""}
