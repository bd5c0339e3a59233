"""Text messages through a real HTTP server: consent, quiet hours, stopping, and what became of each."""

import json
import threading
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from http.client import BadStatusLine
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse
from pytest_django.fixtures import Settings

from equipment.models import FilterSlot, Person
from schedules import reminders, sending, texts, visit_notices
from schedules.models import Notice, Plan, Visit
from tests.factories import TODAY, PlanFactory, TechnicianFactory, VisitFactory

pytestmark = pytest.mark.django_db


class Carrier(BaseHTTPRequestHandler):
    """Takes messages; answers with the next of its codes, else 202."""

    taken: list[dict[str, Any]]
    codes: list[int]

    def do_POST(self) -> None:
        told = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        code = type(self).codes.pop(0) if type(self).codes else 202
        if code == 202:
            sent = {"key": self.headers["Idempotency-Key"], "auth": self.headers["Authorization"]}
            type(self).taken.append(told | sent)
        self.send_response(code)
        self.end_headers()

    def log_message(self, *_args: object) -> None:
        return


@pytest.fixture
def carrier(settings: Settings) -> Iterator[type[Carrier]]:
    handler = type("Own", (Carrier,), {"taken": [], "codes": []})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    settings.TEXTS_URL, settings.TEXTS_SECRET = f"http://127.0.0.1:{server.server_port}/out", "a secret"
    yield handler
    server.shutdown()
    server.server_close()


@pytest.fixture
def by_text(home_slot: FilterSlot, homeowner_person: Person, now: datetime) -> Plan:
    """A household without mail that agreed to text messages; its filter is due in four days."""
    Person.objects.update(
        email="", phone="(312) 555-0143", text_consent_at=now - timedelta(days=9), text_consent_how="on paper"
    )
    return PlanFactory(slot=home_slot, due_on=date(2026, 5, 16))


def test_whoever_agreed_and_has_no_mail_gets_a_message(
    by_text: Plan, carrier: type[Carrier], now: datetime
) -> None:
    assert reminders.write_due(now) == 1
    sending.send_all(now)
    (message,) = carrier.taken
    notice = Notice.objects.get()
    assert (message["to"], message["id"], message["key"]) == ("+13125550143", notice.key, notice.key)
    assert message["auth"] == "Bearer a secret"
    assert "change it by 16 May" in message["text"]
    assert "/answer/" in message["text"]
    assert "STOP" in message["text"]
    assert (notice.state, notice.channel) == (Notice.State.SENT, Notice.Channel.TEXT)
    assert mail.outbox == []
    assert reminders.write_due(now) == 0


def test_mail_comes_first(by_text: Plan, carrier: type[Carrier], now: datetime) -> None:
    Person.objects.update(email="robin@home.example")
    reminders.write_due(now)
    sending.send_all(now)
    assert (carrier.taken, len(mail.outbox)) == ([], 1)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"text_consent_at": None}, "no mail address"),
        ({"phone": "ask Jim"}, "no mail address"),
        ({"text_stopped_at": datetime(2026, 5, 12, tzinfo=UTC)}, "no mail address"),
        ({"wants_filter_mail": False}, "no mail address"),
    ],
)
def test_without_consent_or_number_somebody_rings(
    by_text: Plan, carrier: type[Carrier], now: datetime, change: dict[str, Any], why: str
) -> None:
    Person.objects.update(**change)
    assert reminders.write_due(now) == 0
    (home,) = reminders.call_list(now)
    assert home.why_not == why


def test_off_by_default(by_text: Plan, now: datetime) -> None:
    assert reminders.write_due(now) == 0


def test_quiet_hours_are_kept(by_text: Plan, carrier: type[Carrier]) -> None:
    """Filter mail goes out from eight; text messages not before nine, in Chicago."""
    eight = datetime(2026, 5, 12, 13, tzinfo=UTC)
    reminders.write_due(eight)
    sending.send_all(eight)
    assert carrier.taken == []
    assert Notice.objects.get().send_at == eight + timedelta(hours=1)
    sending.send_all(eight + timedelta(hours=1))
    assert len(carrier.taken) == 1


@pytest.mark.parametrize(
    ("code", "state", "attempts"),
    [
        (400, Notice.State.FAILED, 1), (401, Notice.State.WAITING, 0), (429, Notice.State.WAITING, 1),
        (503, Notice.State.WAITING, 1), (502, Notice.State.WAITING, 1), (301, Notice.State.WAITING, 0),
    ],
)  # fmt: skip
def test_what_the_carrier_answers(
    by_text: Plan, carrier: type[Carrier], now: datetime, code: int, state: str, attempts: int
) -> None:
    carrier.codes.append(code)
    reminders.write_due(now)
    sending.send_all(now)
    notice = Notice.objects.get()
    assert (notice.state, notice.attempts) == (state, attempts)
    assert str(code) in notice.why


def test_no_carrier_there_holds_messages_and_no_mail(
    by_text: Plan, now: datetime, settings: Settings
) -> None:
    settings.TEXTS_URL, settings.TEXTS_SECRET = "http://127.0.0.1:1/out", "a secret"
    reminders.write_due(now)
    sending.send_all(now)
    notice = Notice.objects.get()
    assert (notice.state, notice.attempts, notice.send_at) == ("waiting", 0, now + timedelta(minutes=1))


