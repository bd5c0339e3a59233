"""Cells that begin like formulas."""

import pytest

from shared.cells import harmless


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("+1 555", "'+1 555"),
        ("-12.5", "-12.5"),
        ("Elm", "Elm"),
        ("", ""),
    ],
)
def test_what_would_run_does_not_and_numbers_stay(text: str, shown: str) -> None:
    assert harmless(text) == shown
