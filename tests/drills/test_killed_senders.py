"""Senders killed at random among a full outbox: nobody forgotten, nobody told twice."""

import random
import subprocess
import time
from collections import Counter
from collections.abc import Callable
from datetime import timedelta

import pytest

from schedules import sending
from schedules.models import Notice
from tests.drills.conftest import Elsewhere, Mailbox
from tests.drills.test_senders import write_rows
from tests.factories import NOW

pytestmark = pytest.mark.django_db(transaction=True)
PATIENCE_S = 180.0

Child = "subprocess.Popen[str]"


@pytest.mark.served
@pytest.mark.parametrize(
    ("rows", "kills", "at_once"),
    [(60, 2, 3), pytest.param(2000, 60, 4, marks=pytest.mark.long)],
    ids=["few", "whole"],
)
def test_killed_senders_double_and_lose_nothing(
    mailbox: Mailbox, elsewhere: Elsewhere, rows: int, kills: int, at_once: int
) -> None:
    readers = write_rows(rows)
    elsewhere.mail_port = mailbox.port
    elsewhere.hand_over()
    killed = slaughter([lambda: a_sender(elsewhere)] * at_once, mailbox, rows, kills)
    elsewhere.take_back()
    later = NOW + timedelta(minutes=20)
    sending.park_lost_claims(later)
    sending.send_all(later)

    received = Counter(letter["To"] for letter in mailbox.letters)
    by_state = {
        state: set(Notice.objects.filter(state=state).values_list("sent_to", flat=True))
        for state in (Notice.State.SENT, Notice.State.PARKED)
    }
    sent, parked = by_state[Notice.State.SENT], by_state[Notice.State.PARKED]
    print(
        f"{killed} senders of {at_once} at a time killed among {rows} letters: {len(received)} received, "
        f"{sum(received.values()) - len(received)} doubled, {len(readers - set(received) - parked)} lost, "
        f"{len(parked)} parked, of which {len(parked & set(received))} had gone out"
    )
    assert killed == kills
    assert max(received.values()) == 1
    assert sent <= set(received)
    assert sent | parked == readers
    assert set(received) | parked == readers
    # All senders are killed in the end, on a busy machine perhaps in the act; each has one letter in hand.
    assert len(parked) <= kills + at_once


def a_sender(elsewhere: Elsewhere) -> "subprocess.Popen[str]":
    child = elsewhere.start("-m", "tests.drills.sender", NOW.isoformat(), "sweeps")
    assert child.stdin
    child.stdin.write("go\n")
    child.stdin.flush()
    return child


def slaughter(
    starts: list[Callable[[], "subprocess.Popen[str]"]], mailbox: Mailbox, rows: int, kills: int
) -> int:
    """Kill one of the senders at random each time that so many more letters came; how many were killed."""
    rng, end = random.Random(7), time.monotonic() + PATIENCE_S
    marks = sorted(rng.sample(range(1, rows - rows // 20), kills))
    senders, killed = [start() for start in starts], 0
    try:
        # A letter in a killed sender's hands may never come: those few are not waited for.
        while len(mailbox.letters) < rows - killed and time.monotonic() < end:
            if marks and len(mailbox.letters) >= marks[0]:
                marks.pop(0)
                at = rng.randrange(len(starts))
                senders[at].kill()
                senders[at].communicate()
                senders[at] = starts[at]()
                killed += 1
            time.sleep(0.001)
        settle(mailbox)
    finally:
        for sender in senders:
            sender.kill()
            sender.communicate()
    return killed


def settle(mailbox: Mailbox) -> None:
    """Until no letter has come for two seconds, so that nobody is killed in the act at the very end."""
    seen, since = len(mailbox.letters), time.monotonic()
    while time.monotonic() - since < 2.0:
        if len(mailbox.letters) != seen:
            seen, since = len(mailbox.letters), time.monotonic()
        time.sleep(0.02)
