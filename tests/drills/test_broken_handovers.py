"""Every step of handing a letter over, broken: what is tried again, what is parked, what waits for all."""

from datetime import UTC, date, datetime, timedelta
from itertools import count
from pathlib import Path
from types import SimpleNamespace

import dkim
import pytest
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from pytest_django.fixtures import Settings

from equipment.models import FilterSlot, Person, Site
from schedules import reminders, sending
from schedules.models import MailServer, Notice, RestedAddress
from tests.drills.conftest import Mailbox
from tests.drills.test_senders import write_rows
from tests.factories import NOW, DeskFactory, NoticeFactory, PlanFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def written(home_slot: FilterSlot, homeowner_person: Person, now: datetime) -> Notice:
    """The outbox row of a filter that is due in four days."""
    DeskFactory(name="Elm and Ash Air", email="desk@elm.example")
    PlanFactory(slot=home_slot, due_on=date(2026, 5, 16))
    assert reminders.write_due(now) == 1
    return Notice.objects.get()


@pytest.mark.parametrize(
    ("step", "answer", "state", "attempts"),
    [
        ("RCPT", "450 4.2.1 busy", Notice.State.WAITING, 1),
        ("RCPT", "452 4.3.1 no room", Notice.State.WAITING, 0),
        ("RCPT", "452 4.2.2 over quota", Notice.State.WAITING, 1),
        ("DATA", "452 4.3.1 disk full", Notice.State.WAITING, 0),
        ("MAIL", "452 4.3.1 no room", Notice.State.WAITING, 0),
        ("MAIL", "550 5.7.1 you may not send", Notice.State.WAITING, 0),
        ("DATA", "554 5.6.0 we do not like it", Notice.State.FAILED, 1),
        ("RCPT", "550 5.7.1 no relay here", Notice.State.FAILED, 1),
        ("RCPT", "550 5.1.1 who is that", Notice.State.FAILED, 1),
    ],
)
def test_a_step_that_is_refused(
    written: Notice, mailbox: Mailbox, now: datetime, step: str, answer: str, state: str, attempts: int
) -> None:
    mailbox.answers[step] = [answer]
    sending.send_all(now)
    written.refresh_from_db()
    assert (written.state, written.attempts) == (state, attempts)
    assert answer in written.why
    assert mailbox.letters == []
    rests = step == "RCPT" and "5.1.1" in answer
    assert RestedAddress.objects.exists() == rests
    sending.send_all(now + timedelta(minutes=5))
    assert len(mailbox.letters) == (state == Notice.State.WAITING)


def test_a_server_that_is_full_is_left_alone_for_all_letters(mailbox: Mailbox) -> None:
    """The first is told that there is no room; the other nineteen are not even tried for a minute."""
    write_rows(20)
    mailbox.answers["DATA"] = ["452 4.3.1 disk full"]
    sending.send_all(NOW)
    assert MailServer.the().fault == "452 4.3.1 disk full"
    assert mailbox.letters == []
    sending.send_all(NOW + timedelta(minutes=2))
    assert len(mailbox.letters) == 20
    assert MailServer.the().fault == ""


def test_an_answer_that_never_comes_leaves_the_letter_parked(
    written: Notice, mailbox: Mailbox, now: datetime, settings: Settings
) -> None:
    settings.EMAIL_TIMEOUT, mailbox.hangs = 1, True
    sending.send_all(now)
    mailbox.hangs = False
    written.refresh_from_db()
    assert written.state == Notice.State.PARKED
    assert "sent or not?" in written.why
    sending.send_all(now + timedelta(days=2))
    assert len(mailbox.letters) == 1


def test_no_server_at_all(written: Notice, now: datetime, settings: Settings) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    for minutes in range(0, 60, 2):
        sending.send_all(now + timedelta(minutes=minutes))
    written.refresh_from_db()
    assert (written.state, written.attempts) == (Notice.State.WAITING, 0)
    assert "Connection" in MailServer.the().fault


