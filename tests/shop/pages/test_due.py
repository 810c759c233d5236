"""The due list: its rows, its filters, its pages by key, what is taken away, what is picked."""

import csv
import io
import re
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from openpyxl import load_workbook

from equipment.due import FAR_DATE
from equipment.models import Due
from shop import duelist
from shop.models import Shop
from tests.shop.pages import world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _on_that_day(shop: Shop, time_machine: Any) -> None:
    time_machine.move_to(world.AT, tick=False)


@pytest.fixture
def client(client_as: Any) -> Client:
    return client_as("manager")


def shown(response: Any) -> list[int]:
    return [row.due.pk for row in response.context["rows"]]


def text_of(response: Any) -> str:
    """What the page says, without its markup."""
    body = re.sub(r"<svg.*?</svg>|<script.*?</script>", "", response.content.decode(), flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body))


def queries_of(client: Client, url: str) -> list[str]:
    with CaptureQueriesContext(connection) as captured:
        assert client.get(url).status_code == 200
    return [each["sql"] for each in captured.captured_queries]


# --- what a row says ---------------------------------------------------------------


def test_a_row_says_everything_a_manager_asks(client: Client) -> None:
    rig = world.make_rig(4, name="Kestrel")
    version = world.make_service("Gun", "full rebuild")
    part = world.make_part("GK-1", name="gun kit", usual_cost_cents=21_200)
    world.need(version, part)
    world.stock(part, 1)
    world.make_due(
        world.fit(rig, "Gun"),
        version,
        due_date=world.days(10),
        since=4310,
        interval=5000,
        measure="gallons",
    )

    text = text_of(client.get("/due/"))

    for words in (
        "rig 04",
        "Kestrel , gun full rebuild",
        "4,310 of 5,000 gal",
        "due soon",
        "about 12 Mar",
        "here",
        "$212.00",
    ):
        assert words in text


def test_a_date_by_the_calendar_is_fixed_and_not_about(client: Client) -> None:
    rig = world.make_rig(4)
    world.make_due(
        world.fit(rig, "Dryer"),
        due_date=world.days(9),
        since=0,
        interval=30,
        measure="days",
        read_on=world.days(-21),
        rate_per_day=None,
    )

    text = text_of(client.get("/due/"))

    assert "21 of 30 d" in text
    assert "11 Mar fixed" in text
    assert "about" not in text


@pytest.mark.parametrize(
    ("row", "word"),
    [
        ({"due_date": world.days(15)}, "clear"),
        ({"due_date": world.days(14)}, "due soon"),
        ({"due_date": world.days(0), "late_date": world.days(5)}, "due"),
        ({"due_date": world.days(-5), "late_date": world.days(-1)}, "overdue"),
        ({"due_date": world.days(20), "read_on": world.days(-23)}, "not read 23 d"),
    ],
)
def test_the_state_of_a_row(client: Client, row: dict[str, Any], word: str) -> None:
    """Fourteen days of warning; a reading older than fourteen days says so."""
    world.make_due(world.fit(world.make_rig(4)), **row)

    rows = client.get("/due/").context["rows"]

    assert [each.state_word for each in rows] == [word]


def test_what_was_read_as_past_due_says_so_however_old_it_is(client: Client) -> None:
    world.make_overdue(world.fit(world.make_rig(4)), read_on=world.days(-40))

    assert client.get("/due/").context["rows"][0].state_word == "overdue"


def test_a_kit_promised_to_another_sheet_is_short(client: Client, manager: Any) -> None:
    from inventory.services import Need, reserve

    version = world.make_service()
    part = world.make_part("P-1", name="packing kit")
    world.need(version, part)
    world.stock(part, 1)
    world.make_due(world.fit(world.make_rig(4)), version, due_date=world.days(1))
    assert client.get("/due/").context["rows"][0].kit.word == "here"

    reserve(
        needs=[Need(part, 1)],
        places=[world.make_place("K-01")],
        source_kind="sheet",
        source_number=9,
        author=manager,
        at=world.AT,
    )

    kit = client.get("/due/").context["rows"][0].kit
    assert (kit.word, kit.short_text) == ("short 1", "packing kit")


