"""Reminders through a real SMTP server."""

from datetime import date, datetime, timedelta
from email.utils import parsedate_to_datetime
from urllib.parse import urlsplit

import pytest
import time_machine
from django.test import Client

from equipment.models import FilterSlot, Person
from schedules import reminders, sending
from schedules.models import Notice
from tests.drills.conftest import Mailbox
from tests.factories import DeskFactory, PlanFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def written(home_slot: FilterSlot, homeowner_person: Person, now: datetime) -> Notice:
    """The outbox row of a filter that is due in four days."""
    DeskFactory(name="Elm and Ash Air", email="desk@elm.example")
    PlanFactory(slot=home_slot, due_on=date(2026, 5, 16))
    assert reminders.write_due(now) == 1
    return Notice.objects.get()


def empty_the_outbox(now: datetime) -> None:
    for _ in range(10):
        if not sending.send_one(now):
            return
    raise AssertionError("the sender never comes to an end")


def test_a_letter_arrives_once_with_the_headers_that_mail_programs_ask_for(
    written: Notice, mailbox: Mailbox, now: datetime
) -> None:
    empty_the_outbox(now)
    empty_the_outbox(now)
    (letter,) = mailbox.letters
    assert letter["To"] == "robin@home.example"
    assert letter["Reply-To"] == "desk@elm.example"
    assert letter["Message-ID"] == f"<{written.key}.{written.pk}@127.0.0.1>"
    assert parsedate_to_datetime(letter["Date"]) == now
    # RFC 8058, section 3.1: one https or http address, and this very value beside it.
    stop = str(letter["List-Unsubscribe"]).strip()
    assert stop[0] + stop[-1] == "<>"
    assert urlsplit(stop[1:-1]).scheme in ("https", "http")
    assert letter["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    kinds = [part.get_content_type() for part in letter.walk()]
    assert kinds == ["multipart/alternative", "text/plain", "text/html"]
    body = letter.get_body(("plain",))
    assert body
    assert "16 × 25 × 1 in" in body.get_content()
    assert Notice.objects.get().state == Notice.State.SENT


def test_the_letters_own_header_stops_further_letters_with_one_post(
    written: Notice, mailbox: Mailbox, now: datetime
) -> None:
    empty_the_outbox(now)
    address = urlsplit(str(mailbox.letters[0]["List-Unsubscribe"]).strip(" <>")).path
    with time_machine.travel(now + timedelta(days=30)):
        strict = Client(enforce_csrf_checks=True)
        assert strict.post(address, {"List-Unsubscribe": "One-Click"}).status_code == 200
    assert not Person.objects.get().wants_filter_mail


def test_a_server_that_puts_us_off_is_tried_again_and_the_letter_arrives_once(
    written: Notice, mailbox: Mailbox, now: datetime
) -> None:
    mailbox.put_off = 1
    empty_the_outbox(now)
    put_back = Notice.objects.get()
    assert (put_back.state, mailbox.letters) == (Notice.State.WAITING, [])
    assert "451" in put_back.why
    assert put_back.send_at > now
    empty_the_outbox(put_back.send_at)
    empty_the_outbox(put_back.send_at)
    assert len(mailbox.letters) == 1
    assert Notice.objects.get().state == Notice.State.SENT


def test_a_refused_reader_stays_in_sight_until_somebody_rings(
    written: Notice, mailbox: Mailbox, now: datetime
) -> None:
    mailbox.refuses = "robin@home.example"
    empty_the_outbox(now)
    refused = Notice.objects.get()
    # A 5xx is for good (RFC 5321, 4.2.1): one try, and then somebody must ring.
    assert (refused.state, refused.attempts) == (Notice.State.FAILED, 1)
    assert "550" in refused.why
    assert mailbox.letters == []
    (home,) = reminders.call_list(now)
    assert "no such mailbox here" in home.why_not
