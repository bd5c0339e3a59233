"""What the doctor says: of a sound set-up nothing wrong, of each fault where it lies, and never a secret."""

import io
import socketserver
import threading
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from aiosmtpd.controller import Controller
from django.core.management import call_command
from django.db import OperationalError, connection
from pytest_django.fixtures import Settings

from schedules import due
from schedules.models import Notice
from servicedesk.doctor import desk, machine
from servicedesk.doctor.findings import Finding, How
from tests.drills.conftest import Mailbox
from tests.factories import NOW, NightFactory, NightPartFactory, NoticeFactory, SiteFactory
from tests.factories.clock import TODAY
from tests.servers import free_port

pytestmark = pytest.mark.django_db
SECRET = "s3cret"


def an_archive(path: Path) -> None:
    with ZipFile(path, "w") as archive:
        archive.writestr("contents.json", "{}")


@pytest.fixture
def sound(settings: Settings, tmp_path: Path) -> Settings:
    """A server as it should be."""
    an_archive(tmp_path / f"desk-{TODAY}.zip")
    settings.VAR_DIR, settings.BACKUP_DIR, settings.REDIS_URL = tmp_path, str(tmp_path), ""
    settings.PRODUCTION, settings.DEBUG, settings.SECRET_KEY = True, False, SECRET * 12
    settings.SITE_URL, settings.ALLOWED_HOSTS = "https://desk.example.org", ["desk.example.org"]
    settings.CSRF_TRUSTED_ORIGINS = ["https://desk.example.org"]
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.OUTGOING_MAIL_IS_KEPT, settings.EMAIL_HOST, settings.EMAIL_USE_TLS = True, "127.0.0.1", False
    return settings


def findings() -> list[Finding]:
    return [*machine.of_machine(NOW), *desk.of_desk(NOW)]


def test_of_a_sound_server_nothing_is_wrong(sound: Settings) -> None:
    assert {one.what: one.how for one in findings() if one.how is not How.WELL} == {"Mail": How.LOOK}


def set_to(**values: Any) -> Callable[[Settings], None]:
    def change(settings: Settings) -> None:
        for name, value in values.items():
            setattr(settings, name, value)

    return change


@pytest.mark.parametrize(
    ("change", "what", "how", "said"),
    [
        (set_to(VAR_DIR=Path("/proc/none")), "VAR_DIR", How.WRONG, "nothing can be written"),
        (set_to(SECRET_KEY=SECRET), "SECRET_KEY", How.WRONG, "too short"),
        (set_to(DEBUG=True), "DEBUG", How.WRONG, "turn it off"),
        (set_to(PRODUCTION=False), "PRODUCTION", How.LOOK, "is off"),
        (set_to(SITE_URL="http://desk.example.org"), "SITE_URL", How.WRONG, "https"),
        (set_to(ALLOWED_HOSTS=["other.example.org"]), "ALLOWED_HOSTS", How.WRONG, "does not name"),
        (set_to(CSRF_TRUSTED_ORIGINS=[]), "CSRF_TRUSTED_ORIGINS", How.LOOK, "does not name"),
        (set_to(DKIM_SELECTOR="one"), "DKIM", How.WRONG, "go together"),
        (
            set_to(DKIM_SELECTOR="one", DKIM_DOMAIN="example.org", DKIM_KEY_FILE="/nowhere/key"), "DKIM",
            How.WRONG, "cannot be read",
        ),
        (set_to(BACKUP_DIR=""), "Backups", How.LOOK, "is empty"),
        (set_to(BACKUP_DIR="/nowhere"), "Backups", How.WRONG, "mounted"),
        (set_to(REDIS_URL=f"redis://:{SECRET}@127.0.0.1:1/0"), "Redis", How.WRONG, "does not answer"),
        (
            set_to(OUTGOING_MAIL_IS_KEPT=False, EMAIL_BACKEND="django.core.mail.backends.dummy.EmailBackend"),
            "Mail", How.LOOK, "names no mail server",
        ),
        (set_to(OUTGOING_MAIL_IS_KEPT=False, EMAIL_PORT=1), "Mail", How.WRONG, "does not answer"),
    ],
)  # fmt: skip
def test_each_fault_is_told_where_it_lies_and_no_secret_with_it(
    sound: Settings, change: Callable[[Settings], None], what: str, how: How, said: str
) -> None:
    change(sound)
    found = next(one for one in findings() if one.what == what)
    assert (found.how, said in found.said) == (how, True), found
    assert not any(SECRET in str(one) for one in findings())


