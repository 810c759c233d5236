"""The order on paper: read back, and set so that nothing runs into anything."""

import re
from io import BytesIO
from itertools import pairwise

import pytest
from pypdf import PdfReader

from shop.paper.content import PageSize
from shop.paper.order_paper import OrderPaper, OrderPaperLine, order_pdf
from tests.shop.paper.reading import pages_text, text_spans

LINE = OrderPaperLine(
    their_number="CLGK100",
    name="gun rebuild kit",
    our_number="GK-100",
    packs="5",
    pack="1 piece",
    by="3 Dec",
    price="$182.62",
    total="$913.10",
)
LONG = OrderPaperLine(
    their_number="ÄÖ-" + "9" * 40,
    name="Dichtungssatz für Kolbenstange, Σετ στεγανοποίησης, комплект прокладок " * 2,
    our_number="PU-" + "1" * 50,
    packs="1,200",
    pack="12 gun grease cartridges",
    by="Wed 3 Mar 2027",
    price="$12,345.67",
    total="$14,814,804.00",
)


def paper(*lines: OrderPaperLine, **more: object) -> OrderPaper:
    given = {
        "shop_name": "Tern Hollow Insulating",
        "number": 57,
        "supplier": "Copper Lake Spray Supply",
        "contact": "order desk: 555 0142\norders@copperlake.example",
        "cells": (("Our account", "TH-2207"), ("Sent on", "26 Nov"), ("Ordered by", "R. C.")),
        "lines": lines,
        "total": "Total $913.10",
        "note": "Please send with the Tuesday truck.",
        "printed_text": "Printed 26 Nov 2026 08:20",
        **more,
    }
    return OrderPaper(**given)  # type: ignore[arg-type]


def read(order: OrderPaper, page_size: PageSize = "letter") -> PdfReader:
    return PdfReader(BytesIO(order_pdf(order, page_size=page_size)))


def test_it_says_what_whence_at_which_price_and_by_when() -> None:
    reader = read(paper(LINE))
    (said,) = pages_text(reader)
    for word in (
        "Order 57",
        "Tern Hollow Insulating",
        "Copper Lake Spray Supply",
        "orders@copperlake.example",
        "TH-2207",
        "CLGK100",
        "ours: GK-100",
        "3 Dec",
        "$182.62",
        "$913.10",
        "Total $913.10",
        "Please send with the Tuesday truck.",
        "Order 57, page 1 of 1",
    ):
        assert word in said, word
    assert "draft" not in said
    assert reader.metadata is not None
    assert reader.metadata.title == "Order 57, Tern Hollow Insulating to Copper Lake Spray Supply"


def test_a_draft_says_that_it_was_not_sent() -> None:
    (said,) = pages_text(read(paper(LINE, is_draft=True)))
    assert "Order 57, draft, not sent" in said


@pytest.mark.parametrize("page_size", ["letter", "a4"])
@pytest.mark.parametrize("count", [1, 17, 18, 19, 20, 21, 22, 60])
def test_every_line_stands_once_and_the_total_with_a_line_above_it(
    page_size: PageSize, count: int
) -> None:
    lines = [
        OrderPaperLine(f"T-{n:03}", "seal", f"U-{n:03}", "1", "1 piece", "", "", "")
        for n in range(count)
    ]
    pages = pages_text(read(paper(*lines), page_size))
    found = re.findall(r"T-\d{3}", " ".join(pages))
    assert found == [line.their_number for line in lines]
    assert "Total $913.10" in pages[-1]
    assert re.search(r"T-\d{3}", pages[-1])
    assert all("Your number" in page for page in pages)
    assert [f"page {n} of {len(pages)}" in page for n, page in enumerate(pages, 1)] == [True] * len(
        pages
    )


def test_long_and_foreign_words_stay_in_their_columns() -> None:
    for page in read(paper(LONG, LONG, supplier="Ω" * 90, note="word " * 200)).pages:
        spans = sorted(text_spans(page), key=lambda span: (-span[1], span[0]))
        width = float(page.mediabox.width)
        for start, _, end in spans:
            assert start >= 0
            assert end <= width - 20
        for (_, y, end), (start, other, _) in pairwise(spans):
            if y == other:
                assert end <= start + 0.5


def test_equal_orders_give_equal_bytes() -> None:
    assert order_pdf(paper(LINE)) == order_pdf(paper(LINE))
