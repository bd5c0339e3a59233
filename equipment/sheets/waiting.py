"""Uploaded sheets that wait on the disk, for an hour, to be stored or put aside by whoever sent them."""

import fcntl
import json
import re
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.utils.translation import gettext as _

from equipment.sheets.faults import Report
from equipment.sheets.importer import import_sheets, preview_sheets
from shared.files import replacing

KEPT_FOR = timedelta(hours=1)
_NAME = re.compile(r"[A-Za-z0-9_-]{32}")
_NOTE, _LOCK = "note.json", "lock"


class NotWaiting(LookupError):
    """The upload cannot be stored any more; the message says why in plain words."""


@dataclass(frozen=True)
class Upload:
    """One upload: its random name, and the folder that its sheets are in while it waits."""

    name: str
    folder: Path

    def shown(self, now: datetime) -> Report:
        """What storing it would do, with nothing stored; it is held to that. Raises NoSheets."""
        report = preview_sheets(self.folder, now)
        self._note(mark=report.mark())
        return report

    def forget(self) -> None:
        """Take it off the disk."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def _forgotten_if_over(self, now: datetime) -> bool:
        with self._alone():
            over = self._over(now)
            if over:
                self.forget()
        return over

    def _over(self, now: datetime) -> bool:
        at = self._noted().get("at")
        # Without a note it is only just begun, or was broken off then.
        since = datetime.fromisoformat(at) if at else datetime.fromtimestamp(self.folder.stat().st_mtime, UTC)
        return now - since > KEPT_FOR

    def store(self, now: datetime, *, keep_good: bool) -> Report:
        """Store it if it does what was shown; else nothing is stored, and the report says what it would do.

        All or nothing, also where the process dies; then it still waits. Raises NotWaiting where it is being
        stored at this moment or was.
        """
        with self._alone():
            noted = self._noted()
            _refuse_ended(noted)
            mark = noted["mark"]
            report = import_sheets(
                self.folder, now, keep_good=keep_good, agreed=lambda report: report.mark() == mark
            )
            if report.stored:
                self._end("stored")
            else:
                self._note(mark=report.mark())
        return report

    def nothing_to_store(self) -> None:
        """The record says all of it already: its sheets go off the disk."""
        with self._alone():
            self._end("known")

    def keep_told(self, told: dict[str, Any]) -> None:
        """Keep what its page shows, plain values, for as long as it waits or could be asked about."""
        self._note(told=told)

    def put_aside(self) -> None:
        """Take its sheets off the disk. Raises NotWaiting where it is being stored at this moment or was."""
        with self._alone():
            _refuse_ended(self._noted())
            self._end("aside")

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """One press at a time; a process that dies lets go."""
        try:
            lock = (self.folder / _LOCK).open("w")
        except FileNotFoundError:
            raise _gone() from None
        with lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                raise NotWaiting(_("These sheets are being stored at this moment.")) from None
            yield

    def _end(self, how: str) -> None:
        """The note stays for the hour, to say what became of it; what was sent does not."""
        self._note(ended=how)
        for sheet in self.folder.glob("*.csv"):
            sheet.unlink()

    def _noted(self) -> dict[str, Any]:
        with suppress(OSError, ValueError):
            noted: dict[str, Any] = json.loads((self.folder / _NOTE).read_text())
            return noted
        return {}

    def _note(self, **more: object) -> None:
        with replacing(self.folder / _NOTE) as file:
            json.dump(self._noted() | more, file)


def begin(user: int, now: datetime) -> Upload:
    """An upload of the user without sheets yet; what is older than an hour goes."""
    sweep(now)
    name = secrets.token_urlsafe(24)
    folder = _root() / name
    folder.mkdir(parents=True, mode=0o700)
    upload = Upload(name, folder)
    upload._note(user=user, at=now.isoformat())
    return upload


def find(name: str, user: int, now: datetime) -> Upload:
    """The user's upload of that name. Raises NotWaiting where there is none, or none any more."""
    upload = Upload(name, _root() / name)
    noted = upload._noted() if _NAME.fullmatch(name) else {}
    if noted.get("user") != user or upload._over(now):
        raise _gone()
    _refuse_ended(noted)
    return upload


def told(name: str, user: int, now: datetime) -> dict[str, Any]:
    """What the page of the user's upload of that name shows, also once it is stored or put aside. Raises
    NotWaiting where there is none, or none any more."""
    upload = Upload(name, _root() / name)
    noted = upload._noted() if _NAME.fullmatch(name) else {}
    if noted.get("user") != user or "told" not in noted or upload._over(now):
        raise _gone()
    shown: dict[str, Any] = noted["told"]
    return shown


def sweep(now: datetime) -> int:
    """Take off the disk what has waited for an hour; how many uploads that were."""
    gone = 0
    for folder in list(_root().glob("*")):
        upload = Upload(folder.name, folder)
        with suppress(NotWaiting):
            gone += upload._forgotten_if_over(now)
    return gone


def _root() -> Path:
    return Path(settings.VAR_DIR) / "uploads"


def _refuse_ended(noted: dict[str, Any]) -> None:
    if noted.get("ended") == "stored":
        raise NotWaiting(_("These sheets are in the record already; nothing was stored twice."))
    if noted.get("ended") == "known":
        raise NotWaiting(_("All of these sheets is on record already; there is nothing to store."))
    if noted.get("ended") == "aside":
        raise NotWaiting(_("These sheets were put aside; nothing of them was stored."))


def _gone() -> NotWaiting:
    return NotWaiting(_("These sheets wait no longer: they are kept for an hour. Send them again."))
