"""Photographs: taken in once, shown to whoever sees the home, withdrawn for good."""

from collections.abc import Callable
from datetime import timedelta
from io import BytesIO
from typing import Any
from uuid import UUID, uuid4

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from PIL import Image

from equipment.models import FilterSlot, User
from schedules.models import Photograph, Visit
from schedules.photographs import MOST_A_VISIT, moment
from servicedesk.upload_limit import LARGEST
from tests.factories import (
    NOW,
    TODAY,
    FieldEntryFactory,
    FilterSlotFactory,
    PhotographFactory,
    VisitFactory,
    VisitJobFactory,
)  # fmt: skip
from tests.pictures import jpeg, upload

pytestmark = pytest.mark.django_db

Send = Callable[..., Any]


@pytest.fixture
def visit(home_slot: FilterSlot, technician_user: User) -> Visit:
    row: Visit = VisitFactory(
        site=home_slot.system.site, technician=technician_user.technician, day=TODAY,
        state=Visit.State.SCHEDULED,
    )  # fmt: skip
    VisitJobFactory(visit=row, slot=home_slot)
    return row


@pytest.fixture
def send(visit: Visit, home_slot: FilterSlot, technician: Client) -> Send:
    """Posts a photograph as the technician's telephone does."""

    def post(data: bytes | None = None, client: Client = technician, **told: object) -> Any:
        form = {
            "id": str(uuid4()),
            "entry": "",
            "visit": visit.pk,
            "slot": home_slot.pk,
            "file": upload(data),
        }
        return client.post(
            reverse("photo-add"), {name: v for name, v in (form | told).items() if v is not None}
        )

    return post


def test_it_is_taken_in_without_its_metadata(send: Send, visit: Visit, home_slot: FilterSlot) -> None:
    uid, entry = uuid4(), uuid4()
    answer = send(id=str(uid), entry=str(entry))
    assert answer.status_code == 200
    assert answer.json() == {"id": str(uid), "state": "taken", "said": "The photograph is on record."}
    row = Photograph.objects.get()
    assert (row.uid, row.entry, row.slot, row.visit) == (uid, entry, home_slot, visit)
    assert (row.width, row.height) == (320, 240)
    assert row.recorded_by == visit.technician.user  # type: ignore[union-attr]
    assert not dict(Image.open(BytesIO(bytes(row.jpeg))).getexif())


def test_the_same_id_again_is_answered_alike_and_stored_once(send: Send) -> None:
    uid = str(uuid4())
    first, again = send(id=uid), send(id=uid, file=None)
    assert first.json() == again.json()
    assert Photograph.objects.count() == 1
    Photograph.objects.update(withdrawn_at=NOW)
    assert send(id=uid).json() == first.json()


def test_an_id_of_another_filter_is_refused(send: Send, home_slot: FilterSlot) -> None:
    uid = str(uuid4())
    send(id=uid)
    other = FilterSlotFactory(system=home_slot.system)
    assert send(id=uid, slot=other.pk).status_code == 422
    assert Photograph.objects.get().slot == home_slot


@time_machine.travel(NOW, tick=False)
def test_the_telephones_clock_is_set_right(send: Send) -> None:
    wrong = 1_000_000_000_000
    send(at=wrong, sent_at=wrong + 90_000)
    assert Photograph.objects.get().taken_at == NOW - timedelta(seconds=90)


@pytest.mark.parametrize(
    ("at_ms", "sent_ms", "ago_s"),
    [(None, 5, 0), (5, None, 0), (1000, 61_000, 60), (61_000, 1000, 0), (1, 10**14, 0), (0, 3_600_000, 3600)],
)
def test_no_moment_is_to_come_or_of_another_year(at_ms: int | None, sent_ms: int | None, ago_s: int) -> None:
    assert moment(at_ms, sent_ms, NOW) == NOW - timedelta(seconds=ago_s)


@pytest.mark.parametrize("told", [{"at": "x", "sent_at": "9" * 40}, {"at": "-1", "sent_at": ""}])
@time_machine.travel(NOW, tick=False)
def test_a_clock_that_tells_nonsense_is_not_believed(send: Send, told: dict[str, str]) -> None:
    assert send(**told).status_code == 200
    assert Photograph.objects.get().taken_at == NOW


