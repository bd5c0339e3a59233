"""The palette's contrast, from the stylesheet itself, by WCAG 2's formula of relative luminance."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STYLES = (ROOT / "servicedesk/static/servicedesk/desk.css").read_text(encoding="utf-8")
NOTE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
LIGHT, DARK = (
    dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block))
    for block in re.findall(r":root \{(.*?)\}", STYLES, re.DOTALL)[:2]
)
READ = ("ink", "faint", "action", "fluid", "good")


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_black_on_white_is_twenty_one_and_the_least_grey_four_and_a_half() -> None:
    """The ends of the scale, and #767676, which WCAG's own technique G18 names as just enough on white."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_what_is_read_stands_out(scheme: dict[str, str]) -> None:
    for name in READ:
        assert contrast(scheme[name], scheme["paper"]) >= 4.5, name
        assert contrast(scheme[name], scheme["sheet"]) >= 4.5, name
    assert contrast(scheme["on-action"], scheme["action"]) >= 4.5
    assert contrast(scheme["ink"], scheme["band"]) >= 4.5


@pytest.mark.parametrize("name", READ)
def test_the_note_tells_the_figures_of_the_stylesheet(name: str) -> None:
    row = re.search(rf"^\| `--{name}` \|[^|]*\|(.*)\|$", NOTE, re.MULTILINE)
    assert row
    cells = [cell.strip() for cell in row[1].split("|")]
    for scheme, (colour, *figures) in ((LIGHT, cells[:3]), (DARK, cells[3:])):
        assert colour == scheme[name]
        told = [f"{contrast(colour, scheme[under]):.1f}" for under in ("paper", "sheet")]
        assert figures == told
