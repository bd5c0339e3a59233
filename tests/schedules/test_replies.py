"""Answers to invitations: read from a mailbox, noted once, shown, and nothing moves by them."""

import mailbox
from datetime import timedelta
from email.message import EmailMessage
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Person, Site
from schedules import replies
from schedules.models import Reply, Visit
from tests.calendars import events
from tests.factories import NOW, TODAY, TechnicianFactory, VisitFactory

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=1)
TEN = NOW + timedelta(days=1, minutes=10)


@pytest.fixture
def visit(home: Site, home_slot: FilterSlot, homeowner_person: Person) -> Visit:
    made: Visit = VisitFactory(
        site=home, technician=TechnicianFactory(name="Gwen"), day=TODAY + timedelta(days=1),
        state=Visit.State.SCHEDULED, arrive_at=TEN, leave_at=TEN + timedelta(minutes=30),
    )  # fmt: skip
    events(home, NOW)
    return made


def answer(
    visit: Visit, said: str, sequence: int = 0, sender: str = "robin@home.example", at: str = "160000"
) -> str:
    """A REPLY as calendar programs write it."""
    row = visit.calendar_events.get(site=visit.site)
    return "\r\n".join((
        "BEGIN:VCALENDAR", "PRODID:-//somebody//EN", "VERSION:2.0", "METHOD:REPLY", "BEGIN:VEVENT",
        f"UID:{row.uid}", f"DTSTAMP:20260512T{at}Z", f"SEQUENCE:{sequence}",
        f"ATTENDEE;PARTSTAT={said}:mailto:{sender}", "ORGANIZER:mailto:desk@ferrygate.example",
        "END:VEVENT", "END:VCALENDAR", "",
    ))  # fmt: skip


def mail_of(text: str, message_id: str | None = "<1@home.example>") -> EmailMessage:
    message = EmailMessage()
    message["Subject"] = "Accepted"
    if message_id:
        message["Message-ID"] = message_id
    message.set_content("see the calendar part")
    message.add_alternative(text, subtype="calendar", params={"method": "REPLY"})
    return message


def box(folder: Path, *messages: EmailMessage | bytes) -> Path:
    path = folder / "replies.mbox"
    path.unlink(missing_ok=True)
    kept = mailbox.mbox(path)
    for message in messages:
        kept.add(message)
    kept.close()
    return path


def read(path: Path) -> str:
    out = StringIO()
    call_command("read_replies", path, stdout=out)
    return out.getvalue()


def test_an_accept_is_noted_once_and_moves_nothing(visit: Visit, tmp_path: Path) -> None:
    before = Visit.objects.values().get()
    path = box(tmp_path, mail_of(answer(visit, "ACCEPTED")))
    assert "robin@home.example accepts the visit of 13 May 2026 to home." in read(path)
    assert "It was noted before." in read(path)
    reply = Reply.objects.get()
    assert (reply.said, reply.known, reply.visit) == ("ACCEPTED", True, visit)
    assert Visit.objects.values().get() == before


def test_a_forwarded_answer_of_somebody_else_is_understood(visit: Visit, tmp_path: Path) -> None:
    outer = EmailMessage()
    outer["Message-ID"] = "<outer@home.example>"
    outer.set_content("see below")
    outer.add_attachment(
        mail_of(answer(visit, "TENTATIVE", sender="kim@else.example"), "<inner@else.example>")
    )
    said = read(box(tmp_path, outer))
    assert "kim@else.example, whom nobody named there, may accept the visit of 13 May 2026" in said
    reply = Reply.objects.get()
    assert (reply.known, reply.message_id) == (False, "<inner@else.example>")


def test_a_decline_is_shown_where_somebody_acts_on_it(visit: Visit, tmp_path: Path, manager: Client) -> None:
    read(box(tmp_path, mail_of(answer(visit, "DECLINED"))))
    assert "Nothing was moved by it: ring them." in manager.get(reverse("visit", args=[visit.pk])).text
    assert "declined by mail" in manager.get(reverse("visits")).text


def test_an_answer_to_another_time_counts_no_more(
    visit: Visit, home: Site, tmp_path: Path, manager: Client
) -> None:
    read(box(tmp_path, mail_of(answer(visit, "DECLINED"))))
    Visit.objects.update(arrive_at=TEN + timedelta(hours=3), leave_at=TEN + timedelta(hours=4))
    events(home, LATER)
    assert replies.counting([visit.pk]) == {}
    assert "declined by mail" not in manager.get(reverse("visits")).text
    late = mail_of(answer(visit, "DECLINED", sequence=0), "<2@home.example>")
    assert "That was another time; it counts no more." in read(box(tmp_path, late))
    read(box(tmp_path, mail_of(answer(visit, "ACCEPTED", sequence=1), "<3@home.example>")))
    assert replies.counting([visit.pk])[visit.pk].said == "ACCEPTED"


def test_the_last_answer_counts_and_the_households_before_a_strangers(visit: Visit, tmp_path: Path) -> None:
    said = [("ACCEPTED", "robin@home.example", "160000"), ("DECLINED", "ROBIN@home.example", "170000"),
            ("ACCEPTED", "kim@else.example", "180000")]  # fmt: skip
    mails = [mail_of(answer(visit, what, sender=who, at=at), f"<{at}@x>") for what, who, at in said]
    replies.read(box(tmp_path, *mails), NOW + timedelta(days=1))
    assert replies.counting([visit.pk])[visit.pk].said == "DECLINED"


def test_broken_messages_are_named_and_the_rest_is_read(visit: Visit, tmp_path: Path) -> None:
    good = answer(visit, "ACCEPTED")
    path = box(
        tmp_path,
        mail_of("BEGIN:VCALENDAR\r\nnonsense"),
        mail_of(good.replace(f"UID:visit-{visit.pk}", "UID:visit-777")),
        mail_of(good.replace("PARTSTAT=ACCEPTED", "PARTSTAT=WHATEVER")),
        mail_of(good.replace("SEQUENCE:0", "SEQUENCE:many")),
        b"From: x\nContent-Type: multipart/mixed\n\n\xff\xfe",
        b"Subject: hello\n\nno calendar here",
        mail_of(good.replace("METHOD:REPLY", "METHOD:REQUEST"), "<r@x>"),
        mail_of(good, None),
    )
    said = read(path).splitlines()
    assert [line for line in said if "skipped" in line] == [
        "Message 1 was skipped: its calendar part is broken.",
        "Message 2 was skipped: it answers to no visit on record.",
        "Message 3 was skipped: it says neither yes nor no.",
        "Message 4 was skipped: its sequence is no number.",
    ]
    assert "robin@home.example accepts the visit of 13 May 2026 to home." in said
    assert said[-1] == "3 messages hold no answer to an invitation."
    assert Reply.objects.count() == 1


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be read"):
        read(tmp_path / "none.mbox")
