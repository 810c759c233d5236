"""Widths and line breaking."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfbase.pdfmetrics import stringWidth

from shop.paper.type import at_most, clean, line, plain, wrap


def letters(lines) -> str:
    return "".join(run.text for text in lines for run in text.runs)


def test_width_agrees_with_reportlab() -> None:
    text = line("Oil and filter, 228 V", size=9.75)
    assert text.width == pytest.approx(stringWidth("Oil and filter, 228 V", "Archivo", 9.75))


@given(st.text(max_size=200), st.floats(min_value=30, max_value=500))
def test_no_line_is_wider_than_its_column_and_no_letter_is_lost(text: str, width: float) -> None:
    lines = plain(text, size=9.75, width=width)
    assert all(made.width <= width + 1e-6 for made in lines)
    wanted = clean(text).replace(" ", "").replace("\n", "")
    assert len(letters(lines).replace(" ", "")) == len(wanted)


def test_what_is_longer_than_its_lines_ends_in_an_ellipsis() -> None:
    said = "Bleed the circuit, open the housing, renew the element. " * 20
    made = at_most(3, said, width=200)
    assert len(made) == 3
    assert letters(made).endswith("…")
    assert said.replace(" ", "").startswith(letters(made)[:-1].replace(" ", ""))
    assert at_most(3, "Bleed it.\nOpen it.", width=200) == plain("Bleed it.\nOpen it.", width=200)
    assert at_most(3, "", width=200) == ()


def test_figures_have_one_width() -> None:
    # look.md, Type: tabular figures everywhere
    for bold in (False, True):
        assert len({round(line(digit, bold=bold).width, 6) for digit in "0123456789"}) == 1


def test_no_break_space_keeps_a_figure_with_its_unit() -> None:
    lines = plain("torque 45\u00a0Nm", width=line("torque 45").width + 1)
    assert [letters((made,)) for made in lines] == ["torque", "45\u00a0Nm"]


def test_newline_breaks_and_weights_alternate() -> None:
    lines = wrap(("Shore power", True), ("plug out\nlocked", False), size=9.75, width=300)
    assert [[run.face for run in made.runs] for made in lines] == [
        ["Archivo-Bold", "Archivo"],
        ["Archivo"],
    ]
    assert letters(lines) == "Shore power plug outlocked"


def test_empty_text_has_no_lines() -> None:
    assert plain("", width=100) == ()
    assert plain("  \n ", width=100) == ()


def test_accents_are_composed_so_that_the_face_has_them() -> None:
    assert [run.face for run in line("Gro\u0308ße").runs] == ["Archivo"]


@pytest.mark.parametrize(
    ("name", "drawn"),
    [
        ("שלום כהן", "ןהכ םולש"),
        ("סדנה 4 (תל אביב)", "(ביבא לת) 4 הנדס"),
        ("read: שלום כהן, 25 Nov 2026", "read: ןהכ םולש, 25 Nov 2026"),
        # Joined: a first, two middle and a last form; lam and alef are one.
        ("محمد", "\ufeaa\ufee4\ufea4\ufee3"),
        ("علي لا", "\ufefb \ufef2\ufee0\ufecb"),
        ("محمد, 07:46", "\ufeaa\ufee4\ufea4\ufee3, 07:46"),
        ("الله", "\ufeea\ufee0\ufedf\ufe8d"),
        ("王小明, サトウ", "王小明, サトウ"),
        ("김민수, B. Sorrel", "[GimMinSu], B. Sorrel"),
        ("\ue000", "□"),
    ],
)
@pytest.mark.parametrize("bold", [False, True])
def test_letters_stand_in_the_order_in_which_they_are_drawn(
    name: str, drawn: str, bold: bool
) -> None:
    assert letters((line(name, bold=bold),)) == drawn
    assert letters(plain(name, width=400, bold=bold)) == drawn


def test_a_long_name_from_right_to_left_breaks_in_reading_order() -> None:
    words = "שלום כהן"
    first, second = plain(words, width=line("שלום").width + 1)
    assert letters((first,)) == "םולש"
    assert letters((second,)) == "ןהכ"
