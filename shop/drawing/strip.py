"""The rig strip: the positions of a rig in flow order, and the lines that run between them.

The strip is built of columns. Each has its own piece of the flow drawing, exactly as wide as the
column, so that the lines of neighbours meet whatever width the page gives them.
"""

from __future__ import annotations

from dataclasses import dataclass

from shop.drawing.icons import shapes_of
from shop.drawing.svg import el, image, num, rect, text
from shop.drawing.tape import Tape

WIDTH, HEIGHT = 112.0, 92.0
MID, TOP, LOW, UNDER = 46.0, 10.0, 80.0, 84.0
ICON = 54.0
ICON_PLACE = f"translate({num((WIDTH - ICON) / 2)} {num(MID - ICON / 2)}) scale({num(ICON / 64)})"
GUN = "gun"
#: dash pattern and width of a flow line, by what flows
LINES: dict[str, tuple[str | None, float]] = {
    "power": ("12 4 2 4", 2),
    "air": ("5 4", 2),
    "oil": (None, 3.5),
    "material": (None, 2),
}


@dataclass(frozen=True, slots=True)
class StripPosition:
    """One position of a rig as the strip shows it.

    order: in flow; side: "A", "B" or ""; tag: position and serial in words ("5 · PU-207");
    icon: a kind of shop.drawing.icons; flow: what it hands on, "power", "air", "oil", "material"
    or "" for what stands beside the flow. tape: the service likely to fall first, or None.
    since_text: last service and unit over the tape ("2 Jul · gal").
    """

    order: int
    name: str
    side: str
    tag: str
    icon: str
    flow: str
    tape: Tape | None
    service: str
    at_text: str
    state: str
    state_word: str
    date_text: str
    band_text: str
    href: str
    fitted: bool
    since_text: str = ""

    @property
    def folds(self) -> bool:
        """A clear position needs no more than its name, date and small tape on a phone."""
        return self.fitted and self.state in ("clear", "none")

    @property
    def ident(self) -> str:
        return f"position-{self.order}"


@dataclass(frozen=True, slots=True)
class FlowLine:
    """A piece of flow in its column, WIDTH × HEIGHT, y downwards; flow: one of LINES.

    letter: of the side, where the line passes something of the other; it stands on the middle.
    """

    points: tuple[tuple[float, float], ...]
    flow: str
    letter: str = ""


@dataclass(slots=True)
class _Running:
    """What runs along the rig at the boundary between two columns."""

    mid: str = ""
    a: bool = False
    b: bool = False
    pair: bool = False
    under: str = ""


def flow_pieces(positions: list[StripPosition]) -> list[str]:
    """Return one drawing for each position: its icon and the flow lines of its column.

    A runs over and B under what they pass, each lettered there; a hose and a gun take both.
    """
    pieces = []
    for position, lines in zip(positions, flow_lines(positions), strict=True):
        drawn = [piece for each in lines for piece in _drawn(each)]
        icon = el(
            "g",
            *(
                el(
                    "path",
                    d=shape.d,
                    class_="d-fill" if shape.filled else None,
                    stroke_dasharray=" ".join(f"{part:g}" for part in shape.dash) or None,
                )
                for shape in shapes_of(position.icon)
            ),
            class_="d-icon",
            stroke_width=2 * 64 / ICON,
            transform=ICON_PLACE,
        )
        pieces.append(
            image(
                *drawn, icon, width=WIDTH, height=HEIGHT, label="", class_="strip-flow", sized=False
            )
        )
    return pieces


def flow_lines(positions: list[StripPosition]) -> list[list[FlowLine]]:
    """Return the lines of each position's column, for whatever draws them."""
    columns = []
    now = _Running()
    for place, position in enumerate(positions):
        later = [p for p in positions[place + 1 :] if _flow_of(p)]
        lines, now = _column(position, now, following=later)
        columns.append(lines)
    return columns


