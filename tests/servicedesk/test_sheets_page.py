"""The sheets' page: what would change is shown first, then stored once, or put aside."""

import io
import re
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
import time_machine
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pytest_django.fixtures import Settings

from equipment.models import Media, User
from equipment.sheets import uploads, waiting
from equipment.sheets.importer import SHEETS
from tests.equipment.sheets.record import exported
from tests.factories import NOW, FilterSlotFactory, MediaFactory, UserFactory
from tests.markup import tight

HEADER = b"media,nominal_size,merv\n"
MEDIA = HEADER + b"pleat,16x25x1,8\n"


@pytest.fixture(autouse=True)
def standing_clock(settings: Settings, tmp_path: Path) -> Iterator[time_machine.Traveller]:
    settings.VAR_DIR = tmp_path / "var"
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def kept(tmp_path: Path) -> list[str]:
    """The sheets that wait on the disk."""
    return sorted(path.name for path in (tmp_path / "var").rglob("*.csv"))


def send(client: Client, *files: tuple[str, bytes]) -> tuple[int, str]:
    uploads = [SimpleUploadedFile(name, content) for name, content in files]
    answer = client.post(reverse("sheets"), {"sheets": uploads}, follow=True)
    return answer.status_code, answer.text


def press(client: Client, text: str, button: str = "store") -> tuple[int, str]:
    """Press a button of the preview."""
    assert f'name="press" value="{button}"' in text
    fields = dict(re.findall(r'<input type="hidden" name="(upload|keep_good)" value="([^"]+)">', text))
    answer = client.post(reverse("sheets"), fields | {"press": button}, follow=True)
    return answer.status_code, answer.text


def counts(text: str) -> list[tuple[str, ...]]:
    """Sheet, rows, new, changed, the same, refused."""
    number = r'<td class="number">(\d+)</td>'
    return re.findall(rf"<td>(\w+\.csv)</td>{number * 5}", tight(text))


def changes(text: str) -> list[tuple[str, ...]]:
    """Sheet, line, column, before, after."""
    found = tight(text).partition('data-name="changes"')[2]
    cell = r"<td>([^<]*)</td>"
    return re.findall(rf'{cell}<td class="number">(\d+)</td>{cell * 3}', found)


# What is shown


def test_rows_are_counted_as_new_changed_and_on_record_already(manager: Client) -> None:
    for name, merv in (("same", 8), ("other", 8)):
        MediaFactory(name=name, merv=merv)
    text = send(manager, ("media.csv", MEDIA + b"same,16x25x1,8\nother,16x25x1,11\nodd,16x25x1,99\n"))[1]
    assert counts(text) == [("media.csv", "4", "1", "1", "1", "1")]
    assert changes(text) == [("media.csv", "4", "merv", "8", "11")]
    assert set(Media.objects.values_list("name", "merv")) == {("same", 8), ("other", 8)}


def test_the_first_hundred_changes_are_shown_and_that_there_are_more(manager: Client) -> None:
    for number in range(101):
        MediaFactory(name=f"m{number:03}", merv=8)
    rows = [f"m{number:03},16x25x1,11\n".encode() for number in range(101)]
    text = send(manager, ("media.csv", HEADER + b"".join(rows)))[1]
    assert len(changes(text)) == 100
    assert "The first 100 changes are listed; there are more." in text
    text = send(manager, ("media.csv", HEADER + b"".join(rows[:100])))[1]
    assert len(changes(text)) == 100
    assert "there are more" not in text


def test_what_says_nothing_new_has_no_button_and_is_not_kept(manager: Client, tmp_path: Path) -> None:
    MediaFactory(name="pleat", merv=8)
    status, text = send(manager, ("media.csv", MEDIA))
    assert status == 200
    assert "All of this is on record already" in text
    assert 'name="press"' not in text
    assert kept(tmp_path) == []


def test_the_number_of_queries_does_not_grow_with_the_rows(manager: Client) -> None:
    def asked(rows: int) -> int:
        content = HEADER + b"".join(f"new{number},16x25x1,8\n".encode() for number in range(rows))
        with CaptureQueriesContext(connection) as queries:
            send(manager, ("media.csv", content))
        return len([query for query in queries if query["sql"].startswith("SELECT")])

    asked(1)
    assert asked(2) == asked(30)


def test_a_get_asks_the_same_few_questions(manager: Client) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert manager.get(reverse("sheets")).status_code == 200
        return len(queries)

    asked()
    few = asked()
    for number in range(10):
        FilterSlotFactory(name=f"s{number}")
    assert asked() == few


# Storing


