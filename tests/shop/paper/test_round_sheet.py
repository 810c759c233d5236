"""The printed round sheet: everything on it is read back from the file."""

import re
from dataclasses import replace
from io import BytesIO

import pytest
from pypdf import PdfReader

from shop.paper.content import PageSize
from shop.paper.document import MARGIN
from shop.paper.round_sheet import RoundCheck, RoundCounter, RoundPaper, round_sheets_pdf
from tests.shop.paper.reading import pages_text, sizes, text, text_spans

WEEK = tuple(
    f"{name} {day} Nov"
    for day, name in enumerate(("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"), start=23)
)
PAPER = RoundPaper(
    rig_number=4,
    title="Kestrel",
    shop_name="Foam Works",
    days=WEEK,
    printed_text="Printed 20 Nov 2026 16:05",
    cells=(("Days", "Mon 23 Nov – Sun 29 Nov 2026"), ("Job", "Barn, north roof")),
    checks=(
        RoundCheck("Generator", "Oil between the marks", sign="below the lower mark"),
        RoundCheck("Generator", "Air filter clean", is_weekly=True),
        RoundCheck("Pump", "Lubricant clear", side="A"),
        RoundCheck("Pump", "Lubricant clear", side="B"),
    ),
    counters=(
        RoundCounter("Generator hours", "last 4,653.8 h, 22 Nov", "expect 4,654 to 4,740"),
        RoundCounter("A strokes", "not read yet"),
    ),
    open_work=("Scuff cover split at joint 3",),
)


def read(*papers: RoundPaper, page_size: PageSize = "letter") -> PdfReader:
    return PdfReader(BytesIO(round_sheets_pdf(papers, page_size=page_size)))


def test_says_all_of_it() -> None:
    said = text(read(PAPER))
    for words in (
        "Round sheet", "Kestrel", "Foam Works", "Barn, north roof",
        *WEEK,
        "Generator hours", "last 4,653.8 h, 22 Nov, expect 4,654 to 4,740", "not read yet",
        "Oil between the marks", "below the lower mark",
        "Air filter clean", "once this week, on",
        "A drum, gallons left", "New B drum put on, its full size",
        "Name or initials", "Open: Scuff cover split at joint 3", "rig must not leave",
        "Printed 20 Nov 2026 16:05",
    ):  # fmt: skip
        assert words in said, words


def test_names_itself_and_its_parts() -> None:
    reader = read(PAPER)
    assert reader.metadata is not None
    assert reader.metadata.title == "Round sheet, rig 04, Mon 23 Nov – Sun 29 Nov"
    assert reader.metadata.author == "Foam Works"
    assert reader.trailer["/Root"]["/Lang"] == "en"
    first, parts = reader.outline
    assert first.title == "Rig 04, Kestrel"
    assert [each.title for each in parts] == [
        "Counters",
        "Drums",
        "Who walked it",
        "Checks of the round",
        "Found work",
    ]


@pytest.mark.parametrize(
    ("page_size", "width", "height"), [("letter", 792, 612), ("a4", 841.89, 595.28)]
)
def test_lies_on_its_side_and_stays_inside_its_margins(
    page_size: PageSize, width: float, height: float
) -> None:
    for page in read(PAPER, page_size=page_size).pages:
        assert float(page.mediabox.width) == pytest.approx(width, abs=0.01)
        assert float(page.mediabox.height) == pytest.approx(height, abs=0.01)
        for start, baseline, end in text_spans(page):
            assert start >= MARGIN - 0.1
            assert end <= width - MARGIN + 0.1
            assert MARGIN - 0.1 <= baseline <= height - MARGIN


def test_nothing_is_set_under_eight_points() -> None:
    assert min(sizes(read(PAPER))) >= 8


def test_each_page_counts_itself_and_repeats_the_days() -> None:
    many = tuple(RoundCheck("Generator", f"Check number {n}") for n in range(60))
    pages = pages_text(read(replace(PAPER, checks=many)))
    assert len(pages) >= 3
    for number, said in enumerate(pages, start=1):
        assert f"Round sheet, rig 04, page {number} of {len(pages)}" in said
        assert re.search(r"(Mon 23 Nov.*){1}", said)
    assert "Generator, continued" in pages[-2] + pages[-1]


def test_several_rigs_in_one_file_each_with_its_own_pages() -> None:
    reader = read(PAPER, replace(PAPER, rig_number=11, title="Bittern"))
    said = pages_text(reader)
    assert reader.metadata is not None
    assert reader.metadata.title == "Round sheets, Mon 23 Nov – Sun 29 Nov"
    assert [each.title for each in reader.outline if not isinstance(each, list)] == [
        "Rig 04, Kestrel",
        "Rig 11, Bittern",
    ]
    half = len(said) // 2
    assert f"rig 11, page 1 of {half}" in said[half]


def test_is_black_on_white() -> None:
    """No colour operator stands in any page: grey 0 for ink, and paper where nothing is."""
    for page in read(PAPER).pages:
        drawn = page.get_contents().get_data().decode("latin-1")  # type: ignore[union-attr]
        assert not re.search(r"(?<![\d.])(rg|RG|k|K)\s", drawn)


@pytest.mark.parametrize(
    "words",
    ["x" * 200, "Обогреватель " * 12, "Überlänge " * 15, "تجربة", "a\nb", "<b>&amp;"],
)
def test_takes_any_words(words: str) -> None:
    reader = read(
        replace(
            PAPER,
            title=words,
            checks=(RoundCheck(words[:60], words, sign=words),),
            counters=(RoundCounter(words, words, words),),
            open_work=(words,),
        )
    )
    assert reader.pages


def test_a_rig_with_nothing_to_check_still_has_lines_to_write_on() -> None:
    said = text(read(replace(PAPER, checks=(), counters=(), open_work=(), days=WEEK[:3])))
    assert "Found work" in said
    assert "Thu" not in said


def test_equal_sheets_give_equal_bytes_and_none_is_refused() -> None:
    assert round_sheets_pdf([PAPER]) == round_sheets_pdf([PAPER])
    with pytest.raises(ValueError, match="no rig"):
        round_sheets_pdf([])
