"""Flows blocks of known height over pages.

Heights are measured before anything is drawn, so "page 1 of 2" is known on page one and a
component's head never
stands alone at the foot of a page.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from shop.paper.pen import Pen
from shop.paper.type import CAP_HEIGHT, LEADING, plain
from shop.paper.wording import gettext

HEADING = 11.25  # [pt]
SECTION_GAP = 7.0  # [pt] above a heading
WHOLE = 330.0  # [pt] what belongs together stands on one page up to this height
LONGEST = (
    12  # [lines] longer text goes on in further rows of this many, so that any row fits any page
)


@dataclass(frozen=True, slots=True)
class Block:
    """Something drawn across the page.

    `draw` takes the pen and the block's upper edge. height: [pt]
    """

    height: float
    draw: Callable[[Pen, float], None]


@dataclass(frozen=True, slots=True)
class Row:
    """A block in a section.

    keep: never the last on its page; the next row follows on the same one.
    group: repeated on a new page that starts with this row.
    stretch: makes the row higher by as much as is left on the page below its chain, [pt] >= 0;
    at most one in a chain, the last of the file.
    """

    block: Block
    keep: bool = False
    group: Block | None = None
    stretch: Callable[[float], Block] | None = None


@dataclass(frozen=True, slots=True)
class Section:
    """Rows under a heading.

    head: column captions, repeated with the heading on each further page.
    short: the name in "…, continued" and in the outline; the title when empty.
    """

    title: str
    rows: Sequence[Row]
    head: Block | None = None
    short: str = ""

    @property
    def name(self) -> str:
        """What the section is called where it is only mentioned."""
        return self.short or self.title


@dataclass(frozen=True, slots=True)
class Placed:
    """A block on its page.

    top: upper edge, down from the top of the body. [pt] title: set where a section opens.
    """

    block: Block
    top: float
    title: str = ""


@dataclass(frozen=True, slots=True)
class Area:
    """Where blocks go: from `left`, `width` wide. [pt]"""

    left: float
    width: float

    @property
    def right(self) -> float:
        """The right edge. [pt]"""
        return self.left + self.width


def beside(blocks: Sequence[Block]) -> Block:
    """One block of several that already know their columns."""

    def draw(pen: Pen, top: float) -> None:
        for block in blocks:
            block.draw(pen, top)

    return Block(height=max(block.height for block in blocks), draw=draw)


def stacked(blocks: Sequence[Block]) -> Block:
    """One block of several under one another."""

    def draw(pen: Pen, top: float) -> None:
        for block in blocks:
            block.draw(pen, top)
            top -= block.height

    return Block(height=sum(block.height for block in blocks), draw=draw)


def heading(area: Area, text: str) -> Block:
    """A section's heading over a rule."""
    lines = plain(text, width=area.width, size=HEADING, bold=True)
    height = 3.5 + len(lines) * HEADING * LEADING

    def draw(pen: Pen, top: float) -> None:
        pen.paragraph(area.left, top - HEADING * (CAP_HEIGHT + 0.2), lines)
        pen.rule(area.left, top - height + 0.5, area.right, top - height + 0.5, 1.2)

    return Block(height=height, draw=draw)


def continued(name: str) -> str:
    """How something is named on a further page."""
    return gettext("{name}, continued").format(name=name)


def together(rows: Sequence[Row]) -> list[Row]:
    """Rows that stand on one page, the next one with them, where they are not too high for that."""
    whole = sum(row.block.height for row in rows) <= WHOLE
    return [replace(row, keep=True) for row in rows] if whole else list(rows)


def paginate(
    sections: Sequence[Section], *, area: Area, first: float, further: float
) -> list[list[Placed]]:
    """Place all sections on pages.

    first, further: height of the body on page one and on each further page, > 0. [pt]
    Returns at least one page. A run of rows that no page can hold stands alone on one and is
    not cut, so callers
    keep rows below half a page.
    """
    pages: list[list[Placed]] = [[]]
    used = SECTION_GAP

    def room() -> float:
        return (first if len(pages) == 1 else further) - used

    def place(*blocks: Block, title: str = "") -> None:
        nonlocal used
        for block in blocks:
            pages[-1].append(Placed(block=block, top=used, title=title))
            used += block.height
            title = ""

    def turn() -> None:
        nonlocal used
        pages.append([])
        used = SECTION_GAP

    for section in sections:
        opening = _opening(area, section, section.title)
        for number, chain in enumerate(_chains(section.rows)):
            height = sum(row.block.height for row in chain)
            if number == 0:
                needed = height + sum(block.height for block in opening)
                used += SECTION_GAP if pages[-1] else 0.0
                if needed > room() and (pages[-1] or room() < further - SECTION_GAP):
                    turn()
                left = room() - needed
                place(*opening, *_stretched(chain, left), title=section.name)
                continue
            if height > room():
                turn()
                again = continued(section.name) if section.title else ""
                place(*_opening(area, section, again))
                if chain[0].group is not None:
                    place(chain[0].group)
            place(*_stretched(chain, room() - height))
    return pages


def _stretched(chain: Sequence[Row], left: float) -> list[Block]:
    """The blocks of a chain, the stretching one as high as the page has room for."""
    return [row.block if row.stretch is None or left <= 0 else row.stretch(left) for row in chain]


def _opening(area: Area, section: Section, title: str) -> tuple[Block, ...]:
    blocks = (heading(area, title),) if title else ()
    return blocks if section.head is None else (*blocks, section.head)


def _chains(rows: Sequence[Row]) -> Iterator[list[Row]]:
    """Rows that must stay together."""
    chain: list[Row] = []
    for row in rows:
        chain.append(row)
        if not row.keep:
            yield chain
            chain = []
    if chain:
        yield chain