def test_what_was_shown_is_stored_once(manager: Client, tmp_path: Path) -> None:
    _, preview = send(manager, ("media.csv", MEDIA))
    assert kept(tmp_path) == ["media.csv"]
    assert not Media.objects.exists()
    status, text = press(manager, preview)
    assert status == 200
    assert "The sheets are in the record" in text
    assert Media.objects.get().name == "pleat"
    assert kept(tmp_path) == []
    Media.objects.all().delete()
    status, text = press(manager, preview)
    assert status == 409
    assert "nothing was stored twice" in text
    assert not Media.objects.exists()


def test_what_was_put_aside_is_gone(manager: Client, tmp_path: Path) -> None:
    _, preview = send(manager, ("media.csv", MEDIA))
    status, text = press(manager, preview, "aside")
    assert status == 200
    assert "put aside; nothing of them was stored" in text
    assert kept(tmp_path) == []
    assert press(manager, preview)[0] == 409
    assert not Media.objects.exists()


def test_others_can_be_sent_from_every_page_of_it(manager: Client) -> None:
    _, preview = send(manager, ("media.csv", MEDIA))
    for text in (preview, press(manager, preview)[1]):
        assert 'enctype="multipart/form-data"' in text
        assert "action=" not in text.partition("<main")[2].partition("</main>")[0]


def test_where_the_record_changed_meanwhile_the_new_preview_is_shown(manager: Client) -> None:
    MediaFactory(name="pleat", merv=7)
    _, preview = send(manager, ("media.csv", MEDIA))
    assert changes(preview) == [("media.csv", "2", "merv", "7", "8")]
    Media.objects.update(merv=6)
    _, text = press(manager, preview)
    assert "The record has changed since you looked" in text
    assert changes(text) == [("media.csv", "2", "merv", "6", "8")]
    assert Media.objects.get().merv == 6
    assert press(manager, text)[0] == 200
    assert Media.objects.get().merv == 8


def test_where_the_record_says_it_all_meanwhile_there_is_nothing_to_store(
    manager: Client, tmp_path: Path
) -> None:
    _, preview = send(manager, ("media.csv", MEDIA))
    MediaFactory(name="pleat", merv=8)
    _, text = press(manager, preview)
    assert "All of this is on record already" in text
    assert kept(tmp_path) == []


def test_after_an_hour_it_is_gone(
    manager: Client, standing_clock: time_machine.Traveller, tmp_path: Path
) -> None:
    _, preview = send(manager, ("media.csv", MEDIA))
    standing_clock.shift(timedelta(minutes=59))
    assert waiting.sweep(NOW + timedelta(minutes=59)) == 0
    standing_clock.shift(timedelta(minutes=2))
    status, text = press(manager, preview)
    assert status == 409
    assert "wait no longer" in text
    assert waiting.sweep(NOW + timedelta(minutes=61)) == 1
    assert list((tmp_path / "var" / "uploads").iterdir()) == []


def test_another_manager_cannot_store_it(manager: Client) -> None:
    _, preview = send(manager, ("media.csv", MEDIA))
    other = Client()
    user = UserFactory(username="other", role=User.Role.MANAGER)
    other.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    for button in ("store", "aside"):
        assert press(other, preview, button)[0] == 409
    assert press(manager, preview)[0] == 200


@pytest.mark.parametrize("name", ["", "../../etc", "x" * 32, "a/b", "\0"])
def test_a_name_that_nobody_was_given_finds_nothing(manager: Client, name: str) -> None:
    answer = manager.post(reverse("sheets"), {"upload": name, "press": "store"})
    assert answer.status_code == 409


def test_good_rows_kept_beside_faults_are_not_called_all(manager: Client) -> None:
    status, preview = send(manager, ("media.csv", MEDIA + b"bad,16x25x1,99\n"))
    assert status == 200
    assert "1 fault; nothing was stored" in preview
    assert "Store the good rows, leave the faulty out" in preview
    status, text = press(manager, preview)
    assert status == 200
    assert "The good rows are in the record; 1 fault was left out" in text
    assert Media.objects.get().name == "pleat"


def test_a_fault_is_not_stored_over_without_being_asked(manager: Client) -> None:
    _, preview = send(manager, ("media.csv", MEDIA + b"bad,16x25x1,99\n"))
    _, text = press(manager, preview.replace('name="keep_good"', 'name="none"'))
    assert "1 fault; nothing was stored" in text
    assert "The record has changed" not in text
    assert not Media.objects.exists()


