"""Pictures as a telephone would send them."""

from io import BytesIO

from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image


def jpeg(width: int = 320, height: int = 240) -> bytes:
    """A JPEG that says where it was taken."""
    exif = Image.Exif()
    exif[0x8825] = {1: "N", 2: (41.0, 52.0, 55.0)}
    out = BytesIO()
    Image.new("RGB", (width, height), (90, 90, 90)).save(out, "JPEG", exif=exif)
    return out.getvalue()


def upload(data: bytes | None = None, name: str = "filter.jpg") -> SimpleUploadedFile:
    """The same as a file of a form."""
    return SimpleUploadedFile(name, jpeg() if data is None else data, content_type="image/jpeg")