def test_a_rigs_own_drawer_counts_and_no_others(client: Client) -> None:
    version = world.make_service()
    part = world.make_part("P-1")
    world.need(version, part)
    for number in (4, 7):
        rig = world.make_rig(number)
        world.make_due(world.fit(rig), version, due_date=world.days(number))
        drawer = world.make_drawer(rig)
        if number == 4:
            world.stock(part, 1, drawer)

    kits = {row.due.rig_number: row.kit.word for row in client.get("/due/").context["rows"]}

    assert kits == {4: "here", 7: "short 1"}


def test_a_kit_out_of_date_is_not_here(client: Client) -> None:
    version = world.make_service()
    part = world.make_part("P-1")
    world.need(version, part)
    world.stock(part, 1, expires_on=world.days(-1))
    world.make_due(world.fit(world.make_rig(4)), version, due_date=world.days(1))

    assert client.get("/due/").context["rows"][0].kit.word == "short 1"


def test_a_kit_may_be_made_of_its_pieces(client: Client) -> None:
    from inventory.services import KitLineSpec, set_kit_lines

    version = world.make_service()
    kit = world.make_part("K-1", is_kit=True)
    seal, ring = world.make_part("S-1", name="seal"), world.make_part("R-1", name="ring")
    set_kit_lines(
        kit=kit,
        lines=[KitLineSpec(part=seal, quantity_steps=1), KitLineSpec(part=ring, quantity_steps=2)],
        author=world.author(),
        at=world.AT,
    )
    world.need(version, kit)
    world.stock(seal, 1)
    world.stock(ring, 1)
    world.make_due(world.fit(world.make_rig(4)), version, due_date=world.days(1))

    kit_row = client.get("/due/").context["rows"][0].kit
    assert (kit_row.word, kit_row.short_text) == ("short 1", "ring")

    world.stock(ring, 1)
    assert client.get("/due/").context["rows"][0].kit.word == "here"


def test_a_service_on_an_open_sheet_names_it_instead_of_a_box(client: Client) -> None:
    rig = world.make_rig(4)
    taken = world.make_due(world.fit(rig), due_date=world.days(1))
    free = world.make_due(world.fit(rig, "Gun"), due_date=world.days(2))
    world.make_sheet(411, taken)

    page = client.get("/due/").content.decode()

    assert "sheet 0411" in page
    assert f'name="due" value="{taken.pk}"' not in page
    assert f'name="due" value="{free.pk}"' in page


# --- filters ---------------------------------------------------------------


@pytest.fixture
def spread() -> dict[str, Due]:
    """Due rows on two rigs, from overdue to far away."""
    one, two = world.make_rig(1), world.make_rig(2)
    electric = world.make_service("Generator", "load test", skill="electrician")
    return {
        "overdue": world.make_overdue(world.fit(one)),
        "due": world.make_due(
            world.fit(one, "Gun"), due_date=world.days(-1), late_date=world.days(4)
        ),
        "soon": world.make_due(world.fit(two), due_date=world.days(14)),
        "month": world.make_due(world.fit(two, "Generator"), electric, due_date=world.days(30)),
        "far": world.make_due(world.fit(two, "Gun"), due_date=world.days(31)),
        "none": world.make_due(world.fit(one, "Dryer"), due_date=FAR_DATE, rate_per_day=None),
    }


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("", ["overdue", "due", "soon", "month"]),
        ("before=overdue", ["overdue"]),
        ("before=due", ["overdue", "due"]),
        ("before=soon", ["overdue", "due", "soon"]),
        ("before=all", ["overdue", "due", "soon", "month", "far", "none"]),
        ("before=all&rig=2", ["soon", "month", "far"]),
        ("before=all&skill=electrician", ["month"]),
        ("before=all&sort=rig", ["overdue", "due", "none", "soon", "month", "far"]),
        ("before=overdue&rig=2", []),
    ],
)
def test_filters(client: Client, spread: dict[str, Due], query: str, names: list[str]) -> None:
    assert shown(client.get(f"/due/?{query}")) == [spread[name].pk for name in names]


