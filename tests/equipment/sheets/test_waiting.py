"""Uploads on the disk: for whom, for how long, and one press at a time."""

from datetime import timedelta
from pathlib import Path

import pytest
from pytest_django.fixtures import Settings

from equipment.models import Media
from equipment.sheets import waiting
from equipment.sheets.waiting import NotWaiting, Upload
from schedules import tasks
from tests.factories import NOW

pytestmark = pytest.mark.django_db
ME, OTHER = 1, 2


@pytest.fixture
def upload(settings: Settings, tmp_path: Path) -> Upload:
    settings.VAR_DIR = tmp_path
    upload = waiting.begin(ME, NOW)
    (upload.folder / "media.csv").write_text("media,nominal_size,merv\npleat,16x25x1,8\n")
    upload.shown(NOW)
    return upload


def test_nobody_else_can_read_the_folder(upload: Upload) -> None:
    assert upload.folder.stat().st_mode & 0o777 == 0o700


def test_it_is_found_by_whoever_sent_it_alone(upload: Upload) -> None:
    assert waiting.find(upload.name, ME, NOW) == upload
    with pytest.raises(NotWaiting, match="wait no longer"):
        waiting.find(upload.name, OTHER, NOW)


def test_a_second_press_while_the_first_is_at_work_is_refused(upload: Upload) -> None:
    with upload._alone(), pytest.raises(NotWaiting, match="at this moment"):
        upload.store(NOW, keep_good=False)
    assert not Media.objects.exists()
    assert upload.store(NOW, keep_good=False).stored


def test_what_was_found_before_it_was_stored_is_not_stored_again(upload: Upload) -> None:
    late = waiting.find(upload.name, ME, NOW)
    upload.store(NOW, keep_good=False)
    for press in (lambda: late.store(NOW, keep_good=False), late.put_aside):
        with pytest.raises(NotWaiting, match="nothing was stored twice"):
            press()


def test_what_is_gone_from_the_disk_waits_no_longer(upload: Upload) -> None:
    upload.forget()
    with pytest.raises(NotWaiting, match="wait no longer"):
        upload.store(NOW, keep_good=False)


def test_nothing_that_was_sent_stays_once_it_was_stored(upload: Upload) -> None:
    upload.store(NOW, keep_good=False)
    assert "pleat" not in "".join(path.read_text() for path in upload.folder.iterdir())


def test_a_sweep_takes_what_is_over_an_hour_old_and_nothing_at_work(upload: Upload) -> None:
    later = NOW + timedelta(minutes=61)
    young = waiting.begin(ME, NOW + timedelta(minutes=30))
    with upload._alone():
        assert waiting.sweep(later) == 0
    assert waiting.sweep(later) == 1
    assert not upload.folder.exists()
    assert young.folder.exists()


def test_a_folder_without_a_note_goes_by_its_own_age(upload: Upload, tmp_path: Path) -> None:
    (tmp_path / "uploads" / "broken-off").mkdir()
    assert waiting.sweep(NOW) == 0
    assert waiting.sweep(NOW + timedelta(days=36500)) == 2


def test_the_clock_sweeps(upload: Upload) -> None:
    with_note = upload.folder / "note.json"
    with_note.write_text('{"user": 1, "at": "2020-01-01T00:00:00+00:00"}')
    assert tasks.forget_uploads() == 1
