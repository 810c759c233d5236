"""Stock against time: each height and day of the drawing against its figures."""

import re
from dataclasses import replace
from datetime import date
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.drawing.stock_plot import (
    FIELD,
    LEFT,
    PLATE,
    RIGHT,
    WIDE,
    Forecast,
    StockPlot,
    stock_plot,
    top_of,
)

SVG = "{http://www.w3.org/2000/svg}"
PLOT = StockPlot(
    today=date(2026, 11, 26),
    back=150,
    ahead=60,
    held=((-150, 5), (-40, 2), (-12, 4)),
    forecast=(Forecast(0, 4, 4, 4), Forecast(7, 2, 3, 4), Forecast(14, 0, 2, 3)),
    point=3,
    point_text="3",
    lead=27,
    buy_day=7,
    label="Four kits.",
)


def drawn(plot: StockPlot, *, phone: bool = False) -> ElementTree.Element:
    return ElementTree.fromstring(stock_plot(plot, phone=phone))


def x(day: float) -> float:
    return LEFT + (day + 150) / 210 * (WIDE - LEFT - RIGHT)


def y(stock: float, plot: StockPlot = PLOT) -> float:
    return PLATE + FIELD * (1 - stock / top_of(plot))


def steps_of(path: str) -> list[tuple[float, float]]:
    """The corners of a line of steps."""
    found = []
    at_x = at_y = 0.0
    for word, first, second in re.findall(r"([MHV])([\d.-]+)(?: ([\d.-]+))?", path):
        if word == "M":
            at_x, at_y = float(first), float(second)
        elif word == "H":
            at_x = float(first)
        else:
            at_y = float(first)
        found.append((at_x, at_y))
    return found


def paths(root: ElementTree.Element, width: str) -> list[str]:
    return [
        each.attrib["d"]
        for each in root.iter(f"{SVG}path")
        if each.attrib.get("stroke-width") == width
    ]


def test_what_was_counted_stands_at_its_days_and_heights() -> None:
    (held,) = paths(drawn(PLOT), "3")
    corners = steps_of(held)
    for expected in [(-150, 5), (-40, 5), (-40, 2), (-12, 2), (-12, 4), (0, 4)]:
        assert any(
            point == pytest.approx((x(expected[0]), y(expected[1])), abs=0.02) for point in corners
        )


def test_the_band_and_the_middle_are_the_forecast() -> None:
    root = drawn(PLOT)
    (middle,) = paths(root, "2.5")
    corners = steps_of(middle)
    assert corners[-1] == pytest.approx((x(60), y(2)), abs=0.02)
    bands = [
        each.attrib
        for each in root.iter(f"{SVG}rect")
        if each.attrib.get("fill", "").startswith("url") and float(each.attrib["y"]) < y(0)
    ]
    assert len(bands) == 2
    first = bands[0]
    assert float(first["x"]) == pytest.approx(x(7), abs=0.02)
    assert float(first["y"]) == pytest.approx(y(4), abs=0.02)
    assert float(first["height"]) == pytest.approx(y(2) - y(4), abs=0.02)


def test_the_reorder_point_is_a_line_with_its_word() -> None:
    written = stock_plot(PLOT)
    assert "reorder point 3" in written
    assert "lead time 27 d" in written
    without = stock_plot(replace(PLOT, point=None, buy_day=None))
    assert "reorder point" not in without
    assert "lead time" not in without


def test_it_is_one_image_with_one_sentence_and_no_style() -> None:
    written = stock_plot(PLOT)
    assert 'role="img"' in written
    assert 'aria-label="Four kits."' in written
    assert "style" not in written
    assert set(re.findall(r'id="([^"]+)"', written + stock_plot(PLOT, phone=True))) == {
        "dots-wide",
        "dots-phone",
    }


@given(
    stock=st.floats(0, 50_000),
    after=st.floats(0, 50_000),
    day=st.integers(0, 59),
    point=st.none() | st.floats(0, 50_000),
)
def test_everything_stays_inside(stock: float, after: float, day: int, point: float | None) -> None:
    plot = replace(
        PLOT,
        held=((-150, stock),),
        forecast=(Forecast(0, stock, stock, stock), Forecast(60, 0, after / 2, after)),
        point=point,
        buy_day=day if point is not None else None,
    )
    for phone in (False, True):
        root = drawn(plot, phone=phone)
        width, height = (float(each) for each in root.attrib["viewBox"].split()[2:])
        for name in ("x", "x1", "x2", "cx"):
            for each in root.iter():
                if name in each.attrib:
                    assert -0.1 <= float(each.attrib[name]) <= width + 0.1
        for name in ("y", "y1", "y2", "cy"):
            for each in root.iter():
                if name in each.attrib:
                    assert -25 <= float(each.attrib[name]) <= height + 0.1
