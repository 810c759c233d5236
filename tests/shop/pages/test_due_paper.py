"""The due list on paper: everything on it is read back from the file."""

from io import BytesIO
from typing import Any

import pytest
from django.test import Client
from pypdf import PdfReader

from shop.models import Shop
from tests.shop.pages import world
from tests.shop.pages.test_due import many
from tests.shop.pages.test_due_odds import a_row

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _on_that_day(shop: Shop, time_machine: Any) -> None:
    time_machine.move_to(world.AT, tick=False)


def printed(client: Client, query: str = "") -> PdfReader:
    response = client.get(f"/due/?export=pdf&{query}")
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    return PdfReader(BytesIO(response.content))


def text_of(reader: PdfReader) -> str:
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def test_paper_says_what_the_page_says(client_as: Any) -> None:
    a_row()

    text = text_of(printed(client_as("manager"), "rig=4&sort=odds"))

    for words in (
        "Rigs: 04 Kestrel",
        "Sort by: odds",
        "about 12 Mar",
        "9 – 16 Mar",
        "63 % by 14 Mar",
        "past its tolerance: 12 % by 14 Mar",
        "page 1 of 1",
    ):
        assert words in text


@pytest.mark.parametrize(("paper", "size"), [("letter", (792, 612)), ("a4", (842, 595))])
def test_it_is_landscape_and_every_page_says_which_it_is(
    client_as: Any, paper: str, size: tuple[int, int]
) -> None:
    many(90)

    reader = printed(client_as("manager"), f"paper={paper}")

    pages = reader.pages
    assert {(round(page.mediabox.width), round(page.mediabox.height)) for page in pages} == {size}
    assert len(pages) > 2
    for number, page in enumerate(pages, start=1):
        text = page.extract_text()
        assert f"page {number} of {len(pages)}" in text
        assert "Odds of falling due" in text


def test_every_face_is_embedded(client_as: Any) -> None:
    a_row()

    for page in printed(client_as("manager")).pages:
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]
            face = font.get_object()
            if face["/BaseFont"] != "/Helvetica":  # the canvas names it and sets nothing in it
                assert "/FontFile2" in face["/FontDescriptor"]


def test_a_list_without_rows_says_so(client_as: Any) -> None:
    assert "Nothing falls due like that." in text_of(printed(client_as("manager")))


def test_a_filter_that_does_not_exist_prints_nothing(client_as: Any) -> None:
    assert client_as("manager").get("/due/?export=pdf&rig=77").status_code == 422
