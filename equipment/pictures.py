"""A photo of a counter's face, made small and stripped of where and with what it was taken.

No Django, no clock. What comes out is always a JPEG of our own making: nothing of the file that
was sent is kept, so that no place, no camera and nothing hidden in it goes on.
"""

import struct
import warnings
from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO
from typing import BinaryIO, Final

from PIL import Image, ImageOps

from equipment.saying import Told, gettext_noop

FORMATS: Final = ("JPEG", "PNG", "WEBP")
#: Longer side of what is kept, and of the small one in lists. [px]
LARGEST, SMALL = 1600, 240
#: A larger picture is refused unread: it would take the memory of the machine. [px]
MOST_PIXELS: Final = 80_000_000
QUALITY: Final = 82
TOO_LARGE: Final = gettext_noop("This photo is too large. Take it with a smaller size.")
#: How a file of the newer phones begins (ISO/IEC 23008-12): a box "ftyp" of one of these brands.
HEIC_BRANDS: Final = frozenset({b"heic", b"heix", b"hevc", b"mif1", b"msf1", b"heim"})
#: What Pillow raises on files that are cut off, broken or made to break it.
BROKEN: Final = (
    OSError,
    SyntaxError,
    ValueError,
    EOFError,
    IndexError,
    KeyError,
    TypeError,
    OverflowError,
    struct.error,
)


class PictureRefused(Told):
    """A file that cannot be kept as a photo; its text is meant for the person."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A photo ready to keep: two JPEG files, and the hash of the larger one in hexadecimal."""

    content: bytes
    small: bytes
    digest: str
    width: int
    height: int


def shrink(source: BinaryIO) -> Picture:
    """Return the picture upright, at most LARGEST wide and high, without anything else in it.

    source: a JPEG, PNG or WEBP file, seekable. The same file gives the same hash.
    Raises PictureRefused.
    """
    head = source.read(16)
    source.seek(0)
    if head[4:8] == b"ftyp" and head[8:12] in HEIC_BRANDS:
        raise PictureRefused(
            gettext_noop(
                "This is a HEIC photo, which we cannot read. Set the phone's camera to JPEG, or"
                " send the photo as JPEG."
            )
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of sizes; we look at them ourselves
            upright = _upright(source)
    except PictureRefused:
        raise
    except Image.DecompressionBombError as bomb:
        raise PictureRefused(TOO_LARGE) from bomb
    except BROKEN as broken:
        raise PictureRefused(
            gettext_noop("This is no photo that we can read. Send a JPEG, PNG or WEBP picture.")
        ) from broken
    small = upright.copy()
    small.thumbnail((SMALL, SMALL))
    content = _jpeg(upright)
    return Picture(
        content=content,
        small=_jpeg(small),
        digest=sha256(content).hexdigest(),
        width=upright.width,
        height=upright.height,
    )


def _upright(source: BinaryIO) -> Image.Image:
    with Image.open(source, formats=FORMATS) as opened:
        if opened.width * opened.height > MOST_PIXELS:
            raise PictureRefused(TOO_LARGE)
        opened.draft("RGB", (LARGEST, LARGEST))  # a JPEG is read smaller at once
        shown = ImageOps.exif_transpose(opened)
        shown.thumbnail((LARGEST, LARGEST))
        if shown.has_transparency_data:
            shown = shown.convert("RGBA")
            paper = Image.new("RGB", shown.size, "white")
            paper.paste(shown, mask=shown.getchannel("A"))
            return paper
        return shown.convert("RGB")


def _jpeg(image: Image.Image) -> bytes:
    bare = Image.new("RGB", image.size)  # no notes of the first file come along
    bare.paste(image)
    file = BytesIO()
    bare.save(file, "JPEG", quality=QUALITY, optimize=True)
    return file.getvalue()
