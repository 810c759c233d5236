"""Widths and line breaking."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reportlab.pdfbase.pdfmetrics import stringWidth

from shop.paper.type import clean, line, plain, wrap


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
