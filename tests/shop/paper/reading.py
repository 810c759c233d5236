"""Reads a printed sheet back: its text, the sizes it is set in, the rectangles of its QR code."""

import re
from io import BytesIO

from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream

from shop.paper.sheet import PageSize, SheetPaper, sheet_pdf


def read(sheet: SheetPaper, *, page_size: PageSize = "letter") -> PdfReader:
    return PdfReader(BytesIO(sheet_pdf(sheet, page_size=page_size)))


def pages_text(reader: PdfReader) -> list[str]:
    """The text of each page with every run of blanks made one."""
    return [re.sub(r"\s+", " ", page.extract_text()) for page in reader.pages]


def text(reader: PdfReader) -> str:
    return " ".join(pages_text(reader))


def sizes(reader: PdfReader) -> set[float]:
    """Every size text is set in, from the operators themselves. [pt]"""
    found: set[float] = set()
    for page in reader.pages:
        size = 0.0
        for operands, operator in ContentStream(page.get_contents(), reader).operations:
            if operator == b"Tf":
                size = float(operands[1])
            elif operator in (b"Tj", b"TJ", b"'", b'"'):
                found.add(size)
    return found


def text_spans(page: PageObject) -> list[tuple[float, float, float]]:
    """(start, baseline, end) of each piece of text, its width from the page's own font tables."""
    fonts = {name: font.get_object() for name, font in page["/Resources"]["/Font"].items()}
    found: list[tuple[float, float, float]] = []
    x = y = size = 0.0
    stretch, font = 1.0, None
    for operands, operator in ContentStream(page.get_contents(), page.pdf).operations:
        if operator == b"Tm":
            x, y = float(operands[4]), float(operands[5])
        elif operator == b"Tf":
            font, size = fonts[operands[0]], float(operands[1])
        elif operator == b"Tz":
            stretch = float(operands[0]) / 100
        elif operator == b"Tj":
            widths, first = font["/Widths"], int(font["/FirstChar"])
            codes = operands[0].original_bytes
            wide = sum(float(widths[code - first]) for code in codes) / 1000 * size * stretch
            found.append((x, y, x + wide))
            x += wide
    return found


def qr_modules(reader: PdfReader, page: int) -> set[tuple[int, int]]:
    """The page's dark QR modules (down, across), counted from the quiet zone's corner."""
    forms = reader.pages[page]["/Resources"]["/XObject"]
    (form,) = [forms[name].get_object() for name in forms]
    side = int(form["/BBox"][2])
    found = set()
    for operands, operator in ContentStream(form, reader).operations:
        if operator == b"re":
            x, y, width, height = (int(value) for value in operands)
            assert height == 1
            found.update((side - 1 - y, x + step) for step in range(width))
    return found


def rules(page: PageObject) -> list[tuple[float, float]]:
    """(height, length) of each level line."""
    content = page.get_contents()
    assert content is not None
    lines = re.findall(rb"n ([\d.]+) ([\d.]+) m ([\d.]+) ([\d.]+) l S", content.get_data())
    found = [tuple(map(float, each)) for each in lines]
    return [(y, x2 - x) for x, y, x2, y2 in found if y == y2]
