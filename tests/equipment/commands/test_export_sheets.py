"""The command: where it writes, what it says, and why it could not."""

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from tests.factories import RuntimeDayFactory


def test_a_folder_is_made_and_every_sheet_is_told(
    db: None, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    RuntimeDayFactory(system__name="up")
    call_command("export_sheets", str(tmp_path / "a" / "b"))
    assert "media.csv: 0 rows" in capsys.readouterr().out
    assert (tmp_path / "a" / "b" / "runtime.csv").read_text().startswith("system,date,fan_hours")


def test_where_nothing_can_be_written_it_says_so(db: None, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("export_sheets", str(tmp_path / "file"))
