"""The folder of archives: one a day, thinned out, and left as it is where the disk is full."""

import io
import os
import resource
import signal
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from hypothesis import given
from hypothesis import strategies as st
from pytest_django.fixtures import Settings

from servicedesk.archive.keep import DAYS, MONTHS, WEEKS, archives, keep, kept
from tests.factories import NOW, TODAY, VisitFactory

DATES = st.sets(st.integers(0, 900).map(lambda n: TODAY - timedelta(days=n)), max_size=200)


@given(DATES)
def test_some_of_each_stay_and_the_newest_always(days: set[date]) -> None:
    stay = kept(days)
    assert stay <= days
    assert len(stay) <= DAYS + WEEKS + MONTHS
    assert set(sorted(days)[-DAYS:]) <= stay
    assert kept(stay) == stay


def test_after_two_years_of_days_there_are_seven_days_four_weeks_and_twelve_months() -> None:
    stay: set[date] = set()
    for n in range(730, -1, -1):
        stay = kept(stay | {TODAY - timedelta(days=n)})
    assert {TODAY - timedelta(days=n) for n in range(DAYS)} <= stay
    assert len({(day.year, day.month) for day in stay}) >= MONTHS
    assert DAYS + MONTHS <= len(stay) <= DAYS + WEEKS + MONTHS


@pytest.mark.django_db
def test_todays_is_written_and_what_is_too_old_goes_but_nothing_else(tmp_path: Path) -> None:
    for n in range(1, 40):
        (tmp_path / f"desk-{TODAY - timedelta(days=n)}.zip").write_bytes(b"old")
    for other in ("desk-2020-13-45.zip", "desk-2020-01-01.zip.part", "photographs.zip"):
        (tmp_path / other).write_bytes(b"other")
    path, gone = keep(tmp_path, NOW)
    assert path.stat().st_size > 100
    assert set(archives(tmp_path)) == kept([TODAY - timedelta(days=n) for n in range(40)])
    assert len(gone) == 40 - len(archives(tmp_path))
    assert len(list(tmp_path.iterdir())) == len(archives(tmp_path)) + 3


@pytest.mark.django_db
def test_what_a_killed_writer_left_goes_the_day_after(tmp_path: Path) -> None:
    at_work, left = (tmp_path / f".desk-{TODAY}.zip.{name}.part" for name in ("now", "left"))
    for path, hours in ((at_work, 1), (left, 25)):
        path.write_bytes(b"half")
        os.utime(path, (NOW.timestamp(), (NOW - timedelta(hours=hours)).timestamp()))
    keep(tmp_path, NOW)
    assert (at_work.exists(), left.exists()) == (True, False)


@pytest.mark.django_db
def test_by_command_into_the_folder_of_the_settings(tmp_path: Path, settings: Settings) -> None:
    said = io.StringIO()
    settings.BACKUP_DIR = str(tmp_path)
    call_command("keep_archives", stdout=said)
    assert "1 archives are in" in said.getvalue()
    with pytest.raises(CommandError, match="mounted"):
        call_command("keep_archives", str(tmp_path / "none"))
    settings.BACKUP_DIR = ""
    with pytest.raises(CommandError, match="set BACKUP_DIR"):
        call_command("keep_archives")


@pytest.mark.django_db
def test_a_full_disk_leaves_the_older_ones_and_no_half_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A limit on the size of files stands for the end of the disk: the system refuses the write alike."""
    VisitFactory()
    for n in range(1, 12):
        (tmp_path / f"desk-{TODAY - timedelta(days=n)}.zip").write_bytes(b"old")
    before = sorted(path.name for path in tmp_path.iterdir())
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (1000, usual[1]))
        with pytest.raises(CommandError, match=r"No archive was written .* too large"):
            call_command("keep_archives", str(tmp_path))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)
        signal.signal(signal.SIGXFSZ, ignored)
    assert sorted(path.name for path in tmp_path.iterdir()) == before
