"""Makes the printed service sheet: `sheet_pdf` for one, `sheets_pdf` for a stack."""

from collections.abc import Iterable, Iterator
from io import BytesIO
from itertools import chain

from reportlab.pdfgen.canvas import Canvas

from shop.paper import cautions, checks, lockout, opening, parts, pictures, qr, readings, signature
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
    RunNote,
    SheetPaper,
    StripCell,
    ZeroGauge,
)
from shop.paper.document import MARGIN, SIZES, begin
from shop.paper.head import FOOT, foot, head, strike
from shop.paper.pen import Pen
from shop.paper.strip import strip
from shop.paper.wording import gettext, override

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
    "RunNote",
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
    with override(first.language):
        subject = gettext("Service sheet")
    file = BytesIO()
    canvas = begin(
        file,
        size=SIZES[page_size],
        language=first.language,
        author=first.shop_name,
        subject=subject,
    )
    last = first
    for _, sheet in drawn(canvas, chain((first,), waiting), page_size=page_size):
        last = sheet
    with override(first.language):
        if last is first:
            title = gettext("Service sheet {number}, {subject}")
            canvas.setTitle(title.format(number=first.number_text, subject=first.title))
        else:
            title = gettext("Service sheets {first} to {last}")
            canvas.setTitle(title.format(first=first.number_text, last=last.number_text))
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
        with override(sheet.language):
            pages = _draw(canvas, sheet, index=index, codes=codes, page_size=page_size)
        yield pages, sheet


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

    drawn_strip = strip(sheet.strip, area=area)
    on_first = [head(sheet, area=area, show_qr=show_qr)]
    on_further = [head(sheet, area=area, show_qr=show_qr, is_first=False)]
    if drawn_strip is not None:
        on_first.append(drawn_strip)
    body = height - 2 * MARGIN - FOOT
    pages = paginate(
        _sections(sheet, area),
        area=area,
        first=body - sum(block.height for block in on_first),
        further=body - sum(block.height for block in on_further),
    )
    for number, blocks in enumerate(pages, start=1):
        pen = Pen(canvas)
        top = height - MARGIN
        if number == 1:
            key = bookmark_of(index)
            canvas.bookmarkHorizontal(key, 0, top)
            title = gettext("Sheet {number}, {subject}")
            title = title.format(number=sheet.number_text, subject=sheet.title)
            canvas.addOutlineEntry(title, key, level=0, closed=True)
        above = on_first if number == 1 else on_further
        if sheet.void:
            strike(pen, area=area, top=top - above[0].height, bottom=MARGIN + FOOT)
        for fixed in above:
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
    """In the order of the work: 29 CFR 1910.147(d) before the checks, (e) before the rig runs."""
    in_order = (
        opening.section,
        cautions.section,
        checks.found,
        lockout.section,
        checks.section,
        parts.section,
        lockout.way_back,
        checks.running,
        pictures.section,
    )
    before_that = (
        opening.section,
        cautions.section,
        lockout.section,
        checks.section,
        lockout.way_back,
        pictures.section,
        parts.section,
    )
    before_the_end = in_order if sheet.edition > 1 else before_that
    made = [section(sheet, area=area) for section in before_the_end]
    found = [each for each in made if each is not None]
    *more, last = readings.sections(sheet, area=area)
    return [*found, *more, signature.under(last, sheet, area=area)]
