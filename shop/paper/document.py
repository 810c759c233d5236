"""What every printed file has in common: page sizes, margin, and what it says of itself."""

import zlib
from io import BytesIO
from typing import Final

from reportlab import rl_config
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfbase.pdfdoc import PDFDictionary, PDFName, PDFStream
from reportlab.pdfgen.canvas import Canvas

from shop.paper.content import PageSize
from shop.paper.pen import MM
from shop.paper.type import upright

MARGIN: Final = 12 * MM
SIZES: Final[dict[PageSize, tuple[float, float]]] = {"letter": LETTER, "a4": A4}

# Streams as bytes, not as letters: a fifth less of every file.
rl_config.useA85 = 0


def begin(
    file: BytesIO, *, size: tuple[float, float], language: str, author: str, subject: str
) -> Canvas:
    """Begin a file that is written to `file` when the canvas is saved.

    size: width, height. [pt] Equal drawings give equal bytes: no time stands in it.
    Every face in it is embedded: pages begin in one of ours, not in one the reader should have.
    """
    canvas = Canvas(
        file,
        pagesize=size,
        pageCompression=1,
        invariant=1,
        lang=language,
        initialFontName=upright(),
    )
    canvas.setAuthor(author)
    canvas.setSubject(subject)
    canvas.setCreator("Strokebook")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setPageCallBack(lambda number: _pack(canvas, number))
    return canvas


def _pack(canvas: Canvas, number: int) -> None:
    """Compress a page when it is done. The canvas itself does so when it is saved, and keeps a
    stack of a hundred sheets as text until then.
    """
    page = canvas._doc.idToObject[f"Page{number}"]
    packed = zlib.compress(page.stream.encode("latin-1"))
    page.Contents = PDFStream(PDFDictionary({"Filter": PDFName("FlateDecode")}), packed)
    page.stream = None
