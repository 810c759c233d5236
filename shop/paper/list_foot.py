"""The foot of a page of a printed list: when it was printed, and which page of how many."""

from typing import Final

from shop.paper.document import MARGIN
from shop.paper.pen import Pen
from shop.paper.type import SMALL, line

#: What it takes of a page's height. [pt]
FOOT: Final = 20.0
_PAD: Final = 4.0  # [pt]


def list_foot(pen: Pen, printed: str, count: str, *, width: float) -> None:
    """Draw the foot of a page of this width. [pt]"""
    rule = MARGIN + SMALL + _PAD
    pen.rule(MARGIN, rule, width - MARGIN, rule, 1.2)
    pen.write(MARGIN, MARGIN, line(printed, size=SMALL))
    pen.write_right(width - MARGIN, MARGIN, line(count, size=SMALL, bold=True))
