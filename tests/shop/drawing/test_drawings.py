"""Numerals, icons, tags, strip, days and bars: valid, escaped, and said in words too."""

from __future__ import annotations

import itertools
import re
from datetime import date

import pytest

from shop.drawing import bars, days, icons, state, stencil, strip
from shop.drawing.svg import figure, hatch, ticks_for, width_of
from shop.drawing.tape import Tape
from tests.shop.drawing.svg_reader import NS, found, parse, words


def test_a_stencilled_number_is_read_aloud() -> None:
    root = parse(stencil.stencil(4, height=44))
    assert root.get("aria-label") == "rig 04"
    assert root.findtext(f"{NS}title") == "rig 04"
    assert root.get("height") == "44"
    assert [p.get("d") for p in root.iter(f"{NS}path")] == [
        stencil.STROKES["0"],
        stencil.STROKES["4"],
    ]


def test_a_stencil_is_never_under_20_px_and_takes_four_digits() -> None:
    root = parse(stencil.stencil("1112", height=8))
    assert root.get("height") == "20"
    assert root.get("viewBox") == "0 0 282 100"


def test_the_nine_is_the_six_turned_half_round() -> None:
    def corners(d: str) -> set[tuple[float, float]]:
        at, seen = (0.0, 0.0), set()
        for kind, numbers in re.findall(r"([MLHV])([\d. ]+)", d):
            values = [float(n) for n in numbers.split()]
            if kind == "H":
                at = (values[0], at[1])
            elif kind == "V":
                at = (at[0], values[0])
            for pair in zip(values[::2], values[1::2], strict=False) if kind in "ML" else ():
                at = pair
            seen.add(at)
        return seen

    six = corners(stencil.STROKES["6"])
    assert corners(stencil.STROKES["9"]) == {(60 - x, 100 - y) for x, y in six}


@pytest.mark.parametrize("wrong", ["", "4A", "−4", "²"])
def test_only_digits_have_a_stencil(wrong: str) -> None:
    assert not stencil.can_stencil(wrong)
    with pytest.raises(ValueError, match="digits"):
        stencil.stencil(wrong)


@pytest.mark.parametrize("kind", [*icons.SHAPES, *icons.SIGNS, "something new"])
def test_icons_are_valid_and_silent(kind: str) -> None:
    root = parse(icons.icon(kind, size=56))
    assert root.get("aria-hidden") == "true"
    assert root.get("width") == root.get("height") == "56"


def test_every_icon_keeps_to_the_path_letters_the_printed_sheet_reads() -> None:
    for shapes in (*icons.SHAPES.values(), *icons.HAZARDS.values(), icons.PLAIN):
        for shape in shapes:
            assert re.fullmatch(r"[MLHVCAZ0-9. -]+", shape.d), shape.d


@pytest.mark.parametrize(
    ("hazard", "kind"),
    [
        ("stored hydraulic energy", "pressure"),
        ("fluid injection through skin", "injection"),
        ("isocyanate vapour and mist; sensitisation", "lungs"),
        ("isocyanate on skin and eyes", "hand"),
        ("shock, arc, backfeed", "electricity"),
        ("air injection, flying debris", "eye"),
        ("scald", "heat"),
        ("carbon monoxide", "gas"),
        ("bypassed protection", "warning"),
        ("lungs", "lungs"),
    ],
)
def test_a_caution_finds_its_sign_by_its_words(hazard: str, kind: str) -> None:
    # Hazards as worded in reference/safety_cautions.csv.
    assert icons.hazard_kind(hazard) == kind


@pytest.mark.parametrize("kind", state.SHAPES)
def test_each_state_has_a_word_and_a_shape(kind: str) -> None:
    html = state.tag(kind)
    assert state.WORDS[kind] in html
    assert "<svg" in html
    parse(html)


def test_states_differ_without_colour() -> None:
    """With class names that only colour taken away, no two shapes are the same drawing."""
    grey = {
        shape: re.sub(r'(class="[^"]*"|<span class="word">[^<]*</span>)', "", state.tag(kind))
        for kind, shape in state.SHAPES.items()
        if kind != "none"
    }
    assert len(set(grey.values())) == len(set(state.SHAPES.values()))


def test_a_tag_escapes_its_word_and_refuses_a_state_of_its_own() -> None:
    assert "&lt;b&gt;" in state.tag("due", "<b>")
    with pytest.raises(ValueError, match="no tag"):
        state.tag("sort of due")


@pytest.mark.parametrize("step", range(5))
def test_punches_fill_one_hole_a_step(step: int) -> None:
    html = state.punches(step)
    assert html.count("d-ink s-ink") == step
    assert state.STEP_WORDS[step] in html


