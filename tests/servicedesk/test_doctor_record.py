"""Work that stands still, keys that do not sign, archives that are cut off: told, and the rest with it."""

import io
import os
import stat
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import redis
from cryptography.hazmat.primitives import serialization
from cryptography.hazmat.primitives.asymmetric import rsa
from django.core.management import call_command
from django.db import DataError, connection
from django.db.migrations.recorder import MigrationRecorder
from pytest_django.fixtures import Settings

from equipment.models import FilterSlot
from schedules.models import MailServer, Notice
from servicedesk.doctor import desk, machine, record
from servicedesk.doctor.findings import How, goes_on
from tests.factories import NOW, TODAY, NoticeFactory, PlanFactory

pytestmark = pytest.mark.django_db


def test_dates_of_yesterday_are_told_on_a_small_desk(home_slot: FilterSlot) -> None:
    FilterSlot.objects.update(facts_changed_at=NOW - timedelta(hours=2))
    assert record.swept(NOW).how is How.LOOK
    assert "Dates" in [one.what for one in desk.of_desk(NOW)]
    home_slot.refresh_from_db()
    PlanFactory(slot=home_slot, as_of=TODAY, facts_at=home_slot.facts_changed_at)
    assert record.swept(NOW).how is How.WELL


def test_what_was_written_just_now_is_not_late_yet(home_slot: FilterSlot) -> None:
    FilterSlot.objects.update(facts_changed_at=NOW - timedelta(minutes=1))
    assert record.swept(NOW).how is How.WELL


def test_letters_whose_sender_died_and_a_server_that_takes_none() -> None:
    notice = NoticeFactory(state=Notice.State.CLAIMED, claimed_at=NOW)
    assert not list(record.letters_under_way(NOW))
    Notice.objects.filter(pk=notice.pk).update(claimed_at=NOW - timedelta(hours=1))
    assert [one.how for one in record.letters_under_way(NOW)] == [How.LOOK]
    MailServer.objects.create(pk=1, fault="535 s3cret", since=NOW)
    found = list(record.letters_under_way(NOW))
    assert [one.how for one in found] == [How.WRONG, How.LOOK]
    assert "s3cret" not in str(found[0])


def test_migrations_of_another_version_are_told() -> None:
    assert not list(desk.later_version())
    MigrationRecorder(connection).record_applied("schedules", "9999_of_tomorrow")
    assert [one.how for one in desk.later_version()] == [How.LOOK]


def test_the_key_that_signs_letters_is_tried(settings: Settings, tmp_path: Path) -> None:
    file = tmp_path / "dkim.pem"
    settings.DKIM_SELECTOR, settings.DKIM_DOMAIN, settings.DKIM_KEY_FILE = "one", "desk.example", str(file)
    file.write_text("no key")
    assert [one.how for one in machine.dkim()] == [How.WRONG]
    key = rsa.generate_private_key(public_exponent=65537, key_size=1024)
    form = serialization.PrivateFormat.TraditionalOpenSSL
    file.write_bytes(key.private_bytes(serialization.Encoding.PEM, form, serialization.NoEncryption()))
    file.chmod(stat.S_IRUSR | stat.S_IROTH)
    assert [one.how for one in machine.dkim()] == [How.LOOK]
    file.chmod(stat.S_IRUSR)
    assert [one.how for one in machine.dkim()] == [How.WELL]


def test_an_archive_that_was_cut_off_is_told(settings: Settings, tmp_path: Path) -> None:
    settings.BACKUP_DIR = str(tmp_path)
    (tmp_path / f"desk-{TODAY}.zip").write_bytes(b"half of it")
    assert machine.backups(NOW).how is How.WRONG
    assert "damaged" in machine.backups(NOW).said


def test_any_name_at_all_is_not_let_in(settings: Settings) -> None:
    settings.PRODUCTION, settings.SITE_URL, settings.ALLOWED_HOSTS = True, "https://desk.example", ["*"]
    assert ("ALLOWED_HOSTS", How.WRONG) in [(one.what, one.how) for one in machine.production()]


@pytest.mark.redis
def test_a_redis_that_may_throw_tasks_away(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    settings.REDIS_URL = os.environ["TEST_REDIS_URL"]
    assert desk.redis_answers().how is How.WELL
    info: dict[str, Any] = {"redis_version": "7", "maxmemory_policy": "allkeys-lru"}
    monkeypatch.setattr(redis.Redis, "info", lambda _self, *_sections: info)
    assert "noeviction" in desk.redis_answers().said


def test_where_a_look_fails_the_next_part_is_still_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    @goes_on
    def careless(now: object) -> Iterator[Any]:
        raise DataError("as user s3cret")
        yield

    assert [(one.how, "s3cret" in str(one)) for one in careless(NOW)] == [(How.WRONG, False)]

    def fails() -> None:
        raise DataError

    monkeypatch.setattr(machine, "mail", fails)
    said = io.StringIO()
    with pytest.raises(SystemExit):
        call_command("doctor", stdout=said)
    assert "wrong       Doctor: could not look" in said.getvalue()
    assert "well        Database:" in said.getvalue()