@pytest.mark.parametrize(
    ("told", "status", "words"),
    [
        ({"file": None}, 422, "No file"),
        ({"data": b"<svg/>"}, 422, "no photograph"),
        ({"data": b""}, 422, "empty"),
        ({"data": jpeg(2000, 1500)[:6000]}, 422, "did not arrive whole"),
        ({"data": jpeg() + b"\0" * 12_000_000}, 413, "larger than 12 MB"),
        ({"id": "7"}, 422, "without its id"),
        ({"slot": 999_999}, 404, "not on record"),
        ({"slot": "x"}, 404, "not on record"),
        ({"visit": 999_999}, 404, "not on record"),
        ({"visit": ""}, 404, "not on record"),
    ],
)
def test_what_cannot_be_kept_is_refused_in_words(
    send: Send, told: dict[str, Any], status: int, words: str
) -> None:
    if told.get("data") == b"":
        told = {"file": upload(b"")}
    answer = send(**told)
    assert (answer.status_code, answer.json()["state"]) == (status, "refused")
    assert words in answer.json()["said"]
    assert not Photograph.objects.exists()


@pytest.mark.parametrize("gone", ["slot", "visit"])
def test_of_what_is_gone_it_is_kept_with_its_entry(
    gone: str, send: Send, technician_user: User, technician: Client, manager: Client
) -> None:
    entry = FieldEntryFactory(user=technician_user, visit=None, visit_number=7, state="to_judge")
    told = {gone: 999_999, "entry": str(entry.uid), "id": str(uuid4())}
    assert [send(**told).json()["state"] for _ in range(2)] == ["taken", "taken"]
    row = Photograph.objects.get()
    assert (row.slot, row.visit, row.entry) == (None, None, entry.uid)
    address = reverse("photograph", args=[row.pk])
    assert f'src="{address}"' in manager.get(reverse("findings")).text
    assert manager.get(address).status_code == 200
    assert technician.get(address).status_code == 404
    assert send(**{**told, "id": str(uuid4()), "data": b"none"}).status_code == 422
    assert manager.post(reverse("photograph-gone", args=[row.pk]))["Location"] == reverse("findings")


@time_machine.travel(NOW, tick=False)
def test_its_hour_is_that_of_its_entry(send: Send, technician_user: User, visit: Visit) -> None:
    """The telephone's clock was set by a day after both were written and before they were sent."""
    pressed = NOW - timedelta(days=1)
    entry = FieldEntryFactory(
        user=technician_user, visit=visit, state="taken", pressed_at=pressed, at=NOW - timedelta(hours=1)
    )
    at, sent_at = (round(one.timestamp() * 1000) for one in (pressed - timedelta(minutes=2), NOW))
    send(entry=str(entry.uid), at=at, sent_at=sent_at)
    assert Photograph.objects.get().taken_at == NOW - timedelta(minutes=62)


def test_with_somebody_elses_entry_nothing_is_kept(send: Send) -> None:
    assert send(slot=999_999, entry=str(FieldEntryFactory().uid)).status_code == 404


def test_six_a_filter_a_visit(send: Send, home_slot: FilterSlot) -> None:
    assert [send().status_code for _ in range(MOST_A_VISIT + 1)] == [200] * MOST_A_VISIT + [422]
    assert Photograph.objects.count() == MOST_A_VISIT
    assert send(slot=FilterSlotFactory(system=home_slot.system).pk).status_code == 200


def test_a_filter_of_another_home_or_a_colleagues_visit_is_not_there(
    send: Send, visit: Visit, manager: Client
) -> None:
    assert send(slot=FilterSlotFactory().pk).status_code == 404
    visit.technician = VisitFactory().technician
    visit.state = Visit.State.DUE
    visit.save()
    # Given to another while they had no signal, it is still theirs who was there.
    assert send().status_code == 200
    visit.history.all().delete()
    assert send().status_code == 404
    assert send(client=manager).status_code == 200


