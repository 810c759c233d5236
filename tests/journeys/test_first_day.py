"""The first manager of an empty installation: the shop, its rigs from a file, its people."""

import csv
import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from equipment.models import Rig
from shop.models import Person, Shop
from tests.journeys.acting import said, sign_in_by_form
from tests.journeys.conftest import DESK, PHONE, Look

pytestmark = pytest.mark.postgresql_too


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_first_manager_sets_up_the_shop(
    page_at: Callable[..., Page], look: Look, db: None, width: int
) -> None:
    page = page_at(width)
    founds_the_shop(page, look)
    enters_a_rig_by_hand(page, look)
    brings_the_others_from_a_file(page, look)
    adds_a_technician(page, page_at(width), look)


def founds_the_shop(page: Page, look: Look) -> None:
    page.goto("/")  # whatever was asked for, this page comes first
    expect(page.get_by_role("heading", name="Set up the shop")).to_be_visible()
    look(page, schemes=("light", "dark"))
    page.get_by_label("Name of the shop").fill("Foam Works")
    page.get_by_label("Time zone").select_option("America/Denver")
    page.get_by_label("Your name").fill("D. Marsh")
    page.get_by_label("Sign-in name").fill("marsh")
    page.get_by_label("Password", exact=True).fill("seven bent nails")
    page.get_by_label("again", exact=False).fill("seven bent nail")
    page.get_by_role("button", name="Open the shop").click()
    expect(page.get_by_text("The two passwords differ.")).to_be_visible()
    look(page)
    assert not Shop.objects.exists()
    expect(page.get_by_label("Your name")).to_have_value("D. Marsh")
    page.get_by_label("Password", exact=True).fill("seven bent nails")
    page.get_by_label("again", exact=False).fill("seven bent nails")
    page.get_by_role("button", name="Open the shop").click()
    expect(page.get_by_text("No rig is entered yet.")).to_be_visible()
    look(page)
    for address in ("/rigs/", "/due/", "/sheets/", "/parts/", "/buying/", "/components/"):
        page.goto(address)  # each says what comes next, and none falls over
        look(page)


def enters_a_rig_by_hand(page: Page, look: Look) -> None:
    page.goto("/rigs/")
    page.get_by_role("link", name="New rig").first.click()
    expect(page.get_by_role("heading", name="New rig")).to_be_visible()
    look(page)
    page.get_by_label("Number").fill("1")
    page.get_by_label("Name").fill("Heron")
    for counter in ("Generator hours", "Compressor hours", "A strokes", "B strokes"):
        page.get_by_label(f"{counter} show now").fill("1204")
    page.get_by_role("button", name="Add the rig").click()
    said(page, "is there")
    look(page)
    assert Rig.objects.get().positions.count() == 10


def brings_the_others_from_a_file(page: Page, look: Look) -> None:
    page.goto("/import/")
    look(page)
    with page.expect_download() as taken:
        page.get_by_role("link", name=re.compile(r"Empty file, csv.*, Rigs", re.I)).click()
    empty = taken.value.path().read_text("utf-8-sig")
    headings, example = list(csv.reader(io.StringIO(empty)))[:2]
    wren = dict(zip(headings, example, strict=True)) | {"Rig number": "2", "Rig name": "Wren"}
    bad = wren | {"Rig number": "two", "Rig name": "Kestrel"}
    good = wren | {"Rig number": "3", "Rig name": "Kestrel"}

    chooses(page, "rigs-1.csv", headings, wren, bad)
    expect(page.get_by_text("1 row cannot be taken")).to_be_visible()
    expect(page.get_by_role("region", name="What is wrong")).to_contain_text("3")
    expect(page.get_by_role("button", name="Import")).to_have_count(0)
    look(page, schemes=("light", "dark"))
    assert Rig.objects.count() == 1  # nothing was written

    page.get_by_role("link", name="Choose the file again").click()
    chooses(page, "rigs-2.csv", headings, wren, good)
    expect(page.get_by_text("All 2 rows of this file are good.")).to_be_visible()
    look(page)
    assert Rig.objects.count() == 1  # nothing yet
    page.get_by_role("button", name="Import 2 rows").click()
    said(page, "2 rows are imported.")
    look(page)
    assert list(Rig.objects.values_list("number", "name").order_by("number")) == [
        (1, "Heron"),
        (2, "Wren"),
        (3, "Kestrel"),
    ]
    page.goto("/import/")
    chooses(page, "rigs-2-again.csv", headings, wren, good)
    expect(page.get_by_text("This file was imported already")).to_be_visible()
    look(page)


def chooses(page: Page, name: str, headings: list[str], *rows: dict[str, Any]) -> None:
    out = io.StringIO()
    writer = csv.DictWriter(out, headings)
    writer.writeheader()
    writer.writerows(rows)
    page.get_by_label("What is in the file").select_option(label="Rigs")
    page.get_by_label("File", exact=True).set_input_files(
        {"name": name, "mimeType": "text/csv", "buffer": out.getvalue().encode()}
    )
    page.get_by_role("button", name="Look at the file").click()


def adds_a_technician(page: Page, phone: Page, look: Look) -> None:
    page.goto("/shop/")
    look(page)
    page.get_by_role("link", name="People").last.click()
    expect(page.get_by_role("heading", name="People")).to_be_visible()
    look(page)
    page.get_by_role("link", name="Add somebody").click()
    page.get_by_label("Name", exact=True).fill("B. Sorrel")
    page.get_by_label("Sign-in name").fill("sorrel")
    page.get_by_label("Role").select_option(label="Technician")
    page.get_by_label("Password", exact=True).fill("four holes in a tag")
    page.get_by_label("again", exact=False).fill("four holes in a tag")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_role("main")).to_contain_text("B. Sorrel")
    look(page)
    assert Person.objects.get(sign_in="sorrel").role == "technician"

    phone.goto("/rigs/2/")
    sign_in_by_form(phone, "sorrel")
    expect(phone.get_by_role("heading", name="Wren")).to_be_visible()
    look(phone)
