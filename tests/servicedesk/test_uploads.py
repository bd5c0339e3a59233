"""Sheets through the browser, as a manager brings them: shown first, stored or refused whole."""

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse as url

from equipment.models import Media
from tests.markup import tight

pytestmark = pytest.mark.django_db


def upload(manager: Client, name: str, text: str) -> tuple[int, str]:
    file = SimpleUploadedFile(name, text.encode(), content_type="text/csv")
    answer = manager.post(url("sheets"), {"sheets": [file]}, follow=True)
    return answer.status_code, answer.text


def store(manager: Client, preview: str) -> str:
    """Press the first button of the preview."""
    names = re.findall(r'<input type="hidden" name="(upload|keep_good)" value="([^"]+)">', preview)
    return manager.post(url("sheets"), dict(names) | {"press": "store"}, follow=True).text


def test_good_sheets_are_shown_then_stored_and_counted(manager: Client) -> None:
    status, text = upload(manager, "media.csv", "media,nominal_size,merv\nplain,16x25x1,8\ndeep,20x25x4,13\n")
    assert status == 200
    assert "nothing is stored yet" in text
    assert not Media.objects.exists()
    assert "The sheets are in the record" in store(manager, text)
    assert set(Media.objects.values_list("name", "merv")) == {("plain", 8), ("deep", 13)}


def test_every_fault_is_in_the_table_and_nothing_is_stored(manager: Client) -> None:
    status, text = upload(
        manager, "media.csv", "media,nominal_size,merv\nplain,16x25x1,8\nodd,sixteen,8\nbold,16x25x1,<b>\n"
    )
    assert status == 200
    assert "2 faults; nothing was stored" in text
    cells = r'<td>media.csv</td><td class="number">(\d+)</td><td>(\w+)</td><td>([^<]*)</td>'
    lines = re.findall(cells, tight(text))
    assert lines == [("3", "nominal_size", "sixteen"), ("4", "merv", "&lt;b&gt;")]
    assert not Media.objects.exists()


def test_the_good_rows_are_kept_where_that_is_asked_for(manager: Client) -> None:
    sheet = "media,nominal_size,merv\nplain,16x25x1,8\nodd,sixteen,8\n"
    _status, text = upload(manager, "media.csv", sheet)
    text = store(manager, text)
    assert Media.objects.get().name == "plain"
    assert "sixteen" in text


def test_a_file_that_is_no_sheet_is_refused_in_plain_words(manager: Client) -> None:
    status, text = upload(manager, "notes.csv", "a,b\n1,2\n")
    assert status == 422
    assert "name says which it is, such as installed.csv" in text


# Letters
