"""Photos as phones send them, drawn here."""

from io import BytesIO
from typing import Any

from PIL import Image, ImageDraw

#: EXIF tags (CIPA DC-008): orientation, the maker's name, and the pointer to the place.
ORIENTATION, MAKE, GPS = 0x0112, 0x010F, 0x8825


def photo_file(
    *, size: tuple[int, int] = (640, 360), kind: str = "JPEG", turned: int = 1, **options: Any
) -> BytesIO:
    """A dark panel with a light window, its left half blue: taken somewhere, with some phone."""
    image = Image.new("RGB", size, (40, 40, 44))
    pen = ImageDraw.Draw(image)
    width, height = size
    pen.rectangle((0, 0, width // 2, height), fill=(20, 30, 160))
    pen.rectangle((width // 4, height // 3, width * 3 // 4, height * 2 // 3), fill=(235, 240, 220))
    exif = Image.Exif()
    exif[ORIENTATION] = turned
    exif[MAKE] = "Some Phone"
    exif.get_ifd(GPS).update({1: "N", 2: (41.0, 52.0, 30.0), 3: "W", 4: (87.0, 37.0, 12.0)})
    file = BytesIO()
    image.save(file, kind, exif=exif, **options)
    file.seek(0)
    file.name = f"face.{kind.lower()}"
    return file