def test_a_mail_server_that_answers_is_well_and_gets_no_letter(sound: Settings) -> None:
    box = Mailbox(free_port())
    controller = Controller(box, hostname="127.0.0.1", port=box.port)
    controller.start()
    try:
        sound.OUTGOING_MAIL_IS_KEPT, sound.EMAIL_PORT = False, box.port
        assert machine.mail().how is How.WELL
        sound.EMAIL_USE_SSL = True
        assert "SSLError" in machine.mail().said
        sound.EMAIL_USE_SSL, sound.EMAIL_USE_TLS = False, True
        assert "TLS" in machine.mail().said
    finally:
        controller.stop()
    assert not box.letters


def test_a_redis_that_refuses_is_told_in_its_own_words(sound: Settings) -> None:
    class Refuses(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            while self.rfile.readline():
                self.wfile.write(b"-DENIED protected mode\r\n")

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Refuses) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        sound.REDIS_URL = f"redis://127.0.0.1:{server.server_address[1]}/0"
        found = desk.redis_answers()
        server.shutdown()
    assert found.how is How.WRONG
    assert "DENIED protected mode" in found.said


def test_an_old_archive_is_told(sound: Settings, tmp_path: Path) -> None:
    (tmp_path / f"desk-{TODAY}.zip").rename(tmp_path / f"desk-{TODAY - timedelta(days=3)}.zip")
    assert machine.backups(NOW).said == "the newest archive is 3 days old; look at its timer."
    next(tmp_path.glob("desk-*.zip")).unlink()
    assert "no archive" in machine.backups(NOW).said


def test_letters_that_wait_too_long_or_are_parked(sound: Settings) -> None:
    site = SiteFactory()
    NoticeFactory(site=site, state=Notice.State.PARKED)
    assert desk.letters(NOW).how is How.LOOK
    NoticeFactory(site=site, state=Notice.State.WAITING, send_at=NOW - timedelta(hours=7))
    assert desk.letters(NOW).how is How.WRONG


def test_a_night_that_was_not_begun_or_is_stuck(sound: Settings, monkeypatch: pytest.MonkeyPatch) -> None:
    assert not list(desk.nights(NOW))
    monkeypatch.setattr(due, "is_large", lambda: True)
    assert [one.how for one in desk.nights(NOW)] == [How.WRONG]
    part = NightPartFactory(night=NightFactory(day=TODAY, started_at=NOW - timedelta(hours=5)))
    assert [one.how for one in desk.nights(NOW)] == [How.LOOK]
    type(part).objects.update(tries=5, trouble="disk full")
    assert [one.how for one in desk.nights(NOW)] == [How.WRONG]


def test_a_database_that_is_down_is_told_and_the_rest_too(
    sound: Settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    def down() -> None:
        raise OperationalError(f"no connection as desk with {SECRET}")

    monkeypatch.setattr(connection, "ensure_connection", down)
    said = io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("doctor", stdout=said)
    assert ended.value.code == 1
    assert "wrong       Database:" in said.getvalue()
    assert "Redis" in said.getvalue()
    assert SECRET not in said.getvalue()


def test_the_last_line_sums_it_up(sound: Settings) -> None:
    said = io.StringIO()
    # The real clock is later than the archive's day.
    an_archive(Path(sound.BACKUP_DIR) / "desk-2199-01-01.zip")
    call_command("doctor", stdout=said)
    assert said.getvalue().splitlines()[-1].startswith("Nothing is wrong. ")
