"""What every printed file has in common: page sizes, margin, and what it says of itself."""

import zlib
from io import BytesIO
from typing import Final

from reportlab import rl_config
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfbase import pdfdoc
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
    canvas._doc.format = lambda: _write(canvas._doc, file)
    return canvas


def _pack(canvas: Canvas, number: int) -> None:
    """Compress a page when it is done. The canvas itself does so when it is saved, and keeps a
    stack of a hundred sheets as text until then.
    """
    page = canvas._doc.idToObject[f"Page{number}"]
    packed = zlib.compress(page.stream.encode("latin-1"))
    kind = pdfdoc.PDFDictionary({"Filter": pdfdoc.PDFName("FlateDecode")})
    page.Contents = pdfdoc.PDFStream(kind, packed)
    page.stream = None


class _File(pdfdoc.PDFFile):
    """What is written, at once in the file; the library's own keeps all of it, and joins it."""

    def __init__(self, file: BytesIO, version: tuple[int, int]) -> None:
        super().__init__(version)
        for begun in self.strings:
            file.write(begun)
        self.write = file.write


def _write(document: pdfdoc.PDFDocument, file: BytesIO) -> bytes:
    """Put the objects of a document into the file one by one, and forget what stood on each page.

    In place of `PDFDocument.format`, byte for byte, which holds everything three times over: as it
    was drawn, in words, and joined. Returns what is left to be written: nothing.
    """
    written = document.__accum__ = _File(file, document._pdfVersion)
    names: list[str] = []
    # Putting an object into words may name further ones.
    while (name := document.numberToId.get(len(names) + 1)) is not None:
        thing = document.idToObject[name]
        words = pdfdoc.PDFIndirectObject(name, thing).format(document)
        document.idToOffset[name] = written.add(words)
        names.append(name)
        if isinstance(thing, pdfdoc.PDFStream):
            thing.content = b""  # its page is still wanted, for the list of pages
    table = pdfdoc.PDFCrossReferenceTable()
    table.addsection(0, names)
    trailer = pdfdoc.PDFTrailer(
        startxref=written.add(table.format(document)),
        Size=len(names) + 1,
        Root=document.Reference(document.Catalog),
        Info=document.Reference(document.info),
        ID=document.ID(),
    )
    written.add(trailer.format(document))
    return b""
