"""Filter sizes as people type them."""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from shared.sizes import NotASize, parse_size, show_size

INCH = 0.0254


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("16x25x1", (16, 25, 1)),
        ("25x16x1", (16, 25, 1)),
        ('16 X 25 x 1"', (16, 25, 1)),
        ('16" x 25" x 1"', (16, 25, 1)),
        ("16 in x 25 in x 1 in", (16, 25, 1)),
        ("16 by 25 by 1 inches", (16, 25, 1)),
        ("16×25×1", (16, 25, 1)),
        ("16*25*1", (16, 25, 1)),
        ("15 1/2 x 24 1/2 x 7/8", (15.5, 24.5, 0.875)),
        ("15-1/2x24-1/2x3/4", (15.5, 24.5, 0.75)),
        ("15.5x24.5x.75", (15.5, 24.5, 0.75)),
        ("406 x 635 x 25 mm", (16, 25, 1)),
        ("40.6x63.5x2.5 cm", (16, 25, 1)),
        ("20x20x1", (20, 20, 1)),
    ],
)
def test_a_size_is_its_short_side_its_long_side_and_its_depth(text: str, inches: tuple[float, ...]) -> None:
    assert parse_size(text).triple == pytest.approx(tuple(side * INCH for side in inches))


def test_a_metric_size_that_is_no_inch_size_stays_metric() -> None:
    size = parse_size("287 x 592 x 48 mm")
    assert size.triple == pytest.approx((0.287, 0.592, 0.048))
    assert size.label == "287x592x48 mm"


@pytest.mark.parametrize(
    "text",
    ["", "16", "16x25", "16x25x1x2", "0x25x1", "16x25x0", "-16x25x1", "1x25x16", "16x250x1", "16x25x0.01",
     "16 x twenty x 1", "16x25x1/0", "nanxnanxnan", "infxinfx1"],
)  # fmt: skip
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(NotASize):
        parse_size(text)


SIDE = st.integers(2, 190).map(lambda halves: halves / 2)


@given(short=SIDE, long=SIDE, depth=st.sampled_from([0.5, 0.75, 1.0]))
def test_width_and_height_may_be_swapped_and_the_label_is_read_back(
    short: float, long: float, depth: float
) -> None:
    one = parse_size(f"{short}x{long}x{depth}")
    assert one == parse_size(f"{long} x {short} x {depth} in")
    assert parse_size(one.label) == one
    assert one.area_m2 == pytest.approx(short * long * INCH**2)


MILLIMETRES = st.floats(20, 1200).map(lambda side: round(side, 2))


@given(short=MILLIMETRES, long=MILLIMETRES, depth=st.floats(4, 20))
@example(short=381.52, long=635, depth=25 / 2)
def test_a_label_in_millimetres_is_read_back(short: float, long: float, depth: float) -> None:
    one = parse_size(f"{short}x{long}x{depth:.2f} mm")
    assert parse_size(one.label) == one


@given(text=st.text(st.sampled_from("0123456789x×./ -\"'inmc,"), max_size=24))
def test_any_text_is_a_size_or_refused(text: str) -> None:
    try:
        size = parse_size(text)
    except NotASize:
        return
    assert 0 < size.depth_m <= size.short_m <= size.long_m <= 2.5


def test_a_size_is_shown_in_the_readers_units() -> None:
    assert show_size(15.5 * INCH, 24.5 * INCH, 0.75 * INCH) == "15.5 × 24.5 × 0.75 in"
    assert show_size(16 * INCH, 25 * INCH, INCH, "si") == "406 × 635 × 25 mm"
