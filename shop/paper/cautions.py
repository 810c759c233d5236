"""The cautions, two a row: box, sign of the hazard, hazard and text; their sources under them."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from shop.paper.blocks import Area, Row, Section
from shop.paper.content import Caution, SheetPaper
from shop.paper.drawings import draw_hazard
from shop.paper.grid import Item, grid
from shop.paper.pen import BOX, Pen
from shop.paper.rows import Cell, row
from shop.paper.type import READ, SMALL, Line, line, plain, wrap
from shop.paper.wording import gettext, gettext_noop

_SIGN: Final = 15.0  # [pt]
_SIGN_BELOW: Final = BOX / 2 + 3  # [pt] under the middle of the box
_BOX_AT: Final = 3.0  # [pt]
_TEXT_AT: Final = _BOX_AT + _SIGN + 5
_FEWEST: Final = 3  # [lines] beside a box with its sign

UNREAD: Final = gettext_noop(
    "Nobody of the trade has read these translations yet: the English stands under each."
)
ENGLISH: Final = gettext_noop("In English:")
SOURCES: Final = gettext_noop("Sources:")


def section(sheet: SheetPaper, *, area: Area) -> Section | None:
    """All cautions under one heading; None without any."""
    if not sheet.cautions:
        return None
    keys = _keys(caution.source for caution in sheet.cautions)
    items = [_item(caution, keys.get(caution.source, 0)) for caution in sheet.cautions]
    rows = unread(area) if any(caution.original for caution in sheet.cautions) else []
    rows += grid(items, area=area)
    if keys:
        rows = [*rows[:-1], replace(rows[-1], keep=True), *_key(keys, area)]
    title = gettext("Cautions: read each, then tick")
    return Section(title=title, rows=rows, short=gettext("Cautions"))


def unread(area: Area) -> list[Row]:
    """That the translations under it are read by nobody of the trade, said once."""
    lines = plain(gettext(UNREAD), width=area.width - 5, size=SMALL, bold=True)
    blocks = row(
        (Cell(x=area.left + 2, lines=lines),),
        left=area.left,
        right=area.right,
        least=15.0,
        rule=0,
        size=SMALL,
    )
    return [Row(block, keep=True) for block in blocks]


def english(original: str, width: float) -> tuple[Line, ...]:
    """The English of a translated text; nothing where there is none to show."""
    if not original:
        return ()
    return wrap((gettext(ENGLISH), True), (original, False), size=SMALL, width=width)


def _keys(sources: Iterable[str]) -> dict[str, int]:
    """A number for each source, in the order in which they are named first."""
    named = dict.fromkeys(source for source in sources if source)
    return {source: number for number, source in enumerate(named, 1)}


def _item(caution: Caution, key: int) -> Item:
    # Before who read it was kept apart, it was part of what was entered.
    read = caution.read_text
    if caution.by_text:
        read = gettext("read: {who}").format(who=caution.by_text)
    text = f"{caution.text}\u00a0[{key}]" if key else caution.text

    def lines(width: float) -> Sequence[Line]:
        said = (
            *wrap((caution.hazard, True), (text, False), size=READ, width=width),
            *english(caution.original, width),
            *plain(read, width=width, size=SMALL, bold=True),
        )
        return (*said, *[line("", size=READ)] * (_FEWEST - len(said)))

    def mark(pen: Pen, left: float, middle: float) -> None:
        pen.tick_box(left + _BOX_AT + (_SIGN - BOX) / 2, middle, ticked=bool(caution.read_text))
        sign = caution.icon or caution.hazard
        draw_hazard(pen, sign, left + _BOX_AT, middle - _SIGN_BELOW, _SIGN)

    return Item(indent=_TEXT_AT, lines=lines, mark=mark)


def _key(keys: dict[str, int], area: Area) -> list[Row]:
    """What the numbers after the cautions stand for."""
    said = "   ".join(f"[{number}]\u00a0{source}" for source, number in keys.items())
    lines = wrap((gettext(SOURCES), True), (said, False), size=SMALL, width=area.width - 4)
    cell = Cell(x=area.left + 2, lines=lines)
    return [
        Row(block)
        for block in row((cell,), left=area.left, right=area.right, least=15.0, rule=0, size=SMALL)
    ]
