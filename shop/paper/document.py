"""What every printed file has in common: page sizes, margin, and what it says of itself."""

from io import BytesIO
from typing import Final

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfgen.canvas import Canvas

from shop.paper.content import PageSize
from shop.paper.pen import MM

MARGIN: Final = 12 * MM
SIZES: Final[dict[PageSize, tuple[float, float]]] = {"letter": LETTER, "a4": A4}


def begin(
    file: BytesIO, *, size: tuple[float, float], language: str, author: str, subject: str
) -> Canvas:
    """Begin a file that is written to `file` when the canvas is saved.

    size: width, height. [pt] Equal drawings give equal bytes: no time stands in it.
    """
    canvas = Canvas(file, pagesize=size, pageCompression=1, invariant=1, lang=language)
    canvas.setAuthor(author)
    canvas.setSubject(subject)
    canvas.setCreator("Strokebook")
    canvas.setViewerPreference("DisplayDocTitle", "true")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas
