"""Makes the printed service sheet: `sheet_pdf` for one, `sheets_pdf` for a stack."""

from collections.abc import Iterable, Iterator
from io import BytesIO
from itertools import chain

from reportlab.pdfgen.canvas import Canvas

from shop.paper import checks, closing, opening, pictures, qr
from shop.paper.blocks import Area, Section, paginate
from shop.paper.content import (
    Caution,
    CheckGroup,
    LockoutStep,
    PageSize,
    PaperCheck,
    PaperFound,
    PaperPart,
    PaperPicture,
    PaperReading,
    SheetPaper,
    StripCell,
    ZeroGauge,
)
from shop.paper.document import MARGIN, SIZES, begin
from shop.paper.head import FOOT, foot, head, strike
from shop.paper.pen import Pen
from shop.paper.strip import strip

__all__ = [
    "Caution",
    "CheckGroup",
    "LockoutStep",
    "PageSize",
    "PaperCheck",
    "PaperFound",
    "PaperPart",
    "PaperPicture",
    "PaperReading",
    "SheetPaper",
    "StripCell",
    "ZeroGauge",
    "sheet_pdf",
    "sheets_pdf",
]


def sheet_pdf(sheet: SheetPaper, *, page_size: PageSize = "letter") -> bytes:
    """Return one service sheet as a PDF file.

    Equal sheets give equal bytes. Raises KeyError for an unknown page size.
    """
    return sheets_pdf((sheet,), page_size=page_size)


def sheets_pdf(sheets: Iterable[SheetPaper], *, page_size: PageSize = "letter") -> bytes:
    """Return several service sheets in one PDF file, each with its own page count and bookmark.

    Author and language are the first sheet's. Raises ValueError when there is no sheet, KeyError
    for an unknown page size.
    """
    waiting = iter(sheets)
    first = next(waiting, None)
    if first is None:
        raise ValueError("There is no service sheet to print.")
    file = BytesIO()
    canvas = begin(
        file,
        size=SIZES[page_size],
        language=first.language,
        author=first.shop_name,
        subject="Service sheet",
    )
    last = first
    for _, sheet in drawn(canvas, chain((first,), waiting), page_size=page_size):
        last = sheet
    if last is first:
        canvas.setTitle(f"Service sheet {first.number_text}, {first.title}")
    else:
        canvas.setTitle(f"Service sheets {first.number_text} to {last.number_text}")
    canvas.save()
    return file.getvalue()


def drawn(
    canvas: Canvas, sheets: Iterable[SheetPaper], *, page_size: PageSize
) -> Iterator[tuple[int, SheetPaper]]:
    """Draw sheets one after another; yield each with how many pages it took once it is drawn.

    Each begins at a bookmark of its own: `bookmark_of` its place, from 0.
    """
    codes: dict[str, tuple[str, int]] = {}
    for index, sheet in enumerate(sheets):
        yield _draw(canvas, sheet, index=index, codes=codes, page_size=page_size), sheet


def bookmark_of(index: int) -> str:
    """The name of the place in the file where a sheet begins."""
    return f"sheet{index}"


def _draw(
    canvas: Canvas,
    sheet: SheetPaper,
    *,
    index: int,
    codes: dict[str, tuple[str, int]],
    page_size: PageSize,
) -> int:
    """Draw one sheet's pages at the end of the file; return how many.

    codes: the QR codes stored so far, by address.
    """
    width, height = SIZES[page_size]
    area = Area(left=MARGIN, width=width - 2 * MARGIN)
    if sheet.url and sheet.url not in codes:
        name = f"qr{len(codes)}"
        codes[sheet.url] = (name, qr.store(canvas, name=name, url=sheet.url))

    def show_qr(x: float, y: float, size: float) -> None:
        if sheet.url:
            name, modules = codes[sheet.url]
            qr.show(canvas, name=name, modules=modules, x=x, y=y, size=size)

    title_block = head(sheet, area=area, show_qr=show_qr)
    drawn_strip = strip(sheet.strip, area=area)
    only_first = () if drawn_strip is None else (drawn_strip,)
    body = height - 2 * MARGIN - FOOT - title_block.height
    pages = paginate(
        _sections(sheet, area),
        area=area,
        first=body - sum(block.height for block in only_first),
        further=body,
    )
    for number, blocks in enumerate(pages, start=1):
        pen = Pen(canvas)
        top = height - MARGIN
        if number == 1:
            key = bookmark_of(index)
            canvas.bookmarkHorizontal(key, 0, top)
            canvas.addOutlineEntry(
                f"Sheet {sheet.number_text}, {sheet.title}", key, level=0, closed=True
            )
        if sheet.void:
            strike(pen, area=area, top=top - title_block.height, bottom=MARGIN + FOOT)
        for fixed in (title_block, *(only_first if number == 1 else ())):
            fixed.draw(pen, top)
            top -= fixed.height
        for placed in blocks:
            if placed.title:
                key = f"sheet{index}-page{number}-{placed.top:.0f}"
                canvas.bookmarkHorizontal(key, 0, top - placed.top)
                canvas.addOutlineEntry(placed.title, key, level=1)
            placed.block.draw(pen, top - placed.top)
        foot(pen, sheet, area=area, bottom=MARGIN, page=number, pages=len(pages))
        pen.finish()
        canvas.showPage()
    return len(pages)


def _sections(sheet: SheetPaper, area: Area) -> list[Section]:
    found = opening.sections(sheet, area=area)
    checked = checks.section(sheet, area=area)
    if checked is not None:
        found.append(checked)
    back = opening.way_back(sheet, area=area)
    if back is not None:
        found.append(back)
    shown = pictures.section(sheet, area=area)
    if shown is not None:
        found.append(shown)
    return [*found, *closing.sections(sheet, area=area)]