def test_a_mailbox_name_that_servers_do_not_take(written: Notice, mailbox: Mailbox, now: datetime) -> None:
    Person.objects.update(email="zoë@home.example")
    sending.send_all(now)
    written.refresh_from_db()
    assert written.state == Notice.State.FAILED
    assert "letters that mail servers do not take" in written.why


def test_a_domain_of_other_letters_is_written_as_servers_take_it(
    written: Notice, mailbox: Mailbox, now: datetime
) -> None:
    Person.objects.update(email="robin@bücher.example")
    sending.send_all(now)
    (letter,) = mailbox.letters
    assert letter["To"] == "robin@xn--bcher-kva.example"


@pytest.fixture
def signing_key(tmp_path: Path, settings: Settings) -> bytes:
    """A key of the desk's own; its public half as it would stand in the DNS."""
    key = rsa.generate_private_key(65537, 2048)
    kinds = serialization.Encoding, serialization.PrivateFormat, serialization.PublicFormat
    file = tmp_path / "dkim.pem"
    file.write_bytes(
        key.private_bytes(kinds[0].PEM, kinds[1].TraditionalOpenSSL, serialization.NoEncryption())
    )
    settings.DKIM_SELECTOR, settings.DKIM_DOMAIN = "desk", "elm.example"
    settings.DKIM_KEY_FILE = str(file)
    public = key.public_key().public_bytes(kinds[0].PEM, kinds[2].SubjectPublicKeyInfo).decode()
    return ("v=DKIM1; k=rsa; p=" + "".join(public.splitlines()[1:-1])).encode()


def test_a_signed_letter_is_verified_by_the_other_side(
    written: Notice, mailbox: Mailbox, now: datetime, signing_key: bytes
) -> None:
    """RFC 6376, checked by the verifying half of the library; RFC 8058 wants the stop headers signed."""
    sending.send_all(now)
    raw = mailbox.raw[0]
    assert dkim.verify(raw, dnsfunc=lambda name, timeout=5: signing_key)
    assert not dkim.verify(raw.replace(b"16", b"17", 1), dnsfunc=lambda name, timeout=5: signing_key)
    signed = str(mailbox.letters[0]["DKIM-Signature"]).replace(" ", "").replace("\r\n", "")
    assert "list-unsubscribe:list-unsubscribe-post" in signed


def test_a_key_that_is_none_holds_the_letters_back(
    written: Notice, mailbox: Mailbox, now: datetime, signing_key: bytes, settings: Settings
) -> None:
    Path(settings.DKIM_KEY_FILE).write_text("no key")
    sending.send_all(now)
    assert mailbox.letters == []
    assert "cannot be signed" in MailServer.the().fault


