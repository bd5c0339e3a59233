"""The address of map tiles, as a content security policy names their source."""

import pytest

from shared.tiles import tile_source


@pytest.mark.parametrize(
    ("address", "source"),
    [
        ("", ""),
        ("https://tiles.example/{z}/{x}/{y}.png", "https://tiles.example"),
        ("https://{s}.tiles.example/{z}/{x}/{y}.png?key=a", "https://*.tiles.example"),
        ("http://127.0.0.1:8080/{z}/{x}/{y}.webp", "http://127.0.0.1:8080"),
    ],
)
def test_the_source_is_the_server_s(address: str, source: str) -> None:
    assert tile_source(address) == source


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("tiles.example/{z}/{x}/{y}.png", "begins neither with"),
        ("file:///{z}/{x}/{y}.png", "begins neither with"),
        ("https://tiles.example/{z}/{x}.png", "lacks {y}"),
    ],
)
def test_what_is_no_address_of_tiles_is_said(address: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        tile_source(address)