def test_a_kind_of_component_can_be_asked_for(client: Client, spread: dict[str, Due]) -> None:
    kind = world.make_kind("Gun")

    response = client.get(f"/due/?before=all&kind={kind.pk}")

    assert shown(response) == [spread["due"].pk, spread["far"].pk]


@pytest.mark.parametrize(
    "query", ["rig=77", "before=never", "kind=x", "skill=wizard", "sort=luck", "by=never"]
)
def test_a_filter_that_does_not_exist_is_said_beside_it(client: Client, query: str) -> None:
    world.make_due(world.fit(world.make_rig(1)), due_date=world.days(1))

    response = client.get(f"/due/?{query}")

    assert response.status_code == 422
    html = response.content.decode()
    assert 'class="field wrong"' in html
    assert "1 of 1 shown." in html


def test_laid_up_rigs_and_components_on_the_bench_are_not_listed(client: Client) -> None:
    world.make_due(world.fit(world.make_rig(4, is_laid_up=True)), due_date=world.days(1))

    assert shown(client.get("/due/?before=all")) == []


def test_htmx_gets_the_list_without_the_page_around_it(
    client: Client, spread: dict[str, Due]
) -> None:
    response = client.get("/due/?before=all", headers={"HX-Request": "true"})

    body = response.content.decode()
    assert "<html" not in body
    assert "due-list" in body
    assert "HX-Request" in response["Vary"]


# --- nothing to show ---------------------------------------------------------------


def test_an_empty_list_names_what_comes_next(client: Client) -> None:
    world.make_due(
        world.fit(world.make_rig(5, name="Plover"), "Compressor"),
        world.make_service("Compressor", "intake filter"),
        due_date=world.days(38),
    )

    text = text_of(client.get("/due/"))

    assert "Nothing falls due like that." in text
    assert "The next is 05 Plover, Compressor, intake filter, about 9 Apr." in text
    assert "Show everything" in text


def test_a_shop_without_services_says_what_will_stand_here(client: Client) -> None:
    assert "Nothing falls due." in text_of(client.get("/due/?before=all"))


# --- pages by key ---------------------------------------------------------------


def many(count: int) -> set[int]:
    """Rows of which several share a day and a rig, so that only the key tells them apart."""
    rigs = [world.make_rig(number) for number in (3, 1, 2)]
    version = world.make_service()
    return {
        world.make_due(
            world.fit(rigs[n % 3]),
            version,
            due_date=world.days(n % 4),
            odds_due_permille=n % 5 * 100,
            kit_cents=n % 3 * 10_000_000_000,
        ).pk
        for n in range(count)
    }


ORDERS = {
    "date": ("due_date", "pk"),
    "rig": ("rig_number", "due_date", "pk"),
    "odds": ("-odds_due_permille", "pk"),
    "kits": ("-kit_cents", "pk"),
}


@pytest.mark.parametrize("sort", ORDERS)
def test_paging_walks_every_row_exactly_once(client: Client, sort: str) -> None:
    rows = many(127)
    seen: list[int] = []
    url = f"/due/?sort={sort}"
    for _ in range(10):
        response = client.get(url)
        seen += shown(response)
        if not response.context["next_query"]:
            break
        url = f"/due/{response.context['next_query']}"

    assert len(seen) == 127
    assert set(seen) == rows
    expected = Due.objects.order_by(*ORDERS[sort]).values_list("pk", flat=True)
    assert seen == list(expected)


