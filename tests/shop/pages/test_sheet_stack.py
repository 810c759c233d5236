"""The sheets of a week in one file: the list on top, a bookmark each, and nothing forgotten."""

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from html import unescape
from io import BytesIO
from uuid import uuid4

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from pypdf import PdfReader

from equipment.models import Service
from equipment.services.taking import set_minutes
from shop.models import Person, Role, ServiceSheet, Shop
from shop.services.clocking import start_time
from shop.services.drafting import hand_out, void_sheet
from shop.services.paper import paper_of
from shop.services.sheet_stack import sheets_of_week, stack_of
from shop.services.signing import sign_sheet
from tests.inventory.pages.browsing import text_of
from tests.shop.paper.reading import pages_text
from tests.shop.worlds import NOW, TODAY, SheetWorld, sheet_world


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def desk(client_as: Callable[..., Client]) -> Client:
    return client_as("manager")


def stack(desk: Client, query: str = "") -> PdfReader:
    answer = desk.get(f"/sheets/week.pdf{query}")
    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/pdf"
    return PdfReader(BytesIO(answer.content))


def titles(reader: PdfReader) -> list[tuple[str, int]]:
    """The outline's first level, each with its page from 1."""
    return [
        (str(entry.title), (reader.get_destination_page_number(entry) or 0) + 1)
        for entry in reader.outline
        if not isinstance(entry, list)
    ]


@pytest.fixture
def two(world: SheetWorld) -> tuple[ServiceSheet, ServiceSheet]:
    """A sheet of today, one of tomorrow."""
    first = world.draft(world.oil)
    return first, world.draft(world.rebuild, planned_on=TODAY + timedelta(days=1))


def test_a_week_is_a_list_and_each_sheet_with_its_bookmark(
    world: SheetWorld, desk: Client, two: tuple[ServiceSheet, ServiceSheet], technician: Person
) -> None:
    hand_out(sheet=two[0], technician=technician, author=world.manager, at=NOW)
    reader = stack(desk, f"?from={TODAY}")
    found = pages_text(reader)
    listed = found[0]
    for words in (
        *(f"{sheet.number:04d}" for sheet in two),
        world.fleet.rig.name,
        "oil and filter",
        "full rebuild",
        technician.name,
        "not handed out",
        "List, page 1 of 1",
    ):
        assert words in listed, words
    names = titles(reader)
    assert names[0] == ("Sheets in this file", 1)
    assert [name for name, _ in names[1:]] == [
        f"Sheet {sheet.number:04d}, {world.fleet.rig.name}" for sheet in two
    ]
    for sheet, (_, page) in zip(two, names[1:], strict=True):
        assert f"Sheet {sheet.number:04d}, page 1 of" in found[page - 1]


def test_the_list_says_whose_and_how_long_as_the_sheets_inside_say_it(
    world: SheetWorld,
    desk: Client,
    two: tuple[ServiceSheet, ServiceSheet],
    technician: Person,
    person_as: Callable[..., Person],
) -> None:
    """By hand: 45 and 90 min asked for; the oil takes 65 as set, the gun 101 as learnt: 166."""
    first, _ = two
    other = person_as(Role.TECHNICIAN, sign_in="second")
    set_minutes(service=world.oil.version.service, minutes=65, author=world.manager, at=NOW)
    Service.objects.filter(pk=world.rebuild.version.service_id).update(learnt_minutes=101)
    hand_out(sheet=first, technician=technician, author=world.manager, at=NOW)
    for who in (technician, other):
        start_time(sheet=first, event_id=uuid4(), author=who, at=NOW, recorded_at=NOW)
    sheets = sheets_of_week(TODAY)
    with CaptureQueriesContext(connection) as queries:
        listed = stack_of(sheets, title="A week", printed_at=NOW, today=TODAY)
    assert len(queries) == 4
    assert [row.planned_text for row in listed.rows] == ["1 h 5 min", "1 h 41 min"]
    assert ("Planned work", "2 h 46 min") in listed.cells
    assert [row.technician for row in listed.rows] == [
        f"{technician.name}, with {other.name}",
        "not handed out",
    ]
    for sheet, row in zip(two, listed.rows, strict=True):
        inside = paper_of(ServiceSheet.objects.get(pk=sheet.pk), today=TODAY, system="us").cells
        assert ("Planned work", row.planned_text) in inside
        assert ("Technician", row.technician) in inside
        assert row.planned_text in text_of(desk.get(f"/sheets/{sheet.number}/"))


def test_the_list_says_on_which_pages_each_sheet_lies(
    desk: Client, two: tuple[ServiceSheet, ServiceSheet]
) -> None:
    reader = stack(desk, f"?from={TODAY}")
    starts = [page for _, page in titles(reader)[1:]]
    ends = [start - 1 for start in starts[1:]] + [len(reader.pages)]
    form = reader.pages[0]["/Resources"]["/XObject"]
    (pages,) = [form[name].get_object() for name in form]
    content = pages.get_data().decode("latin-1")
    # The digits of the form are set in the first subset, whose codes are those of ASCII.
    said = "".join(part.split(")")[0] for part in content.split("(")[1:])
    for start, end in zip(starts, ends, strict=True):
        assert str(start) in said
        assert str(end) in said
    links = [note.get_object() for note in reader.pages[0]["/Annots"]]
    assert len(links) == 2


