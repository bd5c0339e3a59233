"""A file is there whole, or as it was."""

from pathlib import Path

import pytest

from shared.files import replacing


def test_the_file_is_there_once_the_block_ends(tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    out.write_text("before")
    with replacing(out) as file:
        file.write("né\n")
        file.flush()
        assert out.read_text() == "before"
    assert out.read_bytes() == "né\n".encode()
    assert out.stat().st_mode & 0o777 == 0o644
    assert [path.name for path in tmp_path.iterdir()] == ["out.csv"]


def test_a_block_that_raises_leaves_what_was_there_and_nothing_beside_it(tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    out.write_text("before")
    with pytest.raises(ZeroDivisionError), replacing(out) as file:
        file.write(str(1 / 0))
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("out.csv", "before")]


def test_a_directory_that_is_not_there_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="No such file"), replacing(tmp_path / "absent" / "out.csv"):
        pass
