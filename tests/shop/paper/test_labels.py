"""Labels are read back from the file: their words, their codes, where they stand."""

import re
from io import BytesIO

import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PageObject, PdfReader
from pypdf.generic import ContentStream

from shop.paper.label_sheets import SHEETS, LabelSheet
from shop.paper.labels import (
    BIN_MM,
    HOLE_MM,
    KIT_MM,
    QR_MM,
    BinLabel,
    DrawerList,
    Kept,
    KitTag,
    Label,
    labels_pdf,
    size_of,
    trial_pdf,
)
from shop.paper.pen import MM
from tests.shop.paper.reading import pages_text, text, text_spans

URL = "https://rigs.example/go/part/GK-100/"
BIN = BinLabel("Gun rebuild kit", "GK-100", URL, shelf="K", number="03", buy_at="buy at 3 pieces")
TAG = KitTag(
    "Gun rebuild kit", "GK-100", URL, line="kit of 23 parts", rig=4, sheet="0412", lot="8702",
    use_by="Feb 2027",
)  # fmt: skip
LIST = DrawerList(
    4,
    "Kestrel, drawer D1",
    "https://rigs.example/go/place/D1/",
    (Kept("side seals, A side", "2", 2), Kept("mix chamber", "1", 1), Kept("lube", "0.50 gal")),
)
sheets = pytest.mark.parametrize("sheet", SHEETS.values(), ids=list(SHEETS))


def read(*labels: Label, sheet: LabelSheet = SHEETS["letter-3x10"], start: int = 1) -> PdfReader:
    return PdfReader(BytesIO(labels_pdf(labels, sheet=sheet, start=start)))


def boxes(page: PageObject) -> list[tuple[float, float, float, float]]:
    """Framed rectangles of a page: x, y, width, height. [mm]"""
    return [
        tuple(float(value) / MM for value in operands)  # type: ignore[misc]
        for operands, operator in ContentStream(page.get_contents(), page.pdf).operations
        if operator == b"re"
    ]


def dark(reader: PdfReader, name: str) -> tuple[int, set[tuple[int, int]]]:
    """Modules across with the quiet zone, and the dark ones (down, across), of a stored code."""
    form = reader.pages[0]["/Resources"]["/XObject"][name].get_object()
    side = int(form["/BBox"][2])
    found = set()
    for operands, operator in ContentStream(form, reader).operations:
        if operator == b"re":
            x, y, width, height = (int(value) for value in operands)
            assert height == 1
            found.update((side - 1 - y, x + step) for step in range(width))
    return side, found


def test_says_all_of_it() -> None:
    said = text(read(BIN, TAG, LIST, BinLabel("Grease", "G-1", URL, place="Top shelf")))
    for words in (
        "K", "Gun rebuild kit", "GK-100", "buy at 3", "pieces", "kit of 23 parts", "0412", "8702",
        "Feb 2027", "Kestrel, drawer D1", "keep these here", "side seals, A side", "mix chamber",
        "0.50 gal", "Top", "shelf", "Grease",
    ):  # fmt: skip
        assert words in said, words


def test_a_code_is_the_standards_own_with_four_modules_of_quiet() -> None:
    """ISO/IEC 18004 by segno, decoded by nobody here: module for module."""
    reader = read(BIN, LIST)
    for name, url in zip(
        sorted(reader.pages[0]["/Resources"]["/XObject"]), (BIN.url, LIST.url), strict=True
    ):
        side, found = dark(reader, name)
        code = segno.make(url, error="m", micro=False).matrix
        assert side == len(code) + 8
        assert found == {
            (down + 4, across + 4)
            for down, row in enumerate(code)
            for across, is_dark in enumerate(row)
            if is_dark
        }


@given(st.text("ABCDEFGHKLMNPRSTUVWXYZ0123456789-", min_size=1, max_size=40), st.integers(3, 40))
def test_a_code_is_twelve_mm_or_more_and_its_modules_can_be_printed(part: str, host: int) -> None:
    """At 300 dots an inch a module of 0.25 mm is three dots; common practice, no source."""
    modules = len(segno.make(f"https://{'h' * host}/go/part/{part}/", error="m").matrix)
    assert QR_MM * modules / (modules + 8) >= 12
    assert QR_MM / (modules + 8) >= 0.25


@sheets
def test_labels_lie_inside_their_sheet_and_do_not_meet(sheet: LabelSheet) -> None:
    seen = []
    for place in range(sheet.count):
        x, y = sheet.corner(place)
        assert x >= -1e-9
        assert y >= -1e-9
        assert x + sheet.width <= sheet.page_width + 1e-9
        assert y + sheet.height <= sheet.page_height + 1e-9
        seen.append((x, y))
    for one, (x, y) in enumerate(seen):
        for u, v in seen[:one]:
            assert abs(x - u) >= sheet.width - 1e-9 or abs(y - v) >= sheet.height - 1e-9
    # The rest of the page is shared evenly by both margins, or the sheet would sit askew.
    right = sheet.page_width - seen[-1][0] - sheet.width
    assert right == pytest.approx(sheet.left, abs=0.1)
    assert seen[-1][1] == pytest.approx(sheet.top, abs=0.6)
    with pytest.raises(ValueError, match="labels"):
        sheet.corner(sheet.count)


