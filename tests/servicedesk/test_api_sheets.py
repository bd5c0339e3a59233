"""Sheets by program: a look first, then stored once or put aside, and all of them out again."""

import io
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from pytest_django.fixtures import Settings

from equipment.models import Media
from equipment.sheets import waiting
from servicedesk.access import Who
from tests.factories import NOW, MediaFactory
from tests.servicedesk.test_api import Program, program_of
from tests.servicedesk.writing import Record, Write

pytestmark = pytest.mark.django_db
HEADER = b"media,nominal_size,merv\n"
MEDIA, ODD = HEADER + b"pleat,16x25x1,8\n", HEADER + b"felt,16x25x1,99\npleat,16x25x1,8\n"


@pytest.fixture(autouse=True)
def standing_clock(settings: Settings, tmp_path: Path) -> Iterator[time_machine.Traveller]:
    settings.VAR_DIR = tmp_path / "var"
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def send(ask: Program, *files: tuple[str, bytes], **headers: str) -> Any:
    sent = [SimpleUploadedFile(name, content) for name, content in files]
    told = {"Authorization": f"Bearer {ask.key}", **headers}
    return ask.client.post("/api/v1/sheets", {"sheets": sent}, headers=told)


def an_upload(part: str) -> Any:
    def begin(record: Record) -> str:
        upload = waiting.begin(record.manager.pk, NOW)
        (upload.folder / "media.csv").write_bytes(MEDIA)
        upload.shown(NOW)
        return f"/api/v1/sheets/{upload.name}/{part}"

    return begin


def waits() -> object:
    return len(list(waiting._root().rglob("*.csv")))


def forget() -> object:
    return [path.unlink() for path in waiting._root().rglob("note.json")]


WRITES = [
    Write(
        "api-sheets-stored", an_upload("stored"), lambda: Media.objects.filter(name="pleat").exists(), True,
        spoil=forget, shut=Who.TECHNICIAN, answer=lambda told: told["stored"],
    ),
    Write("api-sheets-aside", an_upload("aside"), waits, 0, spoil=forget, shut=Who.TECHNICIAN),
]  # fmt: skip


def test_sheets_are_shown_first_and_then_stored_as_shown(record: Record) -> None:
    ask, name = program_of(record.manager), {"Idempotency-Key": "one"}
    shown = send(ask, ("media.csv", MEDIA), ("notes.txt", b"x"), **name)
    assert shown.status_code == 201, shown.content
    told = shown.json()
    assert told["counts"] == [
        {"sheet": "media.csv", "read": 1, "new": 1, "changed": 0, "same": 0, "refused": 0}
    ]
    assert (told["stored"], told["faults"], "notes.txt" in told["remarks"][0]) == (False, [], True)
    assert not Media.objects.filter(name="pleat").exists()
    again = send(ask, ("media.csv", MEDIA), ("notes.txt", b"x"), **name)
    assert (again.json(), again["Idempotent-Replay"]) == (told, "true")
    assert send(ask, ("media.csv", ODD), ("notes.txt", b"x"), **name).status_code == 422
    stored = ask.post(f"/api/v1/sheets/{told['upload']}/stored", {})
    assert (stored.status_code, stored.json()["stored"]) == (200, True)
    assert Media.objects.filter(name="pleat").exists()
    twice = ask.post(f"/api/v1/sheets/{told['upload']}/stored", {})
    assert (twice.status_code, "in the record already" in twice.json()["detail"]) == (409, True)


def test_faults_stand_beside_their_rows_and_good_rows_are_stored_alone_on_request(record: Record) -> None:
    ask = program_of(record.manager)
    told = send(ask, ("media.csv", ODD)).json()
    (fault,) = told["faults"]
    assert (fault["sheet"], fault["line"], fault["column"], fault["value"]) == ("media.csv", 2, "merv", "99")
    address = f"/api/v1/sheets/{told['upload']}/stored"
    refused = ask.post(address, {})
    assert (refused.status_code, refused.json()["faults"][0]["at"]) == (422, "media.csv/2/merv")
    assert not Media.objects.filter(name="pleat").exists()
    assert ask.post(address, {"keep_good": True}).json()["stored"]
    assert list(Media.objects.filter(name__in=["pleat", "felt"]).values_list("name", flat=True)) == ["pleat"]


def test_what_would_do_something_else_by_now_is_shown_anew(record: Record) -> None:
    ask = program_of(record.manager)
    told = send(ask, ("media.csv", MEDIA)).json()
    MediaFactory(name="pleat", nominal_size="16x25x1", merv=11)
    answer = ask.post(f"/api/v1/sheets/{told['upload']}/stored", {})
    assert answer.status_code == 409
    (cell,) = answer.json()["preview"]["differences"]
    assert (cell["column"], cell["before"], cell["after"]) == ("merv", "11", "8")
    assert ask.post(f"/api/v1/sheets/{told['upload']}/stored", {}).json()["stored"]


def test_no_sheet_somebody_elses_and_too_much_at_once_are_refused(record: Record) -> None:
    ask = program_of(record.manager)
    none = send(ask, ("notes.txt", b"x"))
    assert (none.status_code, none.json()["faults"][0]["at"]) == (422, "body/sheets")
    assert record.technician.user is not None
    assert send(program_of(record.technician.user), ("media.csv", MEDIA)).status_code == 403
    other = waiting.begin(record.homeowner.pk, NOW)
    assert ask.post(f"/api/v1/sheets/{other.name}/stored", {}).status_code == 409
    large = ask.post("/api/v1/calls", {"key": "x" * 2_600_000, "reached": True})
    assert (large.status_code, large["Content-Type"]) == (413, "application/problem+json")


def test_sheets_go_out_one_by_one_and_all_together(record: Record) -> None:
    ask = program_of(record.manager)
    MediaFactory(name="pleat", nominal_size="16x25x1", merv=8)
    sheet = ask.get("/api/v1/sheets/media.csv")
    text = sheet.getvalue().decode()
    assert text.startswith("media,nominal_size,merv")
    assert "pleat,16x25x1,8" in text
    with zipfile.ZipFile(io.BytesIO(ask.get("/api/v1/sheets.zip").getvalue())) as archive:
        assert archive.read("media.csv").decode() == text
    assert ask.get("/api/v1/sheets/air.csv").status_code == 404
    assert ask.get("/api/v1/sheets/secrets.csv").status_code == 404
