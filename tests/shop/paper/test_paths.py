"""Path data of the shared drawings, on paper."""

import math

import pytest

from shop.drawing.icons import SHAPES
from shop.drawing.stencil import STROKES
from shop.paper.paths import segments


def test_lines_become_absolute_points() -> None:
    assert segments("M1 2H5V6L7.5-8Z") == (
        ("M", (1, 2)),
        ("L", (5, 2)),
        ("L", (5, 6)),
        ("L", (7.5, -8)),
        ("Z", ()),
    )


def test_further_numbers_after_a_move_are_lines() -> None:
    assert segments("M0 0 3 4") == (("M", (0, 0)), ("L", (3, 4)))


@pytest.mark.parametrize(
    ("large", "sweep", "lowest", "highest"),
    # Source of the sides: SVG 2, 9.3.8; with y down, sweep 1 turns clockwise as seen
    [(0, 1, -10, 0), (0, 0, 0, 10)],
)
def test_half_circle_keeps_its_radius_and_side(
    large: int, sweep: int, lowest: float, highest: float
) -> None:
    made = segments(f"M-10 0A10 10 0 {large} {sweep} 10 0")
    at = (-10.0, 0.0)
    for command, numbers in made[1:]:
        assert command == "C"
        one, two, end = numbers[:2], numbers[2:4], numbers[4:]
        for step in range(11):
            t = step / 10
            point = [
                (1 - t) ** 3 * at[i]
                + 3 * t * (1 - t) ** 2 * one[i]
                + 3 * t * t * (1 - t) * two[i]
                + t**3 * end[i]
                for i in (0, 1)
            ]
            assert math.hypot(*point) == pytest.approx(10, abs=0.01)
            assert lowest - 0.01 <= point[1] <= highest + 0.01
        at = (end[0], end[1])
    assert at == pytest.approx((10, 0))


def test_arc_too_small_for_its_ends_grows() -> None:
    # SVG 2, 9.5.1: radii too small are scaled up until the ends fit
    made = segments("M0 0A1 1 0 0 1 20 0")
    assert made[-1][1][-2:] == pytest.approx((20, 0))


@pytest.mark.parametrize("data", ["M1 2Q3 4 5 6", "M1 2L3", "m1 2", "M1 2Z3", "M1 2LZ"])
def test_data_outside_the_subset_is_refused(data: str) -> None:
    with pytest.raises(ValueError, match=r"path"):
        segments(data)


def test_every_shared_drawing_is_understood() -> None:
    shapes = [shape.d for kind in SHAPES.values() for shape in kind]
    for data in (*STROKES.values(), *shapes):
        assert segments(data)[0][0] == "M"
