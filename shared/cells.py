"""Cells of sheets that a spreadsheet opens without running them."""

import re

# A cell that begins so is taken for a formula; the wide ones by spreadsheets set to Japanese.
_FORMULA = re.compile(r"'*[=+\-@\t\r\n＝＋－＠]")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_MARK = "'"


def harmless(text: str) -> str:
    """The text with an apostrophe before it where a spreadsheet would run it; numbers stay as they are.

    A text that looks marked already is marked once more, so that ``unmarked`` gives every text back.
    """
    return _MARK + text if _would_run(text) else text


def unmarked(cell: str) -> str:
    """The text that ``harmless`` made the cell from; a cell that it would not have marked stays as it is."""
    return cell[1:] if cell.startswith(_MARK) and _would_run(cell[1:]) else cell


def _would_run(text: str) -> bool:
    return bool(_FORMULA.match(text)) and not _NUMBER.fullmatch(text)