@sheets
@given(data=st.data())
def test_what_is_drawn_is_of_its_size_and_on_its_label(
    sheet: LabelSheet, data: st.DataObject
) -> None:
    start = data.draw(st.integers(1, sheet.count))
    (page,) = read(BIN, sheet=sheet, start=start).pages
    assert float(page.mediabox.width) == pytest.approx(sheet.page_width * MM, abs=0.01)
    assert float(page.mediabox.height) == pytest.approx(sheet.page_height * MM, abs=0.01)
    frame = boxes(page)[0]
    x, y = sheet.corner(start - 1)
    assert frame[2:] == pytest.approx(BIN_MM, abs=0.01)
    assert frame[0] - x == pytest.approx((sheet.width - BIN_MM[0]) / 2, abs=0.01)
    assert frame[1] - y == pytest.approx((sheet.height - BIN_MM[1]) / 2, abs=0.01)


@sheets
@pytest.mark.parametrize("label", [BIN, TAG, LIST], ids=["bin", "kit", "list"])
def test_every_label_fits_every_sheet(sheet: LabelSheet, label: Label) -> None:
    width, height = size_of(label, sheet)
    assert width <= sheet.width
    assert height <= sheet.height


@pytest.mark.parametrize("name", ["Wörterbuch " * 10, "x" * 120, "Фильтр " * 8, "seal"])
@pytest.mark.parametrize("kind", ["bin", "kit", "list"])
def test_long_texts_stay_on_their_label_and_whole(name: str, kind: str) -> None:
    sheet = SHEETS["letter-3x10"]
    label: Label = {
        "bin": BinLabel(name.strip(), "P" * 40, URL, place="Q" * 40, buy_at="buy at 99,999 pieces"),
        "kit": KitTag(name.strip(), "P" * 40, URL, "kit of 23 parts, from K-03", 9999, "12345",
                      "L" * 60, "Feb 2027"),
        "list": DrawerList(9999, name.strip(), URL, (Kept(name.strip(), "99,999", 0),)),
    }[kind]  # fmt: skip
    (page,) = read(label).pages
    x, y = sheet.corner(0)
    for start, base, end in text_spans(page):
        assert x * MM <= start
        assert end <= (x + sheet.width) * MM
        assert y * MM <= base <= (y + sheet.height) * MM
    squeezed = re.sub(r"\s", "", page.extract_text())
    assert re.sub(r"\s", "", name) in squeezed


def test_begins_at_the_label_that_is_still_there() -> None:
    sheet = SHEETS["letter-3x10"]
    reader = read(*[BIN] * 12, start=20)
    assert len(reader.pages) == 2
    first, second = pages_text(reader)
    assert first.count("GK-100") == 11
    assert second.count("GK-100") == 1
    assert len(read(*[BIN] * 30).pages) == 1
    assert len(read(*[BIN] * 31).pages) == 2
    for wrong in (0, 31):
        with pytest.raises(ValueError, match="labels"):
            read(BIN, sheet=sheet, start=wrong)
    with pytest.raises(ValueError, match="no label"):
        read()


def test_a_long_drawer_list_goes_on_on_the_next_label() -> None:
    long = DrawerList(4, "Kestrel", URL, tuple(Kept(f"part {n}", "1", 1) for n in range(12)))
    said = text(read(long))
    assert "1 of 3" in said
    assert "3 of 3" in said
    assert all(f"part {n}" in said for n in range(12))


def circles(page: PageObject) -> list[float]:
    """How wide each closed outline of four curves is. [mm]"""
    found, xs, curves = [], [], 0
    for operands, operator in ContentStream(page.get_contents(), page.pdf).operations:
        if operator == b"m":
            xs, curves = [float(operands[0])], 0
        elif operator == b"c":
            xs.append(float(operands[4]))
            curves += 1
            if curves == 4:
                found.append((max(xs) - min(xs)) / MM)
    return found


def test_one_ring_for_each_piece_to_keep() -> None:
    (page,) = read(LIST).pages
    assert len(circles(page)) == 3


def test_a_kit_tag_is_punched_three_mm() -> None:
    (page,) = read(TAG).pages
    assert circles(page) == [pytest.approx(HOLE_MM, abs=0.01)]


def ticks(page: PageObject) -> list[float]:
    """Where upright strokes of the scale stand, from its left end. [mm]"""
    found, start = [], (0.0, 0.0)
    for operands, operator in ContentStream(page.get_contents(), page.pdf).operations:
        if operator == b"m":
            start = (float(operands[0]), float(operands[1]))
        elif operator == b"l":
            end = (float(operands[0]), float(operands[1]))
            if abs(start[0] - end[0]) < 1e-6 and 0 < end[1] - start[1] < 2 * MM:
                found.append(start[0] / MM)
    return found


def test_the_lower_edge_is_a_true_millimetre_scale() -> None:
    x, _ = SHEETS["letter-3x10"].corner(0)
    left = x + (SHEETS["letter-3x10"].width - BIN_MM[0]) / 2
    assert ticks(read(BIN).pages[0]) == pytest.approx([left + mm for mm in range(53)], abs=0.01)
    assert KIT_MM == (60, 24)


@sheets
def test_the_test_print_shows_every_label_and_true_rulers(sheet: LabelSheet) -> None:
    reader = PdfReader(BytesIO(trial_pdf(sheet)))
    (page,) = reader.pages
    found = {tuple(round(each, 2) for each in box) for box in boxes(page)}
    edges = [(*sheet.corner(n), sheet.width, sheet.height) for n in range(sheet.count)]
    assert found == {tuple(round(each, 2) for each in edge) for edge in edges}
    across = ticks(page)
    assert across[-1] - across[0] == pytest.approx(100, abs=0.01)
    said = text(reader)
    assert "100 mm" in said
    assert all(re.search(rf"\b{n}\b", said) for n in range(1, sheet.count + 1))


def test_equal_labels_give_equal_bytes() -> None:
    sheet = SHEETS["a4-3x8"]
    assert labels_pdf([BIN, TAG, LIST], sheet=sheet) == labels_pdf([BIN, TAG, LIST], sheet=sheet)
