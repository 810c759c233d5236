"""The picture of a logged day: bars to scale, gaps and resets said in words, lines not bridged."""

from __future__ import annotations

import pytest

from shop.drawing.shift import WIDE, Line, ShiftPicture, Traces, shift_day
from tests.shop.drawing.svg_reader import NS, parse, words

STROKES = ShiftPicture(
    label="Rig 04, 3 March: 200 strokes of A, 100 of B",
    strokes_a=((480, 100.0), (485, 100.0)),
    strokes_b=((480, 50.0), (485, 50.0)),
)


@pytest.mark.parametrize("phone", [False, True])
def test_a_day_is_one_image_with_its_sentence(phone: bool) -> None:
    root = parse(shift_day(STROKES, phone=phone))
    assert root.get("role") == "img"
    assert root.get("aria-label") == STROKES.label


def test_a_bar_is_as_high_as_its_strokes_and_b_hangs_below_a() -> None:
    bars = [
        r
        for r in parse(shift_day(STROKES)).iter(f"{NS}rect")
        if r.get("class", "").startswith("d-steel")
    ]
    a, b = bars[0], bars[2]
    assert float(a.get("height", 0)) == pytest.approx(2 * float(b.get("height", 0)))
    assert float(a.get("y", 0)) + float(a.get("height", 0)) == pytest.approx(float(b.get("y", 0)))
    # An hour runs over the whole width: five minutes are a twelfth of it.
    assert float(a.get("width", 0)) == pytest.approx((WIDE - 104) / 12, abs=0.01)


def test_what_was_not_logged_is_hatched_and_said_and_no_line_crosses_it() -> None:
    points = tuple((minute, 120.0) for minute in (*range(480, 600, 5), *range(720, 780, 5)))
    heat = Traces("Temperature, °F", (Line("A", points),))
    picture = ShiftPicture("x", gaps=((600, 720),), traces=(heat,))
    root = parse(shift_day(picture))
    assert "not logged" in words(shift_day(picture))
    lines = [p for p in root.iter(f"{NS}path") if p.get("stroke-width") == "1.8"]
    assert len(lines) == 2


def test_a_reset_names_its_side() -> None:
    picture = ShiftPicture("x", strokes_a=((480, 9.0),), resets=((490, "A"), (495, "B")))
    said = words(shift_day(picture))
    assert "A reset" in said
    assert "B reset" in said


@pytest.mark.parametrize("phone", [False, True])
def test_an_empty_day_and_a_whole_day_are_drawn(phone: bool) -> None:
    assert parse(shift_day(ShiftPicture("nothing"), phone=phone)) is not None
    whole = tuple((float(minute), 1.0) for minute in range(0, 1440, 5))
    said = words(shift_day(ShiftPicture("all"), phone=phone))
    assert "0:00" in said
    assert parse(shift_day(ShiftPicture("all", strokes_a=whole), phone=phone)) is not None


def test_a_flat_and_a_zero_line_are_drawn() -> None:
    flat = Traces(
        "Pressure, psi", (Line("A", ((480, 0.0), (485, 0.0))), Line("B", ((480, 7.0), (485, 7.0))))
    )
    assert parse(shift_day(ShiftPicture("x", traces=(flat,)))) is not None
