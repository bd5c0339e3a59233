"""Cells that begin like formulas."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from shared.cells import harmless, unmarked

# What decides is at the beginning; half of the texts are made of it.
LIKELY = st.text(st.sampled_from("'=+-@\t\r\n＝1.e a"), max_size=8)
TEXTS = st.one_of(LIKELY, st.text(max_size=8))


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("＝1+1", "'＝1+1"),
        ("+1 555", "'+1 555"),
        ("-inf", "'-inf"),
        ("-1_0", "'-1_0"),
        ("'=1", "''=1"),
        ("-12.5", "-12.5"),
        ("+1.5e-3", "+1.5e-3"),
        ("'twas", "'twas"),
        ("Elm", "Elm"),
        ("", ""),
    ],
)
def test_what_would_run_does_not_and_numbers_stay(text: str, shown: str) -> None:
    assert harmless(text) == shown


@given(text=TEXTS)
@example(text="'-5")
@example(text="''=x")
def test_every_text_comes_back(text: str) -> None:
    assert unmarked(harmless(text)) == text


@given(text=TEXTS)
def test_nothing_that_is_written_would_run(text: str) -> None:
    cell = harmless(text)
    if cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝")):
        float(cell)


@pytest.mark.parametrize("cell", ["'-5", "'twas", "'", "", "''", "=1", "Elm'"])
def test_an_apostrophe_that_marks_nothing_stays(cell: str) -> None:
    assert unmarked(cell) == cell