def test_every_press_goes_on_to_a_page_that_is_loaded_anew_at_will(manager: Client, tmp_path: Path) -> None:
    def goes_on(fields: dict[str, object]) -> str:
        answer = manager.post(reverse("sheets"), fields)
        assert answer.status_code == 302
        there = str(answer["Location"])
        assert re.fullmatch(r"/sheets/\?upload=[\w-]{32}", there)
        return there

    def read(there: str) -> str:
        texts = [manager.get(there).text.partition("<main")[2] for _ in range(3)]
        return re.sub(r'name="csrfmiddlewaretoken" value="\w+"', "", texts[-1])

    there = goes_on({"sheets": [SimpleUploadedFile("media.csv", MEDIA + b"bad,16x25x1,99\n")]})
    assert "1 fault; nothing was stored" in read(there)
    assert (kept(tmp_path), Media.objects.count()) == (["media.csv"], 0)
    upload = there.partition("=")[2]
    assert goes_on({"upload": upload, "press": "store", "keep_good": "1"}) == there
    assert "The good rows are in the record; 1 fault was left out" in read(there)
    Media.objects.all().delete()
    read(there)
    assert (kept(tmp_path), Media.objects.count()) == ([], 0)
    again = goes_on({"sheets": [SimpleUploadedFile("media.csv", MEDIA)]})
    assert goes_on({"upload": again.partition("=")[2], "press": "aside"}) == again
    assert "put aside; nothing of them was stored" in read(again)


def test_the_page_of_an_upload_is_for_its_owner_and_an_hour(
    manager: Client, standing_clock: time_machine.Traveller
) -> None:
    files = {"sheets": [SimpleUploadedFile("media.csv", MEDIA)]}
    there = manager.post(reverse("sheets"), files)["Location"]
    other = Client()
    other.force_login(UserFactory(username="other", role=User.Role.MANAGER))
    assert other.get(there).status_code == 410
    assert "pleat" not in other.get(there).text
    assert manager.get("/sheets/?upload=../../etc").status_code == 410
    standing_clock.shift(timedelta(minutes=61))
    assert "wait no longer" in manager.get(there).text


# Which files are read


def test_a_file_that_is_no_sheet_is_named_beside_those_read(manager: Client) -> None:
    status, text = send(manager, ("media.csv", MEDIA), ("prices.csv", b"a,b\n"), ("<b>.xlsx", b"PK"))
    assert status == 200
    assert "prices.csv: not a sheet known here, left unread" in text
    assert "&lt;b&gt;.xlsx: not a sheet known here, left unread" in text
    press(manager, text)
    assert Media.objects.count() == 1


def test_files_that_are_all_no_sheets_are_named(manager: Client, tmp_path: Path) -> None:
    status, text = send(manager, ("homes.csv", MEDIA))
    assert status == 422
    assert "Choose at least one sheet" in text
    assert "homes.csv: not a sheet known here, left unread" in text
    assert list((tmp_path / "var" / "uploads").iterdir()) == []


def test_a_sheet_that_is_too_large_is_said_so(manager: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "LARGEST_BYTES", 20)
    status, text = send(manager, ("media.csv", MEDIA))
    assert status == 422
    assert "media.csv: larger than" in text


def test_a_sheet_sent_twice_is_said_so(manager: Client) -> None:
    _, text = send(manager, ("media.csv", MEDIA), ("MEDIA.CSV", MEDIA.replace(b"pleat", b"other")))
    assert "MEDIA.CSV: sent twice, only the last was read" in text
    press(manager, text)
    assert Media.objects.get().name == "other"


def test_a_name_in_capitals_is_the_same_sheet(manager: Client) -> None:
    status, text = send(manager, ("Media.CSV", MEDIA))
    assert status == 200
    assert press(manager, text)[0] == 200
    assert Media.objects.exists()


# Everything out


def everything(client: Client) -> bytes:
    answer = client.get(reverse("sheets-zip"))
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/zip")
    assert answer["Cache-Control"] == "no-store"
    assert answer["Content-Disposition"] == 'attachment; filename="sheets-2026-05-12.zip"'
    return b"".join(answer.streaming_content)


def test_everything_is_the_exported_sheets_in_one_file(manager: Client, tmp_path: Path) -> None:
    FilterSlotFactory(name="=hall")
    content = everything(manager)
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.testzip() is None
        assert archive.namelist() == [name for name, _, _ in SHEETS if name != "air.csv"]
        assert {name: archive.read(name) for name in archive.namelist()} == exported(tmp_path / "out")
    assert everything(manager) == content


def test_everything_comes_in_pieces(manager: Client) -> None:
    for number in range(1200):
        MediaFactory(name=f"m{number}")
    assert len(list(manager.get(reverse("sheets-zip")).streaming_content)) > len(SHEETS)


def test_everything_sent_in_again_is_nothing_new(manager: Client) -> None:
    FilterSlotFactory(name="home-hall", first_media=MediaFactory(name="-pleat"))
    with zipfile.ZipFile(io.BytesIO(everything(manager))) as archive:
        files = [(name, archive.read(name)) for name in archive.namelist()]
    first = send(manager, *files)[1]
    press(manager, first)
    assert "All of this is on record already" in send(manager, *files)[1]


def test_the_page_offers_it(manager: Client) -> None:
    assert f'href="{reverse("sheets-zip")}"' in manager.get(reverse("sheets")).text