def test_what_is_far_too_large_is_refused_unread(technician: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    def unread(*_args: object) -> None:
        raise AssertionError("the body was read")

    monkeypatch.setattr("django.test.client.FakePayload.read", unread)
    for name, address in (("photo-add", reverse("photo-add")), ("visit-complete", "/visits/1/complete/")):
        answer = technician.post(address, {}, CONTENT_LENGTH=str(LARGEST[name] + 1))
        assert answer.status_code == 413
        assert "MB" in answer.text


def test_it_is_shown_to_its_household_and_nobody_elses(
    home_slot: FilterSlot, homeowner: Client, technician: Client, stranger: Client
) -> None:
    mine, other = PhotographFactory(slot=home_slot), PhotographFactory()
    for client in (homeowner, technician):
        answer = client.get(reverse("photograph", args=[mine.pk]))
        assert answer.content == mine.jpeg
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Cache-Control"].startswith("private")
        again = client.get(reverse("photograph", args=[mine.pk]), headers={"If-None-Match": answer["ETag"]})
        assert (again.status_code, again.content) == (304, b"")
    assert homeowner.get(reverse("photograph", args=[other.pk])).status_code == 404
    assert stranger.get(reverse("photograph", args=[mine.pk])).status_code == 302


def test_the_filters_page_shows_the_latest(home_slot: FilterSlot, homeowner: Client, manager: Client) -> None:
    row = PhotographFactory(slot=home_slot, width=1600, height=1200)
    page = homeowner.get(reverse("filter", args=[home_slot.pk])).text
    address = reverse("photograph", args=[row.pk])
    assert f'<img src="{address}" width="160" height="120" loading="lazy"' in page
    assert 'alt="Filter and frame, 12 May 2026"' in page
    assert reverse("photograph-gone", args=[row.pk]) not in page
    assert (
        reverse("photograph-gone", args=[row.pk]) in manager.get(reverse("filter", args=[home_slot.pk])).text
    )


def test_a_household_reads_of_it_in_its_own_language(
    home_slot: FilterSlot, homeowner: Client, homeowner_user: User
) -> None:
    homeowner_user.person.language = "es"  # type: ignore[union-attr]
    homeowner_user.person.save()  # type: ignore[union-attr]
    PhotographFactory(slot=home_slot)
    page = homeowner.get(reverse("filter", args=[home_slot.pk])).text
    assert "Filtro y marco, 12 de mayo de 2026" in page
    assert "Fotografías" in page


def test_lists_leave_the_bytes_where_they_are(home_slot: FilterSlot) -> None:
    PhotographFactory(slot=home_slot)
    (row,) = home_slot.photographs.standing()
    assert "jpeg" in row.get_deferred_fields()


def test_a_manager_withdraws_it_for_good(home_slot: FilterSlot, manager: Client, homeowner: Client) -> None:
    row = PhotographFactory(slot=home_slot)
    address = reverse("photograph", args=[row.pk])
    etag = homeowner.get(address)["ETag"]
    assert manager.post(reverse("photograph-gone", args=[row.pk])).status_code == 302
    row.refresh_from_db()
    assert bytes(row.jpeg) == b""
    assert row.withdrawn_by.username == "manager"
    first = row.withdrawn_at
    manager.post(reverse("photograph-gone", args=[row.pk]))
    row.refresh_from_db()
    assert row.withdrawn_at == first
    assert homeowner.get(address, headers={"If-None-Match": etag}).status_code == 404
    assert address not in homeowner.get(reverse("filter", args=[home_slot.pk])).text


def complete(visit: Visit, slot: FilterSlot, client: Client, photo: object, **told: str) -> Any:
    prefix = f"slot{slot.pk}"
    form = {f"{prefix}-changed": "on", f"{prefix}-photo": photo} | {
        f"{prefix}-{k}": v for k, v in told.items()
    }
    return client.post(reverse("visit-complete", args=[visit.pk]), form)


def test_the_visits_form_brings_it_with_the_completion(
    visit: Visit, home_slot: FilterSlot, technician: Client
) -> None:
    page = technician.get(reverse("visit", args=[visit.pk])).text
    assert 'enctype="multipart/form-data"' in page
    assert f'name="slot{home_slot.pk}-photo" accept="image/*" capture="environment"' in page
    assert complete(visit, home_slot, technician, upload()).status_code == 302
    row = Photograph.objects.get()
    visit.refresh_from_db()
    assert (row.visit, row.slot, row.taken_at) == (visit, home_slot, visit.completed_at)
    assert isinstance(row.uid, UUID)
    page = technician.get(reverse("visit", args=[visit.pk])).text
    assert reverse("photograph", args=[row.pk]) in page


def test_a_file_that_is_no_photograph_is_a_fault_at_its_field_and_nothing_is_lost(
    visit: Visit, home_slot: FilterSlot, technician: Client
) -> None:
    answer = complete(visit, home_slot, technician, upload(b"<html>"), drop_before="0.25")
    assert answer.status_code == 422
    assert "This file is no photograph" in answer.text
    assert "has to be chosen again" in answer.text
    assert 'value="0.25"' in answer.text
    visit.refresh_from_db()
    assert visit.is_open
    assert not Photograph.objects.exists()


def test_a_fault_elsewhere_says_that_the_photograph_has_to_be_chosen_again(
    visit: Visit, home_slot: FilterSlot, technician: Client
) -> None:
    answer = complete(visit, home_slot, technician, upload(), drop_before="plenty")
    assert answer.status_code == 422
    assert answer.text.count("has to be chosen again") == 1
    assert not Photograph.objects.exists()


def test_a_completion_that_fails_keeps_no_photograph(
    visit: Visit, home_slot: FilterSlot, technician: Client, send: Send
) -> None:
    for _ in range(MOST_A_VISIT):
        send()
    answer = complete(visit, home_slot, technician, upload())
    assert answer.status_code == 422
    assert "6 photographs of this filter" in answer.text
    assert Photograph.objects.count() == MOST_A_VISIT
    assert not home_slot.changes.exists()
