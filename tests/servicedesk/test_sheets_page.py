"""The sheets' page: which files were read, and which were not."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from equipment.models import Media
from servicedesk.views import sheets

MEDIA = b"media,nominal_size,merv\npleat,16x25x1,8\n"


def send(client: Client, *files: tuple[str, bytes], keep_good: str = "") -> tuple[int, str]:
    uploads = [SimpleUploadedFile(name, content) for name, content in files]
    answer = client.post(reverse("sheets"), {"sheets": uploads, "keep_good": keep_good})
    return answer.status_code, answer.text


def test_a_file_that_is_no_sheet_is_named_beside_those_read(manager: Client) -> None:
    status, text = send(manager, ("media.csv", MEDIA), ("prices.csv", b"a,b\n"), ("<b>.xlsx", b"PK"))
    assert status == 200
    assert "prices.csv: not a sheet known here, left unread" in text
    assert "&lt;b&gt;.xlsx: not a sheet known here, left unread" in text
    assert Media.objects.count() == 1


def test_files_that_are_all_no_sheets_are_named(manager: Client) -> None:
    status, text = send(manager, ("homes.csv", MEDIA))
    assert status == 422
    assert "Choose at least one sheet" in text
    assert "homes.csv: not a sheet known here, left unread" in text


def test_a_sheet_that_is_too_large_is_said_so(manager: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheets, "LARGEST_BYTES", 20)
    status, text = send(manager, ("media.csv", MEDIA))
    assert status == 422
    assert "media.csv: larger than" in text
    assert not Media.objects.exists()


def test_a_sheet_sent_twice_is_said_so(manager: Client) -> None:
    _, text = send(manager, ("media.csv", MEDIA), ("MEDIA.CSV", MEDIA.replace(b"pleat", b"other")))
    assert "MEDIA.CSV: sent twice, only the last was read" in text
    assert Media.objects.get().name == "other"


def test_a_name_in_capitals_is_the_same_sheet(manager: Client) -> None:
    assert send(manager, ("Media.CSV", MEDIA))[0] == 200
    assert Media.objects.exists()


def test_good_rows_kept_beside_faults_are_not_called_all(manager: Client) -> None:
    status, text = send(manager, ("media.csv", MEDIA + b"bad,16x25x1,99\n"), keep_good="1")
    assert status == 200
    assert "The good rows are in the record; 1 fault was left out" in text
