"""What printed lists share: the file page by page, and the foot of a page: when it was printed,
and which page of how many."""

from collections.abc import Callable, Sequence
from io import BytesIO
from typing import Final, TypeVar

from shop.paper.document import MARGIN, begin
from shop.paper.pen import Pen
from shop.paper.type import SMALL, line

#: What it takes of a page's height. [pt]
FOOT: Final = 20.0
_PAD: Final = 4.0  # [pt]

#: What a list draws on one page.
Page = TypeVar("Page")


def list_file(
    pages: Sequence[Page],
    draw: Callable[[Pen, int, Page], None],
    *,
    size: tuple[float, float],
    language: str,
    shop_name: str,
    subject: str,
    title: str,
    printed: str,
    named: str = "",
) -> bytes:
    """Return a list as a PDF file. `draw` draws all of a page but its foot; pages count from 1.

    size: width, height. [pt] language: BCP 47 tag. title: of the file. named: what the foot calls
    it, where a page may go astray: "Order 57".
    """
    of_what = f"{named}, page" if named else "page"
    file = BytesIO()
    canvas = begin(file, size=size, language=language, author=shop_name, subject=subject)
    canvas.setTitle(title)
    for number, page in enumerate(pages, start=1):
        pen = Pen(canvas)
        draw(pen, number, page)
        list_foot(pen, printed, f"{of_what} {number} of {len(pages)}", width=size[0])
        pen.finish()
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def list_foot(pen: Pen, printed: str, count: str, *, width: float) -> None:
    """Draw the foot of a page of this width. [pt]"""
    rule = MARGIN + SMALL + _PAD
    pen.rule(MARGIN, rule, width - MARGIN, rule, 1.2)
    pen.write(MARGIN, MARGIN, line(printed, size=SMALL))
    pen.write_right(width - MARGIN, MARGIN, line(count, size=SMALL, bold=True))
