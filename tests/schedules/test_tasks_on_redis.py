"""The tasks in real workers: a new fact is planned in within seconds, on Redis and in one process."""

import contextlib
import os
import time
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from celery import Celery

from schedules import due
from schedules.models import Plan
from tests.conftest import WriteSheet
from tests.drills.conftest import ROOT, Elsewhere
from tests.factories import FilterSlotFactory
from tests.servers import free_port

pytestmark = pytest.mark.django_db(transaction=True)
SECONDS = 10.0
START_S = 40.0
THIN_FILTER_DAYS = 183
REPLAN = "schedules.tasks.replan_changed"


@pytest.fixture
def elsewhere(transactional_db: None, tmp_path: Path) -> Elsewhere:
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    return Elsewhere(folder)


@pytest.fixture
def today() -> date:
    """The workers live on the real clock."""
    return due.today(datetime.now(UTC))


@pytest.fixture
def change_told(elsewhere: Elsewhere, sheet: WriteSheet, tmp_path: Path, today: date) -> Callable[[], date]:
    """Hands a slot without a plan over; a call imports a change of last week and gives the date it makes."""
    FilterSlotFactory(name="home-hall", fitted_on=today - timedelta(days=100))
    elsewhere.hand_over()
    changed = today - timedelta(days=7)

    def tell() -> date:
        sheet("changes.csv", [{"filter_slot": "home-hall", "changed_on": changed}])
        importing = elsewhere.start(str(ROOT / "manage.py"), "import_sheets", str(tmp_path))
        said, _ = importing.communicate(timeout=60)
        assert importing.returncode == 0, said
        return changed + timedelta(days=THIN_FILTER_DAYS)

    return tell


def wait_for_date(elsewhere: Elsewhere, wanted: date, seconds: float) -> float:
    """How long the plan took to say this date."""
    asked = time.monotonic()
    found: date | None = None
    while (took := time.monotonic() - asked) < seconds:
        elsewhere.take_back()
        found = Plan.objects.values_list("due_on", flat=True).first()
        if found == wanted:
            return took
        time.sleep(0.1)
    raise AssertionError(f"after {seconds} s the plan still says {found}, not {wanted}")


@contextlib.contextmanager
def running(elsewhere: Elsewhere, *arguments: str, **env: str) -> Iterator[None]:
    """A program of the desk's while the block runs, without the tests' own settings."""
    process = elsewhere.start(*arguments, **env)
    try:
        yield
    finally:
        process.kill()
        process.communicate()


@pytest.fixture
def broker() -> Iterator[Celery]:
    """A client of the real Redis, in a database of its own."""
    app = Celery("asking", broker=f"{os.environ['TEST_REDIS_URL']}/7", set_as_current=False, fixups=[])
    app.conf.broker_connection_timeout = 2
    yield app
    app.control.purge()
    app.close()


def wait_for_worker(app: Celery) -> None:
    end = time.monotonic() + START_S
    while not app.control.ping(timeout=0.5):
        assert time.monotonic() < end, "no worker answers"


@pytest.mark.redis
@pytest.mark.served
def test_a_worker_on_redis_plans_a_new_fact_in_within_seconds(
    broker: Celery, elsewhere: Elsewhere, change_told: Callable[[], date], today: date
) -> None:
    command = ("-m", "celery", "-A", "servicedesk.celery_app", "worker", "--without-gossip", "-c", "1")
    with running(elsewhere, *command, REDIS_URL=broker.conf.broker_url):
        wait_for_worker(broker)
        broker.send_task(REPLAN)
        wait_for_date(elsewhere, today - timedelta(days=100) + timedelta(days=THIN_FILTER_DAYS), SECONDS)
        wanted = change_told()
        broker.send_task(REPLAN)
        wait_for_date(elsewhere, wanted, SECONDS)


@pytest.mark.long
def test_one_process_plans_a_new_fact_in_within_seconds_and_unasked(
    elsewhere: Elsewhere, change_told: Callable[[], date], today: date
) -> None:
    serve = {"PORT": str(free_port()), "REDIS_URL": ""}
    with running(elsewhere, "-m", "servicedesk.serve", **serve):
        wait_for_date(elsewhere, today - timedelta(days=100) + timedelta(days=THIN_FILTER_DAYS), START_S)
        wait_for_date(elsewhere, change_told(), SECONDS)