def test_a_row_that_goes_does_not_shift_the_next_page(client: Client) -> None:
    """What an offset would get wrong: done on page one, a row of page two would be skipped."""
    many(60)
    first = client.get("/due/")
    following = list(Due.objects.order_by("due_date", "pk").values_list("pk", flat=True))[50:]
    Due.objects.get(pk=shown(first)[0]).delete()

    second = client.get(f"/due/{first.context['next_query']}")

    assert shown(second) == following


@pytest.mark.parametrize(
    "after", ["x", "1.2026-02-31.4", "1.2026-03-02", "1.2026-03-02.99999999999999999999", "'--"]
)
def test_a_cursor_nobody_gave_out_is_no_page(client: Client, after: str) -> None:
    assert client.get("/due/", {"after": after}).status_code == 404


def test_a_cursor_reads_what_it_writes() -> None:
    cursor = duelist.Cursor(4, date(2026, 3, 2), 17)

    assert duelist.Cursor.read(str(cursor)) == cursor


def test_the_count_stops_at_a_thousand(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    many(12)
    assert "12 of 12 shown." in text_of(client.get("/due/"))

    monkeypatch.setattr(duelist, "COUNTED", 10)

    assert "12 of 10+ shown." in text_of(client.get("/due/"))


# --- how many queries ---------------------------------------------------------------


def test_as_many_queries_at_thirty_rows_as_at_three(client: Client) -> None:
    world.make_fleet(2)
    few = queries_of(client, "/due/?before=all")

    world.make_fleet(20, first=3)

    assert len(queries_of(client, "/due/?before=all")) == len(few)


def test_the_rows_come_in_one_query_that_joins_nothing_to_find_them(client: Client) -> None:
    world.make_fleet(3)

    rows = [sql for sql in queries_of(client, "/due/?rig=1&sort=rig") if "ORDER BY" in sql]
    of_due = [sql for sql in rows if 'FROM "equipment_due"' in sql and "LIMIT 51" in sql]

    assert len(of_due) == 1
    where = of_due[0].split("WHERE")[1]
    assert set(re.findall(r'"(equipment_\w+)"\."', where)) == {"equipment_due"}


# --- taken away ---------------------------------------------------------------


def rows_of_csv(response: Any) -> list[dict[str, str]]:
    text = b"".join(response.streaming_content).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text)))


def test_a_csv_file_holds_the_rows_of_all_pages_in_their_order(client: Client) -> None:
    many(120)
    world.make_overdue(world.fit(world.make_rig(9), "Gun"))
    query = "before=due&sort=rig"
    pages = [client.get(f"/due/?{query}")]
    while pages[-1].context["next_query"]:
        pages.append(client.get(f"/due/{pages[-1].context['next_query']}"))
    rows = [row for page in pages for row in page.context["rows"]]

    response = client.get(f"/due/?{query}&export=csv")

    assert response["Content-Disposition"] == 'attachment; filename="due-2026-03-02.csv"'
    assert [
        (row["Rig"], row["Tag"], row["State"], row["Falls due"], row["Kit"])
        for row in rows_of_csv(response)
    ] == [
        (
            str(row.due.rig_number),
            row.due.tag,
            row.state_word,
            f"{row.due.due_date:%Y-%m-%d}",
            row.kit.word,
        )
        for row in rows
    ]


def test_a_workbook_holds_the_same_as_the_csv_file(client: Client, spread: dict[str, Due]) -> None:
    text = rows_of_csv(client.get("/due/?before=all&export=csv"))

    response = client.get("/due/?before=all&export=xlsx")

    sheet = load_workbook(io.BytesIO(response.content)).active
    assert sheet is not None
    head, *rows = sheet.iter_rows(values_only=True)
    assert [str(name) for name in head] == list(text[0])
    assert [row[4] for row in rows] == [row["Service"] for row in text]
    dates = [row[10].date() if row[10] else None for row in rows]  # type: ignore[union-attr]
    assert dates == [
        date.fromisoformat(row["Falls due"]) if row["Falls due"] else None for row in text
    ]
    assert dates[-1] is None  # no date is an empty cell, not the year 9999