def come_in(client: Client, told: Any, secret: str = "a secret") -> Any:
    return client.post(
        reverse("texts"), json.dumps(told), content_type="application/json",
        headers={"Authorization": f"Bearer {secret}"},
    )  # fmt: skip


@pytest.mark.parametrize(
    "words",
    ["STOP", " stop. ", "Alto", "BAJA", "“Stop”, please", "STOP ALL", "opt out", "Revoke", "cancelar"],
)
def test_stop_is_understood_before_the_next_message(
    by_text: Plan, carrier: type[Carrier], now: datetime, stranger: Client, words: str
) -> None:
    reminders.write_due(now)
    answer = come_in(stranger, {"from": "+1 312 555 0143", "text": words})
    assert answer.json() == {"stopped": True}
    stopped = Person.objects.get(text_stopped_at__isnull=False)
    assert stopped.history.first().text_stopped_at == stopped.text_stopped_at
    sending.send_all(now)
    assert carrier.taken == []
    assert Notice.objects.get().why == "stopped text messages"
    assert [home.why_not for home in reminders.call_list(now)] == ["no mail address"]


@pytest.mark.parametrize(
    ("told", "secret", "status"),
    [
        ({"from": "+13125550143", "text": "STOP"}, "another", 401),
        ({"text": "STOP"}, "a secret", 400),
        (["STOP"], "a secret", 400),
        ({"from": "+13125550143", "text": "thanks"}, "a secret", 200),
        ({"from": "+13125550143", "text": "the end of the week suits me"}, "a secret", 200),
        ({"from": "", "text": "STOP"}, "a secret", 200),
    ],
)
def test_what_does_not_stop_anything(
    by_text: Plan, carrier: type[Carrier], stranger: Client, told: Any, secret: str, status: int
) -> None:
    assert come_in(stranger, told, secret).status_code == status
    assert Person.objects.get().text_stopped_at is None


def test_nobody_stops_anything_where_no_secret_is_set(
    by_text: Plan, stranger: Client, settings: Settings
) -> None:
    settings.TEXTS_SECRET = ""
    assert come_in(stranger, {"from": "+13125550143", "text": "STOP"}, "").status_code == 401


def test_a_visit_is_told_by_text_too(
    home_slot: FilterSlot, by_text: Plan, carrier: type[Carrier], now: datetime
) -> None:
    VisitFactory(
        site=home_slot.system.site, technician=TechnicianFactory(), day=TODAY + timedelta(days=1),
        state=Visit.State.SCHEDULED,
    )  # fmt: skip
    visit_notices.write_visits(now)
    sending.send_all(now + timedelta(minutes=11))
    assert any("We come" in message["text"] for message in carrier.taken)
    assert visit_notices.untold(now) == []


@pytest.mark.parametrize(
    ("phone", "number"),
    [
        ("(312) 555-0143", "+13125550143"), ("+52 55 1234 5678", "+525512345678"), ("555-0143", ""),
        ("no phone", ""), ("+1 312 555 0143 ext 9", "+13125550143"), ("1" * 16, ""),
    ],
)  # fmt: skip
def test_numbers_as_carriers_take_them(phone: str, number: str) -> None:
    assert texts.digits(phone) == number


def test_consent_is_written_down_with_the_person(manager: Client, home_slot: FilterSlot) -> None:
    page = reverse("site-person", args=[home_slot.system.site_id])
    told = {"name": "Ana", "phone": "312 555 0143", "language": "es", "roles": ["filter_changer"]}
    manager.post(page, told | {"text_consent": "by phone, 3 May"})
    ana = Person.objects.get(name="Ana")
    assert (ana.language, ana.text_consent_how) == ("es", "by phone, 3 May")
    assert ana.text_consent_at is not None
    refused = manager.post(page, told | {"phone": "12", "text_consent": "yes"})
    assert refused.status_code == 422
    assert "Text messages need a whole number." in refused.text


def test_whoever_stops_letters_about_filters_gets_no_text_either(
    by_text: Plan, carrier: type[Carrier], now: datetime
) -> None:
    reminders.write_due(now)
    Person.objects.update(wants_filter_mail=False)
    sending.send_all(now)
    assert carrier.taken == []
    assert Notice.objects.get().why == "does not want filter mail"


def test_none_go_out_where_nobody_could_stop_them(
    by_text: Plan, carrier: type[Carrier], now: datetime, settings: Settings
) -> None:
    settings.TEXTS_SECRET = ""
    assert reminders.write_due(now) == 0


def test_a_carrier_that_speaks_no_http_leaves_the_message_parked(
    by_text: Plan, carrier: type[Carrier], now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_args: Any, **_more: Any) -> Any:
        raise BadStatusLine("no http")

    monkeypatch.setattr(texts, "urlopen", broken)
    reminders.write_due(now)
    sending.send_all(now)
    assert Notice.objects.get().state == Notice.State.PARKED
