"""The exported sheets as one zip, made while it is sent."""

import csv
import io
from collections.abc import Iterator
from contextlib import closing
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from equipment.sheets.exporter import OutSheet, sheets_out

_ROWS_AT_ONCE = 500
# Of no moment, so that the same record gives the same bytes.
_STAMP = (1980, 1, 1, 0, 0, 0)


class _Sent:
    """What the zip writes to, emptied as it goes."""

    def __init__(self) -> None:
        self._pieces: list[bytes] = []

    def write(self, piece: bytes) -> int:
        """Keep a piece until it is taken."""
        self._pieces.append(bytes(piece))
        return len(piece)

    def flush(self) -> None:
        """Nothing waits here for longer."""

    def take(self) -> bytes:
        """All pieces since the last time."""
        taken, self._pieces = b"".join(self._pieces), []
        return taken


def zipped_sheets() -> Iterator[bytes]:
    """The bytes of the zip, in pieces and bounded memory; the same record gives the same bytes."""
    sent = _Sent()
    archived = ZipFile(sent, "w", ZIP_DEFLATED)  # type: ignore[call-overload]
    with closing(sheets_out()) as sheets, archived as archive:
        for sheet in sheets:
            for _ in _packed(archive, sheet):
                yield sent.take()
    yield sent.take()


def one_sheet(name: str) -> Iterator[str]:
    """The text of the sheet of that name as CSV, in pieces and bounded memory; nothing where it is not sent
    out."""
    with closing(sheets_out()) as sheets:
        for sheet in sheets:
            if sheet.name == name:
                yield from _lines(sheet)
                return


def _lines(sheet: OutSheet) -> Iterator[str]:
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(sheet.header)
    for number, row in enumerate(sheet.rows, 1):
        writer.writerow(row)
        if number % _ROWS_AT_ONCE == 0:
            yield text.getvalue()
            text.seek(0)
            text.truncate()
    yield text.getvalue()


def _packed(archive: ZipFile, sheet: OutSheet) -> Iterator[None]:
    """Pack the sheet, with a pause after every few rows."""
    info = ZipInfo(sheet.name, _STAMP)
    info.compress_type, info.external_attr = ZIP_DEFLATED, 0o644 << 16
    with archive.open(info, "w") as member, io.TextIOWrapper(member, "utf-8", newline="") as text:
        writer = csv.writer(text)
        writer.writerow(sheet.header)
        for number, row in enumerate(sheet.rows, 1):
            writer.writerow(row)
            if number % _ROWS_AT_ONCE == 0:
                yield
    yield
