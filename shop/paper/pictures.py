"""Exploded views and schematics of what is worked on, in grey, two a row."""

from collections.abc import Sequence
from functools import lru_cache
from io import BytesIO
from typing import Final

from PIL import Image, ImageOps, UnidentifiedImageError
from reportlab.lib.utils import ImageReader

from shop.paper.blocks import Area, Block, Row, Section, beside
from shop.paper.content import PaperPicture, SheetPaper
from shop.paper.pen import HAIR, Pen
from shop.paper.type import LEADING, SMALL, plain
from shop.paper.wording import gettext, gettext_noop

_GUTTER: Final = 14.0  # [pt]
_PAIR_HEIGHT, _ALONE_HEIGHT = 180.0, 190.0  # [pt] at most
_MOST_PIXELS: Final = 1500  # a side; at the width of a page 200 dots an inch
PICTURES: Final = gettext_noop("Pictures")
GONE: Final = gettext_noop("The picture is not there any more.")


def section(sheet: SheetPaper, *, area: Area) -> Section | None:
    """All pictures of a sheet; None without any."""
    pictures = sheet.pictures
    if not pictures:
        return None
    if len(pictures) == 1:
        rows = [Row(_picture(pictures[0], area, most=_ALONE_HEIGHT))]
        return Section(title=gettext(PICTURES), rows=rows)
    return Section(title=gettext(PICTURES), rows=_pairs(pictures, area))


def _pairs(pictures: Sequence[PaperPicture], area: Area) -> list[Row]:
    width = (area.width - _GUTTER) / 2
    return [
        Row(
            beside(
                [
                    _picture(
                        picture,
                        Area(left=area.left + index * (width + _GUTTER), width=width),
                        most=_PAIR_HEIGHT,
                    )
                    for index, picture in enumerate(pictures[start : start + 2])
                ]
            )
        )
        for start in range(0, len(pictures), 2)
    ]


def _picture(picture: PaperPicture, area: Area, *, most: float) -> Block:
    """A picture as large as its place allows, its caption below."""
    grey = _grey(picture.image) if picture.image else None
    caption = plain(picture.caption, width=area.width, size=SMALL)
    if grey is None:
        caption = (*caption, *plain(gettext(GONE), width=area.width, size=SMALL, bold=True))
    width = height = 0.0
    if grey is not None:
        _, across, down = grey
        scale = min(area.width / across, most / down)
        width, height = across * scale, down * scale

    def draw(pen: Pen, top: float) -> None:
        if grey is not None:
            reader = ImageReader(BytesIO(grey[0]))
            pen.canvas.drawImage(reader, area.left, top - 6 - height, width, height)
            pen.box(area.left, top - 6 - height, width, height, HAIR)
        pen.paragraph(area.left, top - 8 - height - SMALL, caption)

    return Block(height=height + 12 + len(caption) * SMALL * LEADING, draw=draw)


@lru_cache(maxsize=16)
def _grey(image: bytes) -> tuple[bytes, int, int] | None:
    """(JPEG, width, height) in grey, its transparent parts white; None for what is no picture."""
    try:
        with Image.open(BytesIO(image)) as opened:
            upright = ImageOps.exif_transpose(opened)
            upright.thumbnail((_MOST_PIXELS, _MOST_PIXELS))
            layered = upright.convert("RGBA")
    except (UnidentifiedImageError, OSError, Image.DecompressionBombError):
        return None
    paper = Image.new("RGBA", layered.size, "white")
    paper.alpha_composite(layered)
    written = BytesIO()
    paper.convert("L").save(written, "JPEG", quality=85)
    return written.getvalue(), *paper.size
