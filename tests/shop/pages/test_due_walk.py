"""The due list walked as people do: page by page in each order, filtered, taken away, mistyped."""

import csv
import io
import random
import re
from datetime import date
from html import unescape
from typing import Any

import pytest
from django.test import Client
from openpyxl import load_workbook
from pypdf import PdfReader

from equipment.models import Due
from shop.models import Shop
from tests.shop.pages import world

pytestmark = pytest.mark.django_db

ROWS = 130
SORTS = {
    "date": lambda due: (due.due_date, due.pk),
    "rig": lambda due: (due.rig_number, due.due_date, due.pk),
    "odds": lambda due: (-due.odds_due_permille, due.pk),
    "kits": lambda due: (-due.kit_cents, due.pk),
}


@pytest.fixture(autouse=True)
def _on_that_day(shop: Shop, time_machine: Any) -> None:
    time_machine.move_to(world.AT, tick=False)


@pytest.fixture
def client(client_as: Any) -> Client:
    return client_as("manager")


@pytest.fixture
def many(shop: Shop) -> list[Due]:
    """Rows on few days, with few odds and prices: most share their place with others."""
    return some(ROWS)


def some(count: int) -> list[Due]:
    draw = random.Random(5)
    rigs = [world.make_rig(number) for number in (3, 7, 40)]
    made = []
    for number in range(count):
        component = world.fit(draw.choice(rigs), draw.choice(["Pump", "Gun"]))
        day = world.days(draw.choice([-9, 0, 1, 30, 31, 200]))
        made.append(
            world.make_due(
                component,
                due_date=day,
                odds_due_permille=draw.choice([0, 1, 500, 1000]),
                kit_cents=draw.choice([0, 4_800, 21_200]),
                stay_on=world.days(40),
                since=number,
            )
        )
    return made


def walk(client: Client, query: str) -> list[int]:
    """The keys of all rows, from one page to the next by the link that stands there."""
    found: list[int] = []
    for _ in range(12):
        answer = client.get(f"/due/{query}")
        assert answer.status_code == 200, query
        found += [row.due.pk for row in answer.context["rows"]]
        following = answer.context["next_query"]
        if not following:
            return found
        assert unescape(following) in unescape(answer.content.decode())
        query = following
    raise AssertionError("The list has no end.")


@pytest.mark.parametrize("sort", list(SORTS))
def test_each_row_stands_on_one_page_in_its_place(
    client: Client, many: list[Due], sort: str
) -> None:
    assert walk(client, f"?before=all&sort={sort}") == [
        due.pk for due in sorted(many, key=SORTS[sort])
    ]


@pytest.mark.parametrize("sort", list(SORTS))
def test_a_row_done_meanwhile_takes_no_other_with_it(
    client: Client, many: list[Due], sort: str
) -> None:
    """Somebody signs a sheet while the second page is asked for: the rest stays where it was."""
    wanted = [due.pk for due in sorted(many, key=SORTS[sort])]
    first = client.get(f"/due/?before=all&sort={sort}")
    shown = [row.due.pk for row in first.context["rows"]]
    Due.objects.filter(pk__in=[shown[-1], wanted[60]]).delete()
    rest = walk(client, first.context["next_query"])
    assert shown + rest == [pk for pk in wanted if pk != wanted[60]]


