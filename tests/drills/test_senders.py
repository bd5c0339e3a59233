"""Several senders on one outbox, and one that is killed with a letter in its hands."""

from collections import Counter
from datetime import datetime, timedelta

import pytest

from schedules import sending
from schedules.models import Notice
from tests.drills.conftest import Elsewhere, Mailbox
from tests.factories import NOW, NoticeFactory

pytestmark = pytest.mark.django_db(transaction=True)


def write_rows(count: int) -> set[str]:
    """Sign-in letters: the shortest; each to a reader of its own."""
    readers = {f"reader{n}@home.example" for n in range(count)}
    for reader in readers:
        NoticeFactory(kind=Notice.Kind.SIGN_IN, sent_to=reader, send_at=NOW)
    return readers


@pytest.mark.served
@pytest.mark.parametrize("rows", [80, pytest.param(200, marks=pytest.mark.long)])
def test_two_senders_at_once_send_every_letter_once(
    mailbox: Mailbox, elsewhere: Elsewhere, rows: int
) -> None:
    readers = write_rows(rows)
    elsewhere.mail_port = mailbox.port
    elsewhere.hand_over()
    senders = [elsewhere.start("-m", "tests.drills.sender", NOW.isoformat()) for _ in range(2)]
    assert [sender.stdout and sender.stdout.readline() for sender in senders] == ["ready\n"] * 2
    for sender in senders:
        assert sender.stdin
        sender.stdin.write("go\n")
        sender.stdin.flush()
    rounds = [int(sender.communicate(timeout=60)[0]) for sender in senders]
    elsewhere.take_back()
    assert Counter(letter["To"] for letter in mailbox.letters) == Counter(readers)
    assert set(Notice.objects.values_list("state", "attempts")) == {(Notice.State.SENT, 1)}
    assert min(rounds) > rows / 10, "one of the senders did hardly anything"


def test_a_letter_in_the_hands_of_a_killed_sender_is_parked_and_not_sent_again(
    mailbox: Mailbox, elsewhere: Elsewhere, now: datetime
) -> None:
    write_rows(2)
    mailbox.hangs, elsewhere.mail_port = True, mailbox.port
    elsewhere.hand_over()
    sender = elsewhere.start("-m", "tests.drills.sender", now.isoformat())
    assert sender.stdin
    sender.stdin.write("go\n")
    sender.stdin.flush()
    assert mailbox.data_came.wait(30)
    sender.kill()
    sender.communicate()
    elsewhere.take_back()
    mailbox.hangs = False
    assert sending.park_lost_claims(now + timedelta(minutes=10)) == 0
    assert sending.park_lost_claims(now + timedelta(minutes=20)) == 1
    while sending.send_one(now + timedelta(minutes=20)):
        pass
    assert sorted(Notice.objects.values_list("state", flat=True)) == ["parked", "sent"]
    assert Counter(letter["To"] for letter in mailbox.letters).most_common(1)[0][1] == 1
    assert len(mailbox.letters) == 2