def _drawn(each: FlowLine) -> list[str]:
    dash, width = LINES[each.flow]
    d = "M" + "L".join(f"{num(x)} {num(y)}" for x, y in each.points)
    out = [el("path", d=d, class_="d-none s-ink", stroke_width=width, stroke_dasharray=dash)]
    if each.letter:
        y = each.points[0][1]
        out.append(rect(WIDTH / 2 - 8, y - 8, 16, 16, "d-paper"))
        out.append(
            text(
                each.letter,
                x=WIDTH / 2,
                y=y + 5,
                size=13,
                text_anchor="middle",
                class_="d-ink t-strong",
            )
        )
    return out


def _path(points: list[tuple[float, float]], flow: str) -> FlowLine:
    return FlowLine(tuple(points), flow)


def _column(
    position: StripPosition, before: _Running, *, following: list[StripPosition]
) -> tuple[list[FlowLine], _Running]:
    edge_in, edge_out = (WIDTH - ICON) / 2 - 3, (WIDTH + ICON) / 2 + 3
    out: list[FlowLine] = []
    after = _Running(mid=before.mid, a=before.a, b=before.b, pair=before.pair, under=before.under)
    side, flow = position.side, _flow_of(position)
    takes_both = not side and flow in ("material") and (before.a or before.b or before.pair)

    # What only passes by.
    passes_a = before.a and side != "A" and not takes_both
    passes_b = before.b and side != "B" and not takes_both
    for passes, y, letter in ((passes_a, TOP, "A"), (passes_b, LOW, "B")):
        if passes:
            out.append(FlowLine(((0, y), (WIDTH, y)), "material", letter))
    if before.under and side and not _is_branch(side, before):
        out.append(_path([(0, UNDER), (WIDTH, UNDER)], before.under))
    if not flow:
        if before.mid:
            out.append(_path([(0, MID), (edge_in, MID)], before.mid))
            out.append(_path([(edge_out, MID), (WIDTH, MID)], before.mid))
        return out, after

    # What comes in.
    if takes_both:
        if before.pair:
            out += [_path([(0, MID + d), (edge_in, MID + d)], "material") for d in (-5, 5)]
        if before.a:
            out.append(_path([(0, TOP), (12, TOP), (12, MID - 5), (edge_in, MID - 5)], "material"))
        if before.b:
            out.append(_path([(0, LOW), (12, LOW), (12, MID + 5), (edge_in, MID + 5)], "material"))
        after.a = after.b = False
    elif side and (before.a if side == "A" else before.b):
        y = TOP if side == "A" else LOW
        out.append(_path([(0, y), (12, y), (12, MID), (edge_in, MID)], "material"))
    elif side and before.under and _is_branch(side, before):
        out.append(_path([(0, UNDER), (12, UNDER), (12, MID), (edge_in, MID)], before.under))
        after.under = ""
    elif before.mid:
        out.append(_path([(0, MID), (edge_in, MID)], before.mid))
        other = "B" if side == "A" else "A"
        if side and following and following[0].side == other:
            out.append(_path([(8, MID), (8, UNDER), (WIDTH, UNDER)], before.mid))
            after.under = before.mid
        after.mid = ""

    # What goes out.
    if side:
        heads_on = any(p.side in ("", side) and _flow_of(p) == "material" for p in following)
        if flow == "material" and heads_on:
            y = TOP if side == "A" else LOW
            out.append(
                _path([(edge_out, MID), (WIDTH - 12, MID), (WIDTH - 12, y), (WIDTH, y)], "material")
            )
        if side == "A":
            after.a = flow == "material" and heads_on
        else:
            after.b = flow == "material" and heads_on
    elif takes_both:
        after.pair = bool(following)
        if following:
            out += [_path([(edge_out, MID + d), (WIDTH, MID + d)], "material") for d in (-5, 5)]
    else:
        after.mid = flow if following else ""
        if following:
            out.append(_path([(edge_out, MID), (WIDTH, MID)], flow))
    return out, after


def _flow_of(position: StripPosition) -> str:
    """What runs to and through a position: the gun hands nothing on, and the flow ends in it."""
    return position.flow or ("material" if position.icon == GUN else "")


def _is_branch(side: str, before: _Running) -> bool:
    """The branch under one pump feeds the first of the other side that has no material yet."""
    return not (before.a if side == "A" else before.b)
