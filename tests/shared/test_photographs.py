"""What telephones and mischief send: a clean JPEG comes of it, or a plain sentence."""

import struct
import zlib
from io import BytesIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, PngImagePlugin

from shared.photographs import LARGEST_BYTES, NotAPhotograph, TooLarge, clean

pytestmark = pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")

ORIENTATION, MAKE, GPS = 0x0112, 0x010F, 0x8825
RED, BLUE = (200, 30, 30), (30, 30, 200)


def picture(width: int = 400, height: int = 300, mode: str = "RGB") -> Image.Image:
    """Red above, blue below."""
    drawn = Image.new("RGB", (width, height), BLUE)
    drawn.paste(RED, (0, 0, width, height // 2))
    return drawn.convert(mode)


def sent(drawn: Image.Image, kind: str = "JPEG", **options: object) -> bytes:
    out = BytesIO()
    drawn.save(out, kind, **options)
    return out.getvalue()


def with_exif(orientation: int = 1) -> bytes:
    exif = Image.Exif()
    exif[MAKE], exif[ORIENTATION] = "a camera", orientation
    exif[GPS] = {1: "N", 2: (41.0, 52.0, 55.0), 3: "W", 4: (87.0, 37.0, 40.0)}
    return sent(picture(), exif=exif, comment=b"at home", icc_profile=b"not a profile" * 20)


def seen(jpeg: bytes) -> Image.Image:
    back = Image.open(BytesIO(jpeg), formats=["JPEG"])
    back.load()
    return back


def near(pixel: tuple[int, ...], colour: tuple[int, ...]) -> bool:
    return all(abs(one - other) < 25 for one, other in zip(pixel, colour, strict=True))


def test_nothing_is_kept_beside_the_pixels() -> None:
    told = with_exif()
    assert Image.open(BytesIO(told)).getexif().get_ifd(GPS)[1] == "N"
    kept = clean(told)
    back = seen(kept.jpeg)
    assert dict(back.getexif()) == {}
    assert set(back.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
    assert (kept.width, kept.height) == back.size == (400, 300)
    for trace in (b"Exif", b"a camera", b"at home", b"not a profile", b"ICC_PROFILE", b"http://"):
        assert trace not in kept.jpeg


def test_text_and_exif_of_other_formats_go_too() -> None:
    words = PngImagePlugin.PngInfo()
    words.add_text("Author", "somebody")
    exif = Image.Exif()
    exif[MAKE] = "a camera"
    for data in (sent(picture(), "PNG", pnginfo=words, exif=exif), sent(picture(), "WEBP", exif=exif)):
        jpeg = clean(data).jpeg
        assert not dict(seen(jpeg).getexif())
        assert b"somebody" not in jpeg
        assert b"a camera" not in jpeg


@pytest.mark.parametrize(
    ("orientation", "size", "place"), [(1, (400, 300), (200, 20)), (3, (400, 300), (200, 280)),
                                       (6, (300, 400), (280, 200)), (8, (300, 400), (20, 200))]
)  # fmt: skip
def test_it_stands_upright(orientation: int, size: tuple[int, int], place: tuple[int, int]) -> None:
    back = seen(clean(with_exif(orientation)).jpeg)
    assert back.size == size
    assert near(back.getpixel(place), RED)  # type: ignore[arg-type]


def test_a_grey_or_palette_picture_is_turned_too() -> None:
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    for mode in ("P", "CMYK", "L"):
        kind = "PNG" if mode == "P" else "JPEG"
        kept = clean(sent(picture(mode=mode), kind, exif=exif))
        assert (kept.width, kept.height) == (300, 400)


def test_a_large_one_becomes_small_and_a_small_one_stays() -> None:
    kept = clean(sent(picture(4000, 3000)))
    assert (kept.width, kept.height) == (1600, 1200)
    assert clean(sent(picture(40, 64))).width == 40


def test_what_is_transparent_is_white() -> None:
    back = seen(clean(sent(Image.new("RGBA", (64, 64), (0, 0, 0, 0)), "PNG")).jpeg)
    assert near(back.getpixel((30, 30)), (255, 255, 255))  # type: ignore[arg-type]


def test_of_several_frames_the_first() -> None:
    first, second = Image.new("RGB", (64, 64), RED), Image.new("RGB", (64, 64), BLUE)
    for kind in ("WEBP", "PNG"):
        moving = sent(first, kind, save_all=True, append_images=[second])
        assert near(seen(clean(moving).jpeg).getpixel((30, 30)), RED)  # type: ignore[arg-type]


def bomb(side: int) -> bytes:
    """A PNG of a few hundred bytes that declares ``side`` squared pixels."""

    def chunk(name: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    header = struct.pack(">IIBBBBB", side, side, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(b"\0" * 99))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("side", [7_200, 12_000, 60_000])
def test_a_picture_that_unpacks_to_gigabytes_is_not_unpacked(
    side: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    unpacked = []
    monkeypatch.setattr(PngImagePlugin.PngImageFile, "load", lambda _self: unpacked.append(1))
    with pytest.raises(NotAPhotograph):
        clean(bomb(side))
    assert not unpacked


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>", "no photograph"),
        (b"<!doctype html><script>alert(1)</script>", "no photograph"),
        (b"GIF89a" + b"\0" * 40, "no photograph"),
        (b"\0\0\0\x18ftypheic\0\0\0\0", "set its camera to JPEG"),
        (sent(picture(1, 1), "PNG"), "too small"),
        (sent(picture(8, 400), "PNG"), "too small"),
    ],
)
def test_what_is_no_photograph_is_refused_plainly(data: bytes, words: str) -> None:
    with pytest.raises(NotAPhotograph, match=words):
        clean(data)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_half_a_file_is_refused(kind: str) -> None:
    noisy = Image.effect_noise((300, 300), 80).convert("RGB")
    whole = sent(noisy, kind)
    with pytest.raises(NotAPhotograph, match=r"did not arrive whole|no photograph"):
        clean(whole[: len(whole) // 2])


def test_too_many_bytes_are_refused_unread() -> None:
    with pytest.raises(TooLarge, match="12 MB"):
        clean(b"\xff\xd8\xff" + b"\0" * LARGEST_BYTES)


WHOLE = [sent(picture(64, 64), kind) for kind in ("JPEG", "PNG", "WEBP")]


@given(st.binary(max_size=600))
def test_any_bytes_are_refused_in_words(data: bytes) -> None:
    with pytest.raises(NotAPhotograph):
        clean(data)


@settings(max_examples=150)
@given(st.sampled_from(WHOLE), st.data())
def test_a_spoilt_file_is_refused_or_clean(whole: bytes, data: st.DataObject) -> None:
    spoilt = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 8))):
        spoilt[data.draw(st.integers(0, len(spoilt) - 1))] = data.draw(st.integers(0, 255))
    try:
        kept = clean(bytes(spoilt))
    except NotAPhotograph:
        return
    assert seen(kept.jpeg).size == (kept.width, kept.height)
    assert not dict(seen(kept.jpeg).getexif())
