"""A life drawn as one line: what is in it, to scale, and nothing that is not."""

import re
from dataclasses import replace
from datetime import date
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.drawing.lifetime import FOUND, PHONE, RENEWED, WIDE, LifeLine, Mark, Stay, life_line

BORN = date(2025, 3, 10)
LIFE = LifeLine(
    first=BORN,
    days=400,
    stays=(
        Stay(0, 100, "04 pump A", "04"),
        Stay(150, 152, "02 pump A", "02"),
        Stay(200, 400, "02 pump A", "02"),
    ),
    marks=(Mark(100, RENEWED), Mark(180, FOUND)),
    estimated=((95, 105),),
    breaks=(300,),
    opening="1,200 strokes before it came",
    life="at least 41,200 strokes",
    label="P-1, in service since 10 Mar 2025; life at least 41,200 strokes.",
)
BARE = replace(LIFE, stays=(), marks=(), estimated=(), breaks=(), opening="", life="0 strokes")


def words_of(drawing: str) -> list[str]:
    return re.findall(r"<text[^>]*>([^<]*)</text>", drawing)


@pytest.mark.parametrize("phone", [False, True])
def test_says_what_each_sign_means_and_the_life(phone: bool) -> None:
    said = words_of(life_line(LIFE, phone=phone))
    for words in (
        "at least 41,200 strokes",
        "1,200 strokes before it came",
        "service done",
        "found work",
        "reset, not all seen",
        "use estimated",
        "04 pump A",
    ):
        assert said.count(words) == 1, words


def test_no_sign_is_explained_that_is_not_there() -> None:
    said = words_of(life_line(BARE))
    assert "0 strokes" in said
    assert not {"service done", "found work", "reset, not all seen", "use estimated"} & set(said)


def test_bars_are_to_scale() -> None:
    bars = re.findall(
        r'<rect x="([\d.]+)"[^>]*width="([\d.]+)"[^>]*class="d-steel"', life_line(LIFE)
    )
    (first, one), (_, short), (third, long) = [(float(x), float(w)) for x, w in bars]
    # A hundred days, two, two hundred.
    assert long / one == pytest.approx(2, abs=0.01)
    assert short / one == pytest.approx(0.02, abs=0.005)
    assert (third - first) / one == pytest.approx(2, abs=0.01)


def test_it_is_one_image_with_its_sentence_and_no_inline_style() -> None:
    for phone, width in ((False, WIDE), (True, PHONE)):
        drawn = life_line(LIFE, phone=phone)
        root = ElementTree.fromstring(drawn)
        assert root.get("role") == "img"
        assert root.get("aria-label") == LIFE.label
        assert root.get("viewBox", "").split()[2] == f"{width:g}"
        assert "style" not in drawn


@given(
    days=st.floats(1, 8000),
    stays=st.lists(st.tuples(st.floats(0, 8000), st.floats(0, 8000)), max_size=12),
    phone=st.booleans(),
)
def test_whatever_the_life_the_drawing_stays_inside(
    days: float, stays: list[tuple[float, float]], phone: bool
) -> None:
    life = replace(
        LIFE,
        days=days,
        stays=tuple(Stay(min(each), max(each), "12 heated hose", "12") for each in stays),
    )
    drawn = life_line(life, phone=phone)
    ElementTree.fromstring(drawn)
    width = PHONE if phone else WIDE
    for x, wide in re.findall(r'<rect x="(-?[\d.]+)"[^>]*width="([\d.]+)"', drawn):
        assert float(x) >= 0
        assert float(x) + float(wide) <= width + 2


def test_a_young_life_is_ruled_in_days() -> None:
    said = words_of(life_line(replace(BARE, days=20)))
    assert {"10 Mar", "12 Mar", "28 Mar"} <= set(said)
