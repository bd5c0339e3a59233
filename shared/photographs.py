"""Photographs as telephones send them become plain JPEGs: upright, of a modest size, without metadata."""

from dataclasses import dataclass
from io import BytesIO
from threading import Lock

from PIL import Image, ImageOps

LARGEST_BYTES = 12_000_000
MOST_PIXELS = 50_000_000
LONGEST_SIDE = 1600
# Own bound: no filter can be seen in less.
SHORTEST_SIDE = 32
QUALITY = 80
# Unpacked, the largest take most of a gigabyte: one at a time in a process.
_UNPACKING = Lock()
_FORMATS = ("JPEG", "PNG", "WEBP")
_NEW_FORMAT_BRANDS = {b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif"}


class NotAPhotograph(ValueError):
    """What was sent cannot be kept as a photograph; the message says why, and what to do, in plain words."""


class TooLarge(NotAPhotograph):
    """It has more bytes than are taken."""


@dataclass(frozen=True)
class Photograph:
    """A baseline RGB JPEG and its sides in pixels."""

    jpeg: bytes
    width: int
    height: int


def clean(data: bytes) -> Photograph:
    """The picture in ``data`` (JPEG, PNG or WebP; of several frames the first) turned upright, on white, at
    most 1600 pixels on its long side, with nothing beside its pixels: no EXIF, position, XMP, colour profile
    or comment. Raises NotAPhotograph, TooLarge above 12 MB."""
    refuse_size(len(data))
    if data[4:8] == b"ftyp" and data[8:12] in _NEW_FORMAT_BRANDS:
        raise NotAPhotograph(
            "This phone saves photographs in a format that few programs read: set its camera to JPEG (often "
            "called most compatible) and take it again."
        )
    try:
        picture = Image.open(BytesIO(data), formats=_FORMATS)
    except Exception as error:  # Decoders meet arbitrary bytes here, and raise whatever those lead to.
        raise NotAPhotograph("This file is no photograph: choose a JPEG, PNG or WebP picture.") from error
    _refuse_sides(*picture.size)
    try:
        with _UNPACKING:
            return _encoded(_flat(_upright(picture)))
    except Exception as error:  # The same.
        raise NotAPhotograph(
            "This photograph is broken or did not arrive whole: choose it again, or take another."
        ) from error


def refuse_size(count: int) -> None:
    """Raise TooLarge for a file of ``count`` bytes that is more than is taken, NotAPhotograph for none."""
    if not count:
        raise NotAPhotograph("This file is empty: choose the photograph again.")
    if count > LARGEST_BYTES:
        raise TooLarge(
            f"This file is larger than {LARGEST_BYTES // 1_000_000} MB: set the camera to a smaller picture."
        )


def _refuse_sides(width: int, height: int) -> None:
    """By what the header declares, before a pixel is unpacked: a small file may unpack to gigabytes."""
    if width * height > MOST_PIXELS:
        raise NotAPhotograph(
            f"This picture has more than {MOST_PIXELS // 1_000_000} megapixels: set the camera to fewer."
        )
    if min(width, height) < SHORTEST_SIDE:
        raise NotAPhotograph("This picture is too small to show a filter.")


def _upright(picture: Image.Image) -> Image.Image:
    """Made smaller before it is turned, since turning copies every pixel."""
    picture.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
    if picture.mode not in ("RGB", "RGBA", "L"):
        exif = picture.getexif()
        picture = picture.convert("RGBA" if picture.has_transparency_data else "RGB")
        picture.getexif().update(exif)
    picture.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
    return ImageOps.exif_transpose(picture)


def _flat(picture: Image.Image) -> Image.Image:
    """Pixels alone, what is transparent on white."""
    flat = Image.new("RGB", picture.size, "white")
    seen = picture.convert("RGBA") if picture.has_transparency_data else picture.convert("RGB")
    flat.paste(seen, mask=seen.getchannel("A") if seen.mode == "RGBA" else None)
    return flat


def _encoded(picture: Image.Image) -> Photograph:
    out = BytesIO()
    # A new picture holds no metadata that the encoder could carry over.
    picture.save(out, "JPEG", quality=QUALITY)
    return Photograph(out.getvalue(), *picture.size)