def test_a_void_sheet_is_struck_through() -> None:
    assert "<line" in state.punches(2, void=True)
    assert ">void<" in state.punches(2, void=True)
    assert "<line" not in state.punches(2)
    with pytest.raises(ValueError, match="four"):
        state.punches(5)


def test_sides_are_a_letter_or_nothing() -> None:
    assert ">A<" in state.side("A")
    assert "side-b" in state.side("B")
    assert state.side("") == ""


def test_a_value_out_of_limit_is_oxide_and_says_so() -> None:
    wrong = state.scale(57, None, 50, 46, "°F")
    right = state.scale(48, None, 50, 46, "°F")
    assert "out of limit" in (parse(wrong).get("aria-label") or "")
    assert "out of limit" not in (parse(right).get("aria-label") or "")
    assert found(wrong, "line", class_="s-oxide")
    assert not found(right, "line", class_="s-oxide")
    assert state.scale(5, None, None, 4, "psi") == ""


@pytest.mark.parametrize(
    ("value", "low", "high", "last"),
    [(0, 0, 0, 0), (None, 228, 252, None), (-40, None, -4, -8.5), (1e6, 0.001, None, 3)],
)
def test_a_scale_holds_whatever_is_measured(
    value: float | None, low: float | None, high: float | None, last: float | None
) -> None:
    parse(state.scale(value, low, high, last, "psi"))


@pytest.mark.parametrize(
    ("low", "high", "last", "value"),
    [
        (0, 2, 1.7, None),
        (0, 2, 60, 0.1),
        (None, 15, 9.5, 14.9),
        (900, 1100, 1000, 1182.5),
        (0, 0.005, 0.0012, None),
        (0.25, 0.5, 0.05, None),
        (-5, 5, -0.1, 3),
        (-200, 200, -12345.5, None),
        (12.4, 12.9, 12.64, 12.41),
        (None, -20, -34, None),
        (30, None, 31, 45),
    ],
)
def test_the_texts_of_a_scale_are_large_whole_and_apart(
    low: float | None, high: float | None, last: float, value: float | None
) -> None:
    drawn = parse(state.scale(value, low, high, last, "psi"))
    taken: list[tuple[float, float, float]] = []
    for each in drawn.iter():
        if each.tag.rpartition("}")[2] != "text":
            continue
        size, x, y = (float(each.get(name) or 0) for name in ("font-size", "x", "y"))
        assert size >= 16, each.text
        wide = width_of(each.text or "", size)
        left = x - wide * {"middle": 0.5, "end": 1.0}.get(each.get("text-anchor") or "", 0)
        assert left >= 0, each.text
        assert left + wide <= state.SCALE_WIDTH, each.text
        for row, begin, end in taken:
            assert abs(row - y) >= 14 or left >= end or left + wide <= begin, each.text
        taken.append((y, left, left + wide))


def position(order: int, flow: str, side: str = "", icon: str = "pump") -> strip.StripPosition:
    tape = Tape(unit="gal", interval=100, tolerance=0.1, life=50, title="half")
    return strip.StripPosition(
        order=order, name="Pump", side=side, tag="", icon=icon, flow=flow, tape=tape, service="",
        at_text="", state="clear", state_word="clear", date_text="", band_text="", href="",
        fitted=True,
    )  # fmt: skip


def test_a_runs_over_and_b_under_what_they_pass() -> None:
    rig = [
        position(1, "oil"),
        position(2, "material", "A"),
        position(3, "material", "B"),
        position(4, "material", "A"),
        position(5, "material", "B"),
        position(6, "material", icon="hose"),
        position(7, "material", icon="gun"),
    ]
    pieces = strip.flow_pieces(rig)
    assert [words(piece) for piece in pieces] == [[], [], ["A"], ["B"], ["A"], [], []]
    over = found(pieces[2], "text")[0]
    under = found(pieces[3], "text")[0]
    assert float(over.get("y", "")) < strip.MID < float(under.get("y", ""))


def ends(piece: str, x: float) -> set[float]:
    """The heights at which lines of a piece touch its left (0) or right edge."""
    seen = set()
    for path in parse(piece).findall(f"{NS}path"):
        for pair in re.findall(r"([\d.]+) ([\d.]+)", path.get("d", "")):
            if float(pair[0]) == x:
                seen.add(float(pair[1]))
    return seen


