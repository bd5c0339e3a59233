"""The command: its exit status, its list of faults, and output that any terminal takes."""

import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from equipment.models import Media
from tests.drills.conftest import Elsewhere, elsewhere  # noqa: F401

GOOD = "media,nominal_size,merv\npleat,16x25x1,8\n"


def test_good_sheets_are_stored_and_counted(
    db: None, tmp_path: Path, sheet: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    sheet("media.csv", GOOD)
    call_command("import_sheets", str(tmp_path))
    assert "media.csv: 1 row read, 1 new or changed" in capsys.readouterr().out


def test_a_fault_ends_with_an_error_and_stores_nothing(
    db: None, tmp_path: Path, sheet: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    sheet("media.csv", GOOD + "odd,0x25x1,99\n")
    with pytest.raises(CommandError, match="2 faults; nothing was stored"):
        call_command("import_sheets", str(tmp_path))
    said = capsys.readouterr().out
    assert "media.csv line 3, nominal_size “0x25x1”" in said
    assert "media.csv line 3, merv “99”" in said
    assert not Media.objects.exists()


def test_keep_good_stores_the_rest_and_still_lists_the_faults(
    db: None, tmp_path: Path, sheet: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    sheet("media.csv", GOOD + "odd,0x25x1,99\n")
    call_command("import_sheets", str(tmp_path), "--keep-good")
    assert "media.csv line 3, merv “99”" in capsys.readouterr().out
    assert [row.name for row in Media.objects.all()] == ["pleat"]


@pytest.mark.parametrize("name", ["absent", "empty"])
def test_a_directory_that_is_not_there_or_holds_nothing(db: None, tmp_path: Path, name: str) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(CommandError):
        call_command("import_sheets", str(tmp_path / name))


@pytest.mark.once
def test_the_shell_sees_the_status_and_bytes_that_are_no_utf_8(
    elsewhere: Elsewhere,  # noqa: F811
    tmp_path: Path,
) -> None:
    (tmp_path / "media.csv").write_bytes(GOOD.encode() + "plié,16x25x1,8\n".encode("latin-1"))
    elsewhere.hand_over()
    command = (str(settings.BASE_DIR / "manage.py"), "import_sheets", str(tmp_path))
    importing = elsewhere.start(*command, errors=subprocess.STDOUT)
    said, _ = importing.communicate(timeout=60)
    assert importing.returncode == 1
    assert "media.csv line 3, media “pli\\udce9”: is not UTF-8" in said
    assert "Traceback" not in said
