"""A worker that is asked to stop ends the part of the night that it has in hand; none is left half done."""

import os
import signal
import threading
from datetime import UTC, datetime

import pytest
from celery import Celery
from pytest_django.fixtures import Settings
from redis import Redis

from schedules import due, night
from schedules.models import NightPart
from tests.drills.conftest import Elsewhere
from tests.factories import FilterSlotFactory

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.redis, pytest.mark.long]
PARTS = 5
PART = "schedules.tasks.do_night_part"


def test_the_running_part_is_ended_and_the_others_wait_for_another_worker(
    elsewhere: Elsewhere, settings: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = datetime.now(UTC)
    monkeypatch.setattr(due, "LARGE", 0)
    monkeypatch.setattr(night, "HOMES_A_PART", 1)
    for _ in range(PARTS):
        FilterSlotFactory(fitted_on=due.today(now))
    night.begin(now)
    elsewhere.hand_over()
    url = f"{os.environ['TEST_REDIS_URL']}/8"
    with Celery("asking", broker=url, set_as_current=False, fixups=[]) as broker, Redis.from_url(url) as link:
        link.flushdb()
        for _ in range(PARTS):
            broker.send_task(PART, queue=settings.NIGHT_QUEUE)
        of_what = ("-m", "celery", "-A", "tests.drills.slow_night")
        worker = (*of_what, "worker", "--without-gossip", "--without-mingle")
        process = elsewhere.start(*worker, REDIS_URL=url)
        # A worker that never begins is not waited for.
        late = threading.Timer(60, process.kill)
        late.start()
        try:
            assert process.stdout
            assert "begun\n" in iter(process.stdout.readline, "")
            process.send_signal(signal.SIGTERM)
            process.communicate(timeout=30)
        finally:
            late.cancel()
            process.kill()
            waiting = link.llen(settings.NIGHT_QUEUE)
            link.flushdb()
    elsewhere.take_back()
    assert process.returncode == 0
    done = NightPart.objects.exclude(done_at=None)
    # One more may have been handed to it before it heard.
    assert done.count() in (1, 2)
    assert set(done.values_list("tries", flat=True)) == {1}
    others = NightPart.objects.filter(done_at=None)
    assert list(others.values_list("claimed_at", "tries")) == [(None, 0)] * (PARTS - done.count())
    assert waiting == PARTS - done.count()
