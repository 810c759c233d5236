"""The drawing of a rig: one page, all of its words in it, whatever they are."""

import re
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader

from shop.drawing.strip import StripPosition
from shop.drawing.tape import Tape
from shop.paper.rig_drawing import RigDrawing, rig_drawing_pdf

LONG = "Großer Brachvogel zum Überwintern auf der Baustelle am Fluss"
CYRILLIC = "Большой кроншнеп, установка на прицепе, два насоса и шланг"


def position(order: int, **changes: Any) -> StripPosition:
    values: dict[str, Any] = {
        "order": order,
        "name": "Pump",
        "side": "A",
        "tag": f"{order} · PU-{order:03}",
        "icon": "pump",
        "flow": "material",
        "tape": Tape(
            unit="gallons",
            interval=5000,
            tolerance=0.1,
            life=4310,
            title="",
            due_in_days=10,
            band_days=(8, 13),
            next_stay_days=26,
            notches=((1000.0, True), (4500.0, False)),
            early=0.05,
        ),
        "service": "packing and seals",
        "at_text": "at 5,000 gallons",
        "state": "soon",
        "state_word": "due soon",
        "date_text": "about 5 Dec",
        "band_text": "3 – 8 Dec",
        "href": "",
        "fitted": True,
        "since_text": "2 Jul · gallons",
    }
    return StripPosition(**(values | changes))


def drawing(*positions: StripPosition, **changes: Any) -> RigDrawing:
    values: dict[str, Any] = {
        "rig_number": 4,
        "title": "Kestrel",
        "shop_name": "Tern Hollow Insulating",
        "printed_text": "Printed 25 Nov 2026 14:10",
        "positions": positions,
    }
    return RigDrawing(**(values | changes))


def read(page: bytes) -> tuple[int, str]:
    reader = PdfReader(BytesIO(page))
    text = " ".join(each.extract_text() for each in reader.pages)
    return len(reader.pages), re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("size", ["letter", "a4"])
@pytest.mark.parametrize("count", [0, 1, 10, 11, 16])
def test_it_is_one_page_that_says_everything(size: Any, count: int) -> None:
    shown = drawing(
        *(position(place) for place in range(1, count + 1)),
        found=(("scuff cover split at joint 3", "17 Nov"),),
        drawer=(("gun kit, use by 1 Mar 2028", "1 each"),),
        jobs=(("loft at Eastley", "30 Nov – 18 Dec"),),
    )
    pages, text = read(rig_drawing_pdf(shown, page_size=size))

    assert pages == 1
    for words in ("Kestrel", "scuff cover split", "gun kit", "30 Nov – 18 Dec", "Rig drawing 04"):
        assert words in text
    assert text.count("packing and seals") == count
    assert text.count("3 – 8 Dec") == count
    for place in range(1, count + 1):
        assert f"PU-{place:03}" in text


def test_sixteen_positions_with_long_and_cyrillic_names_stay_on_one_page_and_uncut() -> None:
    shown = drawing(
        *(
            position(place, name=(LONG, CYRILLIC)[place % 2], service="полный ремонт")
            for place in range(1, 17)
        ),
        title=f"{LONG} / {CYRILLIC}",
    )
    pages, text = read(rig_drawing_pdf(shown))

    assert pages == 1
    assert text.count("Überwintern") == 9
    assert text.count("кроншнеп") == 9
    assert "□" not in text


def test_a_list_too_long_for_the_page_counts_the_rest() -> None:
    rows = tuple((f"found {place}", "17 Nov") for place in range(60))
    shown = drawing(*(position(place) for place in range(1, 17)), found=rows)
    pages, text = read(rig_drawing_pdf(shown))

    assert pages == 1
    listed = len(re.findall(r"found \d+", text))
    assert f"and {60 - listed} more" in text
    assert listed > 0


def test_it_says_whether_the_rig_is_ready_and_letters_the_sides_where_they_pass() -> None:
    shown = drawing(
        position(1, side="A", name="Feed pump", tag="1"),
        position(2, side="B", name="Feed pump", tag="2"),
        position(3, side="", name="Hose", tag="3", icon="hose"),
        ready="ready with: gun, full rebuild (63 %)",
    )
    _, text = read(rig_drawing_pdf(shown))
    _, without = read(rig_drawing_pdf(drawing(*shown.positions)))

    assert "ready with: gun, full rebuild (63 %)" in text
    assert "ready with" not in without
    # Beside its own position, and once more where it passes over the pump of the other side.
    assert len(re.findall(r"\bA\b", text)) == 2
    assert len(re.findall(r"\bB\b", text)) == 1


def test_what_is_empty_is_said() -> None:
    empty = position(
        1, tape=None, fitted=False, service="", state="none", state_word="", at_text=""
    )
    _, text = read(rig_drawing_pdf(drawing(empty)))

    assert "nothing fitted" in text
    assert "Nothing is open on this rig." in text
    assert "The drawer is empty." in text
    assert "Nothing takes it away." in text


def test_past_tolerance_put_off_and_never_read_are_drawn() -> None:
    tape = Tape(unit="h", interval=500, tolerance=0.1, life=561, title="")
    put_off = Tape(
        unit="h",
        interval=500,
        tolerance=0.1,
        life=490,
        title="",
        due_in_days=9,
        rate=5.0,
        put_off_in_days=9,
    )
    unread = Tape(unit="h", interval=500, tolerance=0.1, life=None, title="")
    pages, text = read(
        rig_drawing_pdf(
            drawing(*(position(n, tape=each) for n, each in enumerate((tape, put_off, unread), 1)))
        )
    )
    assert pages == 1
    assert "561" in text
    assert "490" in text
    assert "no reading yet" in text


def test_the_file_says_what_it_is_and_carries_its_fonts() -> None:
    shown = drawing(position(1), language="de")
    page = rig_drawing_pdf(shown)
    reader = PdfReader(BytesIO(page))

    assert reader.metadata is not None
    assert reader.metadata.title == "Rig 04, Kestrel"
    assert reader.root_object["/Lang"] == "de"
    resources: Any = reader.pages[0]["/Resources"]
    used = [font.get_object() for font in resources["/Font"].values()]
    embedded = [font for font in used if "/FontDescriptor" in font]
    assert embedded
    assert all("/FontFile2" in font["/FontDescriptor"] for font in embedded)
    assert page == rig_drawing_pdf(shown)


def test_another_paper_is_refused() -> None:
    with pytest.raises(KeyError):
        rig_drawing_pdf(drawing(), page_size="a3")  # type: ignore[arg-type]