def test_an_opt_out_between_claim_and_send_is_heeded(
    written: Notice, mailbox: Mailbox, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The reader stops letters while the row is already claimed."""
    real = sending.stale

    def stopped_meanwhile(notice: Notice, at: datetime) -> str:
        assert Notice.objects.get().state == Notice.State.CLAIMED
        Person.objects.update(wants_filter_mail=False)
        return real(notice, at)

    monkeypatch.setattr(sending, "stale", stopped_meanwhile)
    sending.send_all(now)
    written.refresh_from_db()
    assert (written.state, written.why) == (Notice.State.NOT_SENT, "does not want filter mail")
    assert mailbox.letters == []


# Local Sundays at which the clocks of three zones change, one way and the other.
CHANGES = [
    ("America/Chicago", date(2026, 3, 8)), ("America/Chicago", date(2026, 11, 1)),
    ("Europe/Berlin", date(2026, 3, 29)), ("Europe/Berlin", date(2026, 10, 25)),
    ("Australia/Sydney", date(2026, 4, 5)), ("Australia/Sydney", date(2026, 10, 4)),
]  # fmt: skip
# Eight in the morning there that day, in UTC, by the offsets of the IANA zones (from memory: CDT -5, CST -6,
# CEST +2, CET +1, AEST +10, AEDT +11).
EIGHT = [
    datetime(2026, 3, 8, 13, tzinfo=UTC), datetime(2026, 11, 1, 14, tzinfo=UTC),
    datetime(2026, 3, 29, 6, tzinfo=UTC), datetime(2026, 10, 25, 7, tzinfo=UTC),
    datetime(2026, 4, 4, 22, tzinfo=UTC), datetime(2026, 10, 3, 21, tzinfo=UTC),
]  # fmt: skip


@pytest.mark.once
@pytest.mark.parametrize(
    ("zone", "day", "eight"),
    [
        pytest.param(*change, at, marks=[] if number < 2 else [pytest.mark.long])
        for number, (change, at) in enumerate(zip(CHANGES, EIGHT, strict=True))
    ],
)
def test_over_the_day_the_clocks_change_one_letter_comes_at_eight(
    home_slot: FilterSlot, homeowner_person: Person, mailbox: Mailbox, zone: str, day: date, eight: datetime
) -> None:
    """The writers and senders sweep every half hour, from noon of the day before on."""
    Site.objects.update(timezone=zone)
    PlanFactory(slot=home_slot, due_on=day + timedelta(days=9))
    at, sent = eight - timedelta(hours=20), []
    while at < eight + timedelta(hours=28):
        before = len(mailbox.letters)
        reminders.write_due(at)
        sending.send_all(at)
        sent += [at] * (len(mailbox.letters) - before)
        at += timedelta(minutes=30)
    assert sent == [eight]


def test_one_full_mailbox_holds_nobody_else_back(mailbox: Mailbox) -> None:
    write_rows(6)
    mailbox.answers["RCPT"] = ["452 4.2.2 over quota"]
    sending.send_all(NOW)
    assert len(mailbox.letters) == 5
    assert MailServer.the().fault == ""


def test_a_letter_that_always_breaks_the_line_lets_the_others_go_first(
    mailbox: Mailbox, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server hangs up whenever it hears of one reader; the other five are through after two minutes."""
    write_rows(6)
    Notice.objects.filter(pk=Notice.objects.order_by("pk")[0].pk).update(sent_to="breaks@home.example")
    mailbox.hangs_up_on = "breaks@home.example"
    sending.send_all(NOW)
    sending.send_all(NOW + timedelta(minutes=2))
    assert len(mailbox.letters) == 5
    assert Notice.objects.exclude(state=Notice.State.SENT).count() == 1


@pytest.mark.parametrize(
    "email", ["a@b@c.example", "x@..example", f"x@{'l' * 70}.example", "a@b.example\nBcc: x"]
)
def test_a_poisoned_address_fails_alone(mailbox: Mailbox, email: str) -> None:
    NoticeFactory(kind=Notice.Kind.SIGN_IN, sent_to=email, send_at=NOW - timedelta(minutes=1))
    write_rows(3)
    sending.send_all(NOW)
    assert len(mailbox.letters) == 3
    poisoned = Notice.objects.exclude(state=Notice.State.SENT).get()
    assert poisoned.state in (Notice.State.FAILED, Notice.State.PARKED)


def test_a_long_outbox_keeps_the_time(mailbox: Mailbox, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten letters of two minutes each: the last claim is as young as the first one was."""
    write_rows(10)
    passed = count(0, 120)
    monkeypatch.setattr(sending, "clocks", SimpleNamespace(monotonic=lambda: float(next(passed))))
    sending.send_all(NOW)
    sent = sorted(Notice.objects.values_list("sent_at", flat=True))
    assert sent[-1] - sent[0] == timedelta(minutes=18)
    claimed = Notice.objects.values_list("claimed_at", "sent_at")
    assert all(claim == at for claim, at in claimed)


def test_no_header_is_folded_and_the_desk_is_named(written: Notice, mailbox: Mailbox, now: datetime) -> None:
    sending.send_all(now)
    head = mailbox.raw[0].partition(b"\r\n\r\n")[0]
    for name in (b"Subject: ", b"List-Unsubscribe: <http"):
        assert b"\r\n" + name in b"\r\n" + head
    assert mailbox.letters[0]["From"] == "Elm and Ash Air <filters@desk.invalid>"
