"""The flow of a rig strip: A and B run apart, and the gun is where they end."""

from itertools import pairwise

from shop.drawing.strip import WIDTH, FlowLine, StripPosition, flow_lines, flow_pieces

RIG = (
    ("generator", "power", ""),
    ("hydraulic-unit", "oil", ""),
    ("pump", "material", "A"),
    ("pump", "material", "B"),
    ("hose", "material", ""),
    ("gun", "", ""),
    ("trailer", "", ""),
)


def positions() -> list[StripPosition]:
    return [
        StripPosition(
            order=order,
            name=icon,
            side=side,
            tag="",
            icon=icon,
            flow=flow,
            tape=None,
            service="",
            at_text="",
            state="none",
            state_word="",
            date_text="",
            band_text="",
            href="",
            fitted=True,
        )
        for order, (icon, flow, side) in enumerate(RIG, 1)
    ]


def at_edge(lines: list[FlowLine], x: float) -> set[tuple[str, float]]:
    """What crosses an edge of a column: what flows, and how far down."""
    ends = {(each.flow, point) for each in lines for point in each.points}
    return {(flow, y) for flow, (px, y) in ends if px == x}


def test_what_leaves_a_column_comes_into_the_next() -> None:
    columns = flow_lines(positions())

    for here, following in pairwise(columns):
        assert at_edge(here, WIDTH) == at_edge(following, 0)


def test_a_passes_over_and_is_lettered_beside_b() -> None:
    *_, pump_b, _hose, _gun, _trailer = flow_lines(positions())

    (passing,) = [each for each in pump_b if each.letter]
    assert passing.letter == "A"
    assert passing.flow == "material"
    assert {y for _, y in passing.points} == {10.0}


def test_both_sides_end_in_the_gun() -> None:
    *_, hose, gun, trailer = flow_lines(positions())

    assert len(at_edge(hose, WIDTH)) == 2
    assert at_edge(gun, 0) == at_edge(hose, WIDTH)
    assert at_edge(gun, WIDTH) == set()
    assert trailer == []


def test_each_column_is_drawn_with_its_letters() -> None:
    pieces = flow_pieces(positions())

    assert len(pieces) == len(RIG)
    assert [">A<" in piece for piece in pieces] == [False, False, False, True, False, False, False]