def test_other_weeks_and_void_sheets_are_left_out(
    world: SheetWorld, desk: Client, two: tuple[ServiceSheet, ServiceSheet]
) -> None:
    void_sheet(sheet=two[0], author=world.manager, at=NOW, reason="rig sold", request_id=uuid4())
    names = [name for name, _ in titles(stack(desk, f"?from={TODAY}"))]
    assert [f"{sheet.number:04d}" in " ".join(names) for sheet in two] == [False, True]
    empty = desk.get("/sheets/week.pdf?from=2020-01-06", follow=True)
    assert "No sheet is planned for" in text_of(empty)


def test_those_picked_are_printed_whatever_their_week(
    desk: Client, two: tuple[ServiceSheet, ServiceSheet]
) -> None:
    names = titles(stack(desk, f"?picked=yes&sheet={two[1].number}"))
    assert [name for name, _ in names[1:]] == [f"Sheet {two[1].number:04d}, {two[1].rig.name}"]
    nothing = desk.get("/sheets/week.pdf?picked=yes&sheet=x&sheet=99999999999999", follow=True)
    assert "Pick sheets" in text_of(nothing)


def test_a_signed_sheet_lies_in_the_stack_as_it_was_signed(
    world: SheetWorld, desk: Client, technician: Person
) -> None:
    sheet = world.draft(world.oil)
    sign_sheet(
        sheet=sheet,
        author=technician,
        at=NOW,
        signature="T. Reed",
        labour_minutes=90,
        leave_undone=True,
        signing_id=uuid4(),
    )
    world.fleet.rig.name = "Renamed"
    world.fleet.rig.save()
    found = " ".join(pages_text(stack(desk, f"?picked=yes&sheet={sheet.number}"))[1:])
    assert "T. Reed" in found
    assert "Renamed" not in found


@pytest.mark.parametrize("day", ["yesterday", "2026-02-30", "9999-12-31"])
def test_what_is_no_day_is_said_to_be_none(desk: Client, day: str) -> None:
    assert desk.get(f"/sheets/week.pdf?from={day}").status_code == 404


def test_the_page_of_sheets_leads_there(
    desk: Client, two: tuple[ServiceSheet, ServiceSheet]
) -> None:
    page = desk.get("/sheets/").content.decode()
    assert 'action="/sheets/week.pdf"' in page
    assert f'name="sheet" value="{two[0].number}"' in page
    assert "?from=" in page


def links_of(desk: Client, page: str) -> dict[str, str]:
    """The papers that a page leads to, by the words of the link."""
    found = re.findall(
        r'<a[^>]*href="([^"]*[.]pdf[^"]*)"[^>]*>(.*?)</a>', html_of(desk, page), re.S
    )
    return {" ".join(said.split()): unescape(href) for href, said in found}


def html_of(desk: Client, page: str) -> str:
    return desk.get(page).content.decode()


@pytest.mark.parametrize(
    ("units", "usual", "other", "size", "name"),
    [
        ("us", (612, 792), (595, 842), "a4", "A4"),
        ("metric", (595, 842), (612, 792), "letter", "Letter"),
    ],
)
def test_the_other_size_of_paper_is_offered_where_one_prints(
    desk: Client,
    world: SheetWorld,
    units: str,
    usual: tuple[int, int],
    other: tuple[int, int],
    size: str,
    name: str,
) -> None:
    Shop.objects.update(units=units)
    sheet = world.draft()

    def printed_on(address: str) -> tuple[int, int]:
        (first, *_) = PdfReader(BytesIO(desk.get(address).content)).pages
        return round(first.mediabox.width), round(first.mediabox.height)

    on_sheet, on_list = (links_of(desk, page) for page in (f"/sheets/{sheet.number}/", "/sheets/"))
    assert printed_on(on_sheet["Print"]) == usual
    assert printed_on(on_sheet[f"Print on {name}"]) == other
    assert printed_on(on_list["This week’s on paper (PDF)"]) == usual
    assert printed_on(on_list[f"This week’s on {name}"]) == other
    next_week = on_list["Next week’s on paper (PDF)"]
    assert on_list[f"Next week’s on {name}"] == f"{next_week}&paper={size}"
    form = html_of(desk, "/sheets/")
    assert '<input type="hidden" name="picked" value="yes">' in form
    button = rf'name="paper"\s+value="{size}">Print those picked on {name}</button>'
    assert re.search(button, form)
    assert printed_on(f"/sheets/week.pdf?picked=yes&sheet={sheet.number}&paper={size}") == other
