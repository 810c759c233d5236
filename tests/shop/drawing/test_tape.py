"""The tape tells the truth: each mark lies where its number says.

Position = life since last service × length ÷ (interval × (1 + tolerance)), measures as in the
look's table of the wear tape (blade lying 338 × 38, upright 54 × 240).
"""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.drawing.svg import life_figure
from shop.drawing.tape import Tape, lying, marks, small, upright
from tests.shop.drawing.svg_reader import found, parse, words

DRAWINGS = (lying, upright, small)


def tape(life: float | None, **changes: object) -> Tape:
    values: dict[str, object] = {
        "unit": "gal",
        "interval": 5000.0,
        "tolerance": 0.1,
        "life": life,
        "title": "Gun, full rebuild: 4,310 of 5,000 gallons",
    }
    return Tape(**(values | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("life", "now", "due", "past"),
    [
        (0, 0, 5000 / 5500 * 338, False),
        (2750, 169, 5000 / 5500 * 338, False),
        (5000, 5000 / 5500 * 338, 5000 / 5500 * 338, False),
        (5200, 5200 / 5500 * 338, 5000 / 5500 * 338, False),
        (5500, 338, 5000 / 5500 * 338, False),
        # Past tolerance the tape ends at now, so the due line moves back.
        (10000, 338, 169, True),
    ],
)
def test_now_and_due_lie_where_the_numbers_say(
    life: float, now: float, due: float, past: bool
) -> None:
    m = marks(tape(life), length=338)
    assert m.now == pytest.approx(now)
    assert m.due == pytest.approx(due)
    assert m.past_tolerance is past


def test_the_drawing_puts_the_marks_there() -> None:
    svg = lying(tape(2750))
    (steel,) = found(svg, "rect", class_="d-steel")
    assert float(steel.get("width", "")) == pytest.approx(169)
    (due,) = found(svg, "line", stroke_width="3")
    assert float(due.get("x1", "")) == pytest.approx(8 + 5000 / 5500 * 338, abs=0.01)
    hanging = upright(tape(2750))
    (steel,) = found(hanging, "rect", class_="d-steel")
    assert float(steel.get("height", "")) == pytest.approx(120)


def test_past_tolerance_turns_oxide_and_loses_the_end_hook() -> None:
    inside, past = lying(tape(5499)), lying(tape(5501))
    assert not found(inside, "rect", class_="d-oxide")
    assert found(past, "rect", class_="d-oxide")
    assert found(inside, "line", stroke_width="5")
    assert not found(past, "line", stroke_width="5")


@pytest.mark.parametrize("draw", DRAWINGS)
def test_nothing_read_is_a_dashed_blade(draw) -> None:
    svg = draw(tape(None))
    assert found(svg, "rect")[0].get("stroke-dasharray")
    assert not found(svg, "rect", class_="d-steel")
    if draw is lying:
        assert words(svg) == ["no reading yet"]


def test_dates_are_set_on_the_blade_by_the_middle_rate() -> None:
    # 690 gal in 10 days is 69 gal a day: 8 days on it shows 4,862 gal, 13 days on 5,207 gal.
    m = marks(tape(4310, due_in_days=10, band_days=(8, 13), next_stay_days=5), length=5500.0)
    assert m.middle == pytest.approx(5000)
    assert m.band == pytest.approx((4862, 5207))
    assert m.band_off is False
    assert m.stay == pytest.approx(4655)
    assert m.stay_off is False
    assert m.weeks == pytest.approx((4793, 5276))


def test_a_band_or_a_stay_off_the_end_says_so() -> None:
    m = marks(tape(4310, due_in_days=10, band_days=(8, 40), next_stay_days=60), length=338)
    assert m.band_off is True
    assert m.band is not None
    assert m.band[1] == 338
    assert (m.stay, m.stay_off) == (338, True)
    closed = lying(tape(4310, due_in_days=10, band_days=(8, 13)))
    open_ended = lying(tape(4310, due_in_days=10, band_days=(8, 40)))
    assert closed.count("<line") == open_ended.count("<line") + 1  # no end tick


def test_beyond_75_days_the_date_edge_counts_months() -> None:
    # 10 gal a day: a week is 70 gal, a month 304.375 gal.
    near = marks(tape(4800, due_in_days=20), length=5500.0)
    far = marks(tape(3000, due_in_days=200), length=5500.0)
    assert near.weeks[0] == pytest.approx(4870)
    assert far.weeks[0] == pytest.approx(3304.375)


def test_an_exact_date_is_a_diamond_and_has_no_band() -> None:
    exact = tape(60, interval=90.0, due_in_days=30, band_days=(29, 31), calendar_only=True)
    assert marks(exact, length=338).band is None
    assert not found(lying(exact), "circle")
    assert found(lying(tape(60, interval=90.0, due_in_days=30)), "circle")


def test_a_date_that_does_not_follow_from_the_life_sets_no_dates() -> None:
    # Past its due line but dated ahead (postponed): no rate follows, so no stay and no weeks.
    m = marks(tape(5200, due_in_days=10, next_stay_days=3), length=338)
    assert m.stay is None
    assert m.weeks == ()


def test_smaller_services_are_notches_filled_when_done() -> None:
    svg = lying(tape(2500, notches=((1000, True), (2000, True), (3000, False), (9000, False))))
    arcs = [p for p in found(svg, "path") if "A5 5" in p.get("d", "")]
    assert [p.get("class") for p in arcs] == ["d-ink s-ink", "d-ink s-ink", "d-paper s-ink"]


@pytest.mark.parametrize(
    ("interval", "life"), [(1.0, 0.5), (999_999.0, 123_456.0), (30.0, 21.0), (0.25, 0.1)]
)
@pytest.mark.parametrize("draw", [lying, upright])
def test_the_figure_stays_inside_the_drawing(draw, interval: float, life: float) -> None:
    for value in (0.0, life, interval, interval * 1.1, interval * 4):
        svg = draw(tape(value, interval=interval))
        assert life_figure(value) in words(svg)
        root = parse(svg)
        width = float(root.get("viewBox", "").split()[2])
        for rect in root.iter("{http://www.w3.org/2000/svg}rect"):
            assert float(rect.get("x", "")) >= -0.01
            assert float(rect.get("x", "")) + float(rect.get("width", "")) <= width + 0.01


@given(
    interval=st.floats(0.5, 900_000),
    tolerance=st.floats(0, 0.5),
    share=st.floats(0, 3),
)
def test_ticks_are_few_and_numerals_two_to_five(
    interval: float, tolerance: float, share: float
) -> None:
    m = marks(tape(interval * share, interval=interval, tolerance=tolerance), length=338)
    numerals = [value for _, rank, value in m.ticks if rank == 2]
    assert len(m.ticks) <= 26
    assert 2 <= len(numerals) <= 5
    for at, _, value in m.ticks:
        assert at == pytest.approx(value / m.end * 338)
        # A 1-2-5 step: one leading digit, everything else zeros.
    step = m.ticks[0][2]
    assert re.match(r"^[125]0*$", f"{step:.6e}".split("e")[0].replace(".", ""))


def test_a_numeral_under_the_now_mark_is_left_out() -> None:
    shown = words(lying(tape(3010)))
    assert "3,010" in shown
    assert "3,000" not in shown
    assert "1,000" in shown


@pytest.mark.parametrize("draw", [lying, upright])
def test_one_image_with_its_sentence_escaped(draw) -> None:
    root = parse(draw(tape(10, title='Gun "A" <b> & co'), ident="tape-7"))
    assert root.get("role") == "img"
    assert root.get("aria-label") == 'Gun "A" <b> & co'
    assert root.get("id") == "tape-7"


@pytest.mark.parametrize("draw", DRAWINGS)
def test_no_drawing_needs_an_id_of_its_own(draw) -> None:
    """Twenty tapes may stand on one page: none refers to a pattern that another could also name."""
    svg = draw(tape(5501, due_in_days=-4))
    assert not re.search(r"\sid=|url\(", svg)


@pytest.mark.parametrize(
    "wrong", [{"interval": 0.0}, {"tolerance": -0.1}, {"life": -1.0}, {"interval": float("nan")}]
)
def test_nonsense_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="tape"):
        tape(**({"life": 1.0} | wrong))


