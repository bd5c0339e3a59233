"""Files that others may read at any time."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TextIO


@contextmanager
def replacing(path: Path) -> Iterator[TextIO]:
    """A UTF-8 text file that takes the place of ``path`` whole, once the block ends well.

    Line ends are written as given. Where the block raises, ``path`` stays as it was and nothing is
    left beside it. Raises OSError where the directory or ``path`` cannot be written.
    """
    handle, half = tempfile.mkstemp(dir=path.absolute().parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "w", newline="", encoding="utf-8") as file:
            yield file
        Path(half).chmod(0o644)
        Path(half).replace(path)
    except BaseException:
        Path(half).unlink(missing_ok=True)
        raise