@pytest.mark.parametrize(
    "rig",
    [
        ["power", "air", "air", "oil", "material:A", "material:B", "material", "material"],
        ["material:A", "material:B", "material:A", "material:B", "material"],
        ["power", "", "air", "oil", "material:B", "material:A", "material"],
        ["oil", "material:A", "material"],
        ["material:A"],
        ["", "", ""],
        [f"material:{'AB'[i % 2]}" for i in range(16)],
    ],
)
def test_lines_of_neighbouring_columns_meet(rig: list[str]) -> None:
    positions = [
        position(n, flow.partition(":")[0], flow.partition(":")[2]) for n, flow in enumerate(rig)
    ]
    pieces = strip.flow_pieces(positions)
    assert ends(pieces[0], 0) == set()
    assert ends(pieces[-1], strip.WIDTH) == set()
    for left, right in itertools.pairwise(pieces):
        assert ends(left, strip.WIDTH) == ends(right, 0)


LANES = [
    days.DayLane(1, "Heron", (days.DayBar(-3, 11.7, "away", "barn job"),),
                 (days.DayMark(5.3, "gun <O-rings>", True),)),
    days.DayLane(5, "Plover", (days.DayBar(0, 9, "bench", "on the bench"),)),
    days.DayLane(1112, "Большой кроншнеп зимующий на дальнем берегу моря и озера",
                 (), (days.DayMark(10.5, "dryer", False),), "spare"),
]  # fmt: skip


def test_the_rule_of_days_is_one_image_of_valid_lines() -> None:
    svg = days.rule_of_days(date(2026, 11, 25), date(2026, 11, 23), LANES, "rule")
    root = parse(svg)
    assert root.get("id") == "rule"
    shown = words(svg)
    assert "25" in shown
    assert "Nov – Dec" in shown
    assert "barn job" in shown
    assert "gun <O-rings>" in shown
    # Names are never cut: all words of the longest stand there.
    assert set(LANES[2].name.split()) <= set(" ".join(shown).split())


def test_a_service_due_while_away_is_brass_with_a_dot() -> None:
    away = days.rule_of_days_phone(date(2026, 11, 25), date(2026, 11, 23), LANES[0])
    here = days.rule_of_days_phone(date(2026, 11, 25), date(2026, 11, 23), LANES[2])
    assert found(away, "path", class_="d-brass s-ink")
    assert found(away, "circle")
    assert not found(here, "path", class_="d-brass s-ink")
    assert not found(here, "circle")
    assert "falls due while away" in (parse(away).get("aria-label") or "")
    assert "falls due here" in (parse(here).get("aria-label") or "")


def test_spend_bars_end_where_the_figure_says() -> None:
    rows = [
        bars.SpendBar(5, "Plover", 38.1, 26.0),
        bars.SpendBar(1, "Heron", 19.05),
        bars.SpendBar(11, "Bittern", None),
    ]
    top = bars.top_of(rows)
    assert top > 38.1
    long, short = (
        float(found(bars.spend_bar(row, top=top), "rect")[0].get("width", "")) for row in rows[:2]
    )
    assert long == pytest.approx(2 * short, abs=0.02)
    assert "26.0 ¢ the year before" in (
        parse(bars.spend_bar(rows[0], top=top)).get("aria-label") or ""
    )
    assert words(bars.spend_bar(rows[2], top=top)) == ["no gallons yet"]
    parse(bars.spend_scale(bars.top_of([])))


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0, "0"),
        (12480, "12,480"),
        (0.5, "0.5"),
        (-3, "−3"),
        (-0.00001, "0"),
        (1999.99996, "2,000"),
        (0.045, "0.045"),
    ],
)
def test_figures_are_written_as_people_read_them(value: float, said: str) -> None:
    assert figure(value) == said


def test_hatch_stays_in_its_rectangle() -> None:
    for back in (False, True):
        pairs = re.findall(r"([-\d.]+) ([-\d.]+)", hatch(10, 20, 30, 12, gap=5, back=back))
        assert pairs
        assert all(10 <= float(x) <= 40 and 20 <= float(y) <= 32 for x, y in pairs)
    assert hatch(0, 0, 0, 5, gap=5) == ""
    with pytest.raises(ValueError, match="gap"):
        hatch(0, 0, 5, 5, gap=0)


@pytest.mark.parametrize("span", [0.01, 1, 26, 30, 90, 250, 500, 5000, 15000, 999_999])
def test_ticks_keep_their_promise(span: float) -> None:
    ticks = ticks_for(span)
    values = list(ticks.values(span))
    assert len(values) <= 26
    assert 2 <= sum(ticks.rank(v) == 2 for v in values) <= 5
    assert all(0 < v < span for v in values)