@pytest.mark.parametrize(
    ("query", "keeps"),
    [
        ("before=all&rig=7", lambda due: due.rig_number == 7),
        ("before=due", lambda due: due.due_date <= world.TODAY),
        ("before=month", lambda due: due.due_date <= world.days(30)),
        ("before=soon&rig=40", lambda due: due.rig_number == 40 and due.due_date < world.days(15)),
    ],
)
def test_what_is_taken_away_is_what_the_pages_list(
    client: Client, many: list[Due], query: str, keeps: Any
) -> None:
    for sort, key in SORTS.items():
        wanted = sorted(filter(keeps, many), key=key)
        address = f"?{query}&sort={sort}"
        assert walk(client, address) == [due.pk for due in wanted]
        # Each row has a life of its own, so that it tells which one it is.
        lives = [due.since for due in wanted]
        text = client.get(f"/due/{address}&export=csv").getvalue().decode("utf-8-sig")
        rows = list(csv.DictReader(io.StringIO(text)))
        assert [int(row["Rig"]) for row in rows] == [due.rig_number for due in wanted]
        days = [row["Falls due"] for row in rows]
        assert days == [f"{due.due_date:%Y-%m-%d}" for due in wanted]
        assert len({row["Life"] for row in rows}) == len(set(lives))
        book = load_workbook(
            io.BytesIO(client.get(f"/due/{address}&export=xlsx").getvalue()), read_only=True
        )
        sheet = list(book.active.iter_rows(min_row=2, values_only=True))
        assert [row[0] for row in sheet if row[0] is not None] == [due.rig_number for due in wanted]
    pages = PdfReader(io.BytesIO(client.get(f"/due/?{query}&export=pdf").content)).pages
    printed = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert printed.count(" of 250 h") == len(wanted)


HOSTILE = (
    "-1",
    "NaN",
    "1e9",
    "9" * 40,
    "\u0663",
    "' OR 1=1 --",
    "<b>x</b>",
    "a\x00b",
    "0001-01-01",
    "9999-12-31",
    "2026-02-30",
    "99999-01-01",
    "",
)


@pytest.mark.parametrize("name", ["rig", "kind", "skill", "before", "sort", "by", "after", "due"])
def test_an_address_that_nobody_would_type_is_answered_in_words(client: Client, name: str) -> None:
    some(3)
    for value in (*HOSTILE, *(f"{value}.2026-03-02.{value}" for value in HOSTILE)):
        for more in ({}, {"before": "all", "sort": "odds"}):
            answer = client.get("/due/", {**more, name: value})
            assert answer.status_code in (200, 404, 422), (name, value, more)
            if answer.status_code == 422:
                assert not answer.context["filter"].form.is_valid()
    for value in HOSTILE:
        assert client.get("/due/picked/", {"due": value}).status_code == 200


def test_a_day_that_nobody_would_ask_a_rig_about_is_answered_in_words(client: Client) -> None:
    some(3)
    for value in HOSTILE:
        for number in (3, 7, 40):
            answer = client.get(f"/rigs/{number:02d}/", {"by": value})
            assert answer.status_code in (200, 422), (number, value)


def test_who_may_see_and_pick(client_as: Any) -> None:
    some(3)
    assert Client().get("/due/").status_code == 302
    for role, may_pick in (("technician", 403), ("owner", 403), ("manager", 200)):
        client = client_as(role)
        assert client.get("/due/").status_code == 200
        assert client.get("/due/picked/").status_code == may_pick
        boxes = re.findall(r'name="due" value="\d+"', client.get("/due/").content.decode())
        assert bool(boxes) == (may_pick == 200)


def test_time_passing_changes_words_and_no_row(client: Client, time_machine: Any) -> None:
    """A service due on 3 March is not due at 23:59 of the 2nd in the shop's zone, a minute later
    it is, and past its last day of tolerance the next midnight after that."""
    due = world.make_due(
        world.fit(world.make_rig(8)), due_date=world.days(1), late_date=world.days(2)
    )
    before = Due.objects.filter(pk=due.pk).values().get()
    # Chicago is six hours behind: its 3 March begins at 06:00 UTC.
    for moment, word in (
        ("2026-03-03T05:59:00+00:00", "due soon"),
        ("2026-03-03T06:00:00+00:00", "due"),
        ("2026-03-05T05:59:00+00:00", "due"),
        ("2026-03-05T06:00:00+00:00", "overdue"),
    ):
        time_machine.move_to(moment, tick=False)
        rows = client.get("/due/?before=all").context["rows"]
        assert [row.state_word for row in rows] == [word], moment
    kept = Due.objects.filter(pk=due.pk).values().get()
    assert {name: kept[name] for name in before if isinstance(before[name], date)} == {
        name: value for name, value in before.items() if isinstance(value, date)
    }
