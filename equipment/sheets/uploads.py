"""Sheets as they are sent: which of the files are kept for an upload, and why others are left unread."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any, TypeAlias

from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext as _

from equipment.sheets.faults import printable
from equipment.sheets.importer import SHEETS

Sent: TypeAlias = "UploadedFile[Any]"
LARGEST_BYTES = 200_000_000
KNOWN = {name for name, _columns, _load in SHEETS}


def keep(files: Iterable[Sent], folder: Path) -> list[str]:
    """Put the sheets into ``folder``; which files are left unread, and why."""
    seen, said = set[str](), list[str]()
    for file in files:
        name = Path(file.name or "").name.lower()
        if why := _unread(file, name, seen):
            said.append(why)
        seen.add(name)
        if name in KNOWN and (file.size or 0) <= LARGEST_BYTES:
            with (folder / name).open("wb") as out:
                out.writelines(file.chunks())
    return said


def _unread(file: Sent, name: str, seen: set[str]) -> str:
    shown = printable(file.name or "?")
    if name not in KNOWN:
        return _("%(name)s: not a sheet known here, left unread") % {"name": shown}
    if (file.size or 0) > LARGEST_BYTES:
        said = {"name": shown, "size": LARGEST_BYTES // 1_000_000}
        return _("%(name)s: larger than %(size)d MB, left unread; use the command") % said
    return _("%(name)s: sent twice, only the last was read") % {"name": shown} if name in seen else ""
