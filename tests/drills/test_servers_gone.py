"""Two desks with a clock each and a further worker, whose Redis and PostgreSQL go away and come back."""

import contextlib
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import timedelta

import psycopg
import pytest
from django.db import connection
from django.utils import timezone
from psycopg import sql

from schedules.models import Notice, Policy
from tests import servers
from tests.drills.conftest import Elsewhere, Mailbox
from tests.factories import (
    DeskFactory,
    FilterSlotFactory,
    PersonFactory,
    SiteFactory,
    SiteRoleFactory,
    SystemFactory,
)

pytestmark = [
    pytest.mark.django_db(transaction=True), pytest.mark.postgres, pytest.mark.redis, pytest.mark.long,
]  # fmt: skip
HOMES, OUTAGE_S, PATIENCE_S = 12, 60, 180.0


def homes_due(first: int) -> set[str]:
    """Households whose filter has been in for half a year; the desk itself has to find that out."""
    fitted = timezone.now().date() - timedelta(days=182)
    readers = set()
    for number in range(first, first + HOMES):
        site = SiteFactory(name=f"home {number}")
        person = PersonFactory(name=f"Reader {number}", email=f"reader{number}@home.example")
        SiteRoleFactory(site=site, person=person, role="filter_changer")
        FilterSlotFactory(system=SystemFactory(site=site), fitted_on=fitted, facts_changed_at=timezone.now())
        readers.add(person.email)
    return readers


@contextlib.contextmanager
def desks(elsewhere: Elsewhere, redis_url: str) -> Iterator[None]:
    """Two whole desks, each with its clock, and one worker more."""
    processes: list[subprocess.Popen[str]] = []
    try:
        for number in (1, 2):
            (elsewhere.folder / f"desk{number}").mkdir()
            more = {"REDIS_URL": redis_url, "PORT": str(servers.free_port()), "HOST": "127.0.0.1"}
            processes.append(elsewhere.start("-m", "servicedesk.serve", **more))
        worker = ("-m", "celery", "-A", "servicedesk.celery_app", "worker", "--loglevel", "ERROR")
        processes.append(elsewhere.start(*worker, "--concurrency", "1", REDIS_URL=redis_url))
        yield
    finally:
        for process in processes:
            process.terminate()
        for process in processes:
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(30)
            process.kill()
            process.communicate()


def until(reached: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
    end = time.monotonic() + patience_s
    while not reached():
        assert time.monotonic() < end, f"{what} did not happen within {patience_s:.0f} s"
        time.sleep(0.2)


@contextlib.contextmanager
def shut_database(url: str) -> Iterator[None]:
    """Nobody new gets in, and who is in is thrown out."""
    name = url.rpartition("/")[2]
    admin = psycopg.connect(url.rpartition("/")[0] + "/postgres", autocommit=True)
    allow = sql.SQL("ALTER DATABASE {} WITH ALLOW_CONNECTIONS {}")
    try:
        admin.execute(allow.format(sql.Identifier(name), sql.SQL("false")))
        admin.execute("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s", [name])
        yield
    finally:
        admin.execute(allow.format(sql.Identifier(name), sql.SQL("true")))
        admin.close()


def test_every_household_is_told_once_though_the_servers_go_and_come_back(
    mailbox: Mailbox, elsewhere: Elsewhere
) -> None:
    Policy.objects.update_or_create(pk=1, defaults={"send_from_hour": 0, "send_to_hour": 24})
    DeskFactory(timezone="UTC")
    elsewhere.mail_port, port = mailbox.port, servers.free_port()
    readers = homes_due(0)
    with contextlib.ExitStack() as stack:
        first = contextlib.ExitStack()
        redis_url = first.enter_context(servers.redis(port))
        stack.enter_context(desks(elsewhere, redis_url))
        until(lambda: len(mailbox.letters) >= HOMES, "the first letters")
        first.close()  # Redis is gone
        readers |= homes_due(HOMES)
        time.sleep(OUTAGE_S)
        stack.enter_context(servers.redis(port))
        until(lambda: len(mailbox.letters) >= 2 * HOMES, "the letters after Redis came back")
        readers |= homes_due(2 * HOMES)
        connection.close()
        with shut_database(elsewhere.url):
            time.sleep(OUTAGE_S)
        until(lambda: len(mailbox.letters) >= 3 * HOMES, "the letters after PostgreSQL came back")
        time.sleep(2)
    received = Counter(letter["To"] for letter in mailbox.letters)
    states = Counter(Notice.objects.values_list("state", flat=True))
    print(
        f"Redis and PostgreSQL away for {OUTAGE_S} s each: {sum(received.values())} letters, {dict(states)}"
    )
    assert received == Counter(readers)
    assert states == {Notice.State.SENT: 3 * HOMES}
