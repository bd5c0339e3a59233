"""Cells of sheets that a spreadsheet opens without running them."""

# A cell that begins so is taken for a formula.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def harmless(text: str) -> str:
    """The text with an apostrophe before it where a spreadsheet would run it; numbers stay as they are."""
    if not text.startswith(_FORMULA):
        return text
    try:
        float(text)
    except ValueError:
        return f"'{text}"
    return text