def test_an_early_tolerance_is_hatched_the_other_way_up_to_the_due_line() -> None:
    early = tape(2000, early=0.1)
    assert marks(early, length=5500.0).early == pytest.approx(4500)
    for draw in DRAWINGS:
        assert draw(early).count("<path") == draw(tape(2000)).count("<path") + 1


def test_put_off_the_old_due_line_stays_thin_and_broken() -> None:
    # 100 gal a day: put off for 12 days it falls at 5,300 instead of 5,000.
    late = tape(4100, rate=100.0, due_in_days=12, put_off_in_days=12)
    m = marks(late, length=5500.0)
    assert (m.due, m.put_off, m.falls) == pytest.approx((5000, 5300, 5300))
    assert m.middle == pytest.approx(5300)
    for draw in (lying, upright):
        (thin,) = found(draw(late), "line", stroke_width="1.5", stroke_dasharray="3 3")
        (thick,) = found(draw(late), "line", stroke_width="3")
        assert thin.attrib != thick.attrib


def test_put_off_beyond_the_tolerance_the_blade_grows_and_nothing_is_past() -> None:
    # Past its tolerance of 500 gal already, put off for 10 days at 100 gal a day: 6,600 gal.
    m = marks(tape(5600, rate=100.0, due_in_days=10, put_off_in_days=10), length=660.0)
    assert m.past_tolerance is False
    assert m.end == pytest.approx(6600)
    assert (m.due, m.put_off) == pytest.approx((500, 660))
    assert "d-oxide" not in lying(tape(5600, rate=100.0, due_in_days=10, put_off_in_days=10))


def test_wanted_sooner_the_ring_lies_where_its_day_does() -> None:
    m = marks(tape(4100, rate=100.0, due_in_days=3), length=5500.0)
    assert m.middle == pytest.approx(4400)
    assert m.due == pytest.approx(5000)


def test_a_blade_without_a_date_says_so() -> None:
    assert words(lying(tape(None, unread="no date yet"))) == ["no date yet"]
    assert words(upright(tape(None, unread="no date yet"))) == ["no", "date", "yet"]


def test_an_early_tolerance_is_a_share() -> None:
    with pytest.raises(ValueError, match="share"):
        tape(1, early=1.5)