def test_a_name_that_looks_like_a_formula_stays_text(client: Client) -> None:
    rig = world.make_rig(4, name="=1+1")
    world.make_due(world.fit(rig), due_date=world.days(1))

    assert rows_of_csv(client.get("/due/?export=csv"))[0]["Name"] == "'=1+1"
    book = load_workbook(io.BytesIO(client.get("/due/?export=xlsx").content)).active
    assert book is not None
    assert (book["B2"].value, book["B2"].data_type) == ("=1+1", "s")


def test_a_long_list_is_written_a_stretch_at_a_time(shop: Shop) -> None:
    many(25)

    walked = duelist.walk(Due.objects.listed(), sort="date", today=world.TODAY, shop=shop, size=7)

    assert [row.due.pk for row in walked] == list(
        Due.objects.order_by("due_date", "pk").values_list("pk", flat=True)
    )


# --- picking ---------------------------------------------------------------


def test_the_bar_adds_up_what_is_ticked(client: Client) -> None:
    """Two services of 60 min, one kit of $48.00 each, one there: the second is short."""
    rig = world.make_rig(4, name="Kestrel")
    version = world.make_service()
    part = world.make_part("P-1", name="packing kit")
    world.need(version, part)
    world.stock(part, 1)
    dues = [world.make_due(world.fit(rig, side=side), version) for side in "AB"]

    text = text_of(client.get("/due/picked/", {"due": [due.pk for due in dues]}))

    assert "2 services picked, Kestrel" in text
    assert "2 h on the bench, $96.00 in parts" in text
    assert "Kits: 1 here, 1 short" in text
    assert "Draft a sheet for 04" in text


def test_two_rigs_are_explained(client: Client) -> None:
    dues = [world.make_due(world.fit(world.make_rig(number))) for number in (4, 7)]

    response = client.get("/due/picked/", {"due": [due.pk for due in dues]})

    assert "A sheet is for one rig." in text_of(response)
    assert "04 Osprey and 07 Avocet" in text_of(response)
    assert "disabled" in response.content.decode()


@pytest.mark.parametrize("ticked", [[], ["x", "-1", "9" * 40], ["123456"]])
def test_nothing_ticked_drafts_nothing(client: Client, ticked: list[str]) -> None:
    response = client.get("/due/picked/", {"due": ticked})

    assert "Nothing is ticked." in text_of(response)
    assert "disabled" in response.content.decode()


def test_the_bar_costs_as_many_queries_for_twenty_as_for_two(client: Client) -> None:
    rig = world.make_rig(4)
    version = world.make_service()
    world.need(version, world.make_part("P-1"))
    dues = [str(world.make_due(world.fit(rig), version).pk) for _ in range(20)]

    few = queries_of(client, f"/due/picked/?due={'&due='.join(dues[:2])}")

    assert len(queries_of(client, f"/due/picked/?due={'&due='.join(dues)}")) == len(few)


# --- who may ---------------------------------------------------------------


@pytest.mark.parametrize("role", ["technician", "owner"])
def test_others_read_the_list_and_pick_nothing(client_as: Any, role: str) -> None:
    due = world.make_due(world.fit(world.make_rig(4)), due_date=world.days(1))
    world.make_sheet(411, due)
    client = client_as(role)

    page = client.get("/due/").content.decode()

    assert 'name="due"' not in page
    assert "pickbar" not in page
    assert "sheet 0411" in page
    assert client.get("/due/picked/").status_code == 403


def test_a_long_fleet_is_asked_for_by_number(client: Client) -> None:
    for number in range(1, 102):
        world.make_rig(number)
    due = world.make_due(world.fit(world.make_rig(500)), due_date=world.days(1))

    response = client.get("/due/?rig=500")

    assert shown(response) == [due.pk]
    assert '<input type="number" name="rig" value="500"' in response.content.decode()
    assert client.get("/due/?rig=x").status_code == 422
