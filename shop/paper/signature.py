"""What ends a sheet: what waited for a manager, when it was done, who signed."""

from dataclasses import replace

from shop.paper.blocks import LONGEST, SECTION_GAP, Area, Block, Row, Section, stacked
from shop.paper.content import SheetPaper
from shop.paper.opening import heavy
from shop.paper.paths import bounds
from shop.paper.pen import FRAME, Pen
from shop.paper.rows import NOTHING, Cell, row
from shop.paper.type import LEADING, SMALL, TEXT, line, plain, wrap
from shop.paper.wording import gettext, gettext_noop

_SIGNED_AT = 3  # the cell of the signature in its row
_DRAWN_WIDTH, _DRAWN_HEIGHT = 150.0, 34.0  # [pt] at most, for a drawn signature

WAITS = gettext_noop("Waited for a manager when this was signed:")
SETTLED = gettext_noop("Had waited for a manager and was settled before this was signed:")


def under(last: Section, sheet: SheetPaper, *, area: Area) -> Section:
    """The last section with the signature under it, which is never alone on a page."""
    *rows, end = last.rows
    said = [*_settled(sheet, area), *_waits(sheet, area)]
    before = [Row(block, keep=True) for block in said]
    return replace(last, rows=[*rows, replace(end, keep=True), *before, Row(_sign(sheet, area))])


def _settled(sheet: SheetPaper, area: Area) -> list[Block]:
    """What had waited for a manager and no longer did, each in words."""
    if not sheet.settled:
        return []
    lines = wrap(
        (gettext(SETTLED), True),
        ("\n".join(("", *sheet.settled)), False),
        size=TEXT,
        width=area.width - 10,
    )
    cell = Cell(x=area.left + 5, lines=lines)
    first, *more = row((cell,), left=area.left, right=area.right)
    return [stacked((_gap(), first)), *more]


def _waits(sheet: SheetPaper, area: Area) -> list[Block]:
    """What of the signature waited for a manager, each in words."""
    if not sheet.waits:
        return []
    text = "\n".join((gettext(WAITS), *sheet.waits))
    lines = plain(text, width=area.width - 16, bold=True)
    starts = range(0, len(lines), LONGEST)
    first, *more = [heavy(lines[start : start + LONGEST], area) for start in starts]
    return [stacked((_gap(), first)), *more]


def _gap() -> Block:
    return Block(height=SECTION_GAP, draw=lambda pen, top: None)


def _sign(sheet: SheetPaper, area: Area) -> Block:
    """Started, finished, time worked, signature and date; a signature brings its own date."""
    open_text = NOTHING if sheet.closed else ""
    cells = [
        (gettext("Started"), sheet.started or open_text, 0.2),
        (gettext("Finished"), sheet.finished or open_text, 0.2),
        (gettext("Time worked"), sheet.labour_text or open_text, 0.15),
        (
            gettext("Signature") if sheet.signed else gettext("Signed"),
            sheet.signed or open_text,
            0.45 if sheet.signed else 0.3,
        ),
    ]
    if not sheet.signed:
        cells.append((gettext("Date"), open_text, 0.15))
    made = [
        (
            line(caption, size=SMALL),
            plain(value, width=area.width * share - 14, bold=True),
            area.width * share,
        )
        for caption, value, share in cells
    ]
    most = max(len(value) for _, value, _ in made)
    written = 20 + most * TEXT * LEADING
    drawn = _drawn_size(sheet.drawn)
    height = max(40.0, written + (drawn[1] + 8 if drawn else 0))

    def draw(pen: Pen, top: float) -> None:
        top -= SECTION_GAP
        x = area.left
        for index, (caption, value, width) in enumerate(made):
            pen.write(x + 7, top - 11, caption)
            pen.paragraph(x + 7, top - 24, value)
            pen.box(x, top - height, width, height, FRAME)
            if index == _SIGNED_AT and drawn:
                _draw_signature(pen, sheet.drawn, x=x + 9, top=top - written - 1, scale=drawn[0])
            x += width

    return Block(height=height + SECTION_GAP, draw=draw)


def _drawn_size(data: str) -> tuple[float, float] | None:
    """(scale, height [pt]) of a drawn signature as large as its cell allows; None without one."""
    if not data:
        return None
    left, top, right, bottom = bounds(data)
    scale = min(_DRAWN_WIDTH / max(right - left, 1.0), _DRAWN_HEIGHT / max(bottom - top, 1.0))
    return scale, (bottom - top) * scale


def _draw_signature(pen: Pen, data: str, *, x: float, top: float, scale: float) -> None:
    """Draw path data, y down, with the upper left corner of what is drawn at x, top. [pt]"""
    left, upper, _, _ = bounds(data)
    pen.path(data, x=x - left * scale, y=top + upper * scale, scale=scale, stroke=1.1 / scale)
