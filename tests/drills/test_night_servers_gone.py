"""The nightly pass while Redis forgets what waits in it and PostgreSQL throws everybody out."""

import contextlib
import time
from datetime import timedelta

import pytest
import redis
from django.db import connection
from django.utils import timezone

from equipment.models import FilterSlot
from schedules import due, night
from schedules.models import Night, NightPart, Plan
from tests import servers
from tests.drills.conftest import Elsewhere
from tests.drills.test_servers_gone import desks, shut_database, until
from tests.factories import DeskFactory, FilterSlotFactory, MediaFactory, MediaPointFactory
from tests.schedules.test_night import plans

pytestmark = [
    pytest.mark.django_db(transaction=True), pytest.mark.postgres, pytest.mark.redis, pytest.mark.long,
]  # fmt: skip
HOMES, OUTAGE_S = 200, 5


def test_the_night_ends_as_an_undisturbed_one(elsewhere: Elsewhere, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, value in (("LARGE_DESK_FILTERS", "0"), ("NIGHT_PART_HOMES", "1")):
        monkeypatch.setenv(name, value)
    DeskFactory(timezone="UTC")
    media = MediaFactory()
    MediaPointFactory(media=media, airflow_m3s=0.2, clean_drop_pa=20.0)
    now = timezone.now()
    for n in range(HOMES):
        fitted = (now - timedelta(days=n)).date()
        FilterSlotFactory(first_media=media, fitted_on=fitted, facts_changed_at=now - timedelta(days=3))
    # As planned yesterday, of facts that are hours old: left to the night alone.
    due.replan(now - timedelta(days=1))
    FilterSlot.objects.update(facts_changed_at=now - timedelta(days=2))
    with contextlib.ExitStack() as stack:
        redis_url = stack.enter_context(servers.redis())
        stack.enter_context(desks(elsewhere, redis_url))
        until(lambda: NightPart.objects.filter(done_at__isnull=False).exists(), "the night's first part")
        redis.Redis.from_url(redis_url).flushall()
        left = NightPart.objects.filter(done_at=None).count()
        assert left > 0
        connection.close()
        with shut_database(elsewhere.url):
            time.sleep(OUTAGE_S)
        # A part that a worker had in hand is free again only once that worker is held to be lost.
        longest_s = night.LOST_AFTER.total_seconds() + 60
        until(
            lambda: Night.objects.filter(finished_at__isnull=False).exists(),
            "the end of the night",
            longest_s,
        )
    assert not NightPart.objects.filter(done_at=None).exists()
    print(f"{left} of {HOMES} parts were left when Redis was emptied and PostgreSQL shut for {OUTAGE_S} s")
    by_night = plans()
    assert {row[13] for row in by_night.values()} == {due.today(timezone.now())}
    Plan.objects.all().delete()
    due.replan(timezone.now())
    assert plans() == by_night
