"""Importing a shop's past: right rows do what a person's clicks do, wrong ones say why."""

import threading
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.db import connection

from equipment.models import Component, ComponentKind, Counter, Installation, Reading, Rig
from equipment.services import rebuild_all
from inventory.models import Balance, Location, Lot, Movement, Part
from inventory.services import prove
from shop.importing import run as running
from shop.importing.columns import Problem
from shop.importing.files import FileRefused
from shop.importing.run import ImportedAlready, Outcome, RowsRefused
from shop.models import ImportedFile, RigDrawer, Shop
from tests.shop.importing.conftest import (
    COMPONENTS,
    COUNTERS,
    KIT_LINES,
    PARTS,
    RIGS,
    STOCK,
)

pytestmark = pytest.mark.django_db
Look = Callable[[str, str], Outcome]
Take = Callable[[str, str], ImportedFile]

READINGS = (
    "Rig number,Counter,Date,Time,Value,Was reset (yes/no),Value before reset\n"
    "4,A strokes,2025-02-03,16:30,9000,,\n"
    "4,engine hours,2025-02-03,16:30,30.5,,\n"
    "4,A strokes,2025-03-03,,1200,yes,15000\n"
    "4,A strokes,2025-02-10,7:00 am,12000,no,\n"
)


def told(outcome: Outcome) -> list[tuple[int, str, str]]:
    return [(problem.row, problem.column, problem.text) for problem in outcome.problems]


# --- right files ------------------------------------------------------------------------------


def test_a_shop_is_imported_from_its_files(shelf: None, take: Take, shop: Shop) -> None:
    take("readings", READINGS)
    rig = Rig.objects.get(number=4)
    assert (rig.name, rig.description) == ("Kestrel", "Trailer")
    assert [counter.name for counter in rig.counters.order_by("order")] == [
        "Engine hours",
        "A strokes",
    ]
    fitted = Installation.objects.get(component__tag="PA-1")
    assert (fitted.position.rig, fitted.position.order) == (rig, 2)
    # Midnight in Chicago is six hours behind UTC in winter.
    assert fitted.installed_at == datetime(2025, 1, 1, 6, 0, tzinfo=UTC)
    assert not Component.objects.get(tag="PA-2").installations.exists()

    strokes = rig.counters.get(name="A strokes")
    rows = strokes.readings.order_by("at")
    assert [row.value for row in rows] == [9000, 12000, 1200]
    assert [row.is_day_only for row in rows] == [False, False, True]
    # 9,000 + 3,000; then 15,000 − 12,000 before the reset and 1,200 after it.
    assert strokes.total == 9000 + 3000 + 3000 + 1200
    assert rows[0].at == datetime(2025, 2, 3, 22, 30, tzinfo=UTC)
    assert rows[0].source == Reading.Source.IMPORT

    oil = Part.objects.get(number="OIL")
    assert (oil.unit_name, oil.steps_per_unit, oil.usual_cost_cents) == ("gal", 100, 2200)
    policy = oil.policies.get()
    assert (policy.reorder_point_steps, policy.order_up_to_steps) == (500, 2000)
    assert Balance.objects.get(part=oil).quantity_steps == 1250
    assert Lot.objects.get(part=oil).value_left_cents == 1250 * 22
    seals = Lot.objects.get(part__number="SK-1", code="L7")
    assert (seals.quantity_left_steps, seals.value_left_cents) == (6, 6 * 425)
    assert {
        (line.part.number, line.quantity_steps)
        for line in Part.objects.get(number="GK-1").lines.all()
    } == {("SK-1", 2), ("OIL", 25)}
    assert RigDrawer.objects.get(rig=rig).location.code == "04-D1"
    assert set(Movement.objects.values_list("source_kind", flat=True)) == {"opening"}

    assert prove() == []
    _, changed = rebuild_all(zone=shop.zone)
    assert changed == 0


def test_a_look_says_what_else_the_rows_would_add_and_adds_nothing(look: Look, fleet: None) -> None:
    heading = COMPONENTS.split("\n", 1)[0]
    rows = "H-1,hose reel,Reel 15 m,,,2025-01-01,4,3,\nP-9,pump,Long stem,A,,2025-01-01,4,4,\n"
    outcome = look("components", f"{heading}\n{rows}")
    assert outcome.may_be_imported
    assert outcome.also_adds == (
        ("Kind hose reel", (2,)),
        ("Type Reel 15 m", (2,)),
        ("Place 3 Hose reel in rig 4", (2,)),
        ("Place 4 Pump A in rig 4", (3,)),
    )
    assert not ComponentKind.objects.filter(name="hose reel").exists()
    assert not Component.objects.filter(tag="H-1").exists()


@pytest.mark.parametrize(
    ("kind", "content"),
    [
        ("rigs", RIGS),
        ("parts", PARTS),
    ],
)
def test_a_look_writes_nothing(look: Look, kind: str, content: str) -> None:
    assert look(kind, content).may_be_imported
    assert not Rig.objects.exists()
    assert not Part.objects.exists()
    assert not ImportedFile.objects.exists()


# --- a file counts once -----------------------------------------------------------------------


def test_the_same_file_again_counts_once(shelf: None, take: Take, look: Look) -> None:
    take("readings", READINGS)
    before = Movement.objects.count(), Reading.objects.count()
    for kind, content in (("stock", STOCK), ("readings", READINGS)):
        assert look(kind, content).earlier is not None
        with pytest.raises(ImportedAlready, match=r"imported already, by A\. Manager"):
            take(kind, content)
    assert (Movement.objects.count(), Reading.objects.count()) == before


def test_the_rows_of_a_file_count_once_even_without_its_record(
    shelf: None, take: Take, look: Look
) -> None:
    """The request ids hang on the file and the row alone, so the ledger itself refuses a copy."""
    take("readings", READINGS)
    ImportedFile.objects.all().delete()
    before = Movement.objects.count(), Reading.objects.count()
    take("stock", STOCK)
    take("readings", READINGS)
    assert (Movement.objects.count(), Reading.objects.count()) == before


def test_twin_with_the_ids_made_anew_the_ledger_counts_twice(
    shelf: None, take: Take, monkeypatch: pytest.MonkeyPatch
) -> None:
    from uuid import uuid4

    ImportedFile.objects.all().delete()
    before = Movement.objects.count()
    monkeypatch.setattr("shop.importing.columns.uuid5", lambda *args: uuid4())
    take("stock", STOCK)
    assert Movement.objects.count() == 2 * before


@pytest.mark.django_db(transaction=True)
def test_two_people_importing_one_file_at_once(take: Take, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []

    def one() -> None:
        try:
            take("parts", PARTS)
            told.append("imported")
        except ImportedAlready:
            told.append("already")
        finally:
            connection.close()

    people = [threading.Thread(target=one) for _ in range(2)]
    for person in people:
        person.start()
    for person in people:
        person.join()
    assert sorted(told) == ["already", "imported"]
    assert Part.objects.count() == 3


# --- wrong files ------------------------------------------------------------------------------


def test_one_bad_row_keeps_all_out(take: Take, look: Look) -> None:
    content = RIGS + "7,Second,\n12000,Far,\n,Nameless,\n9,,\n"
    assert told(look("rigs", content)) == [
        (4, "Rig number", "Another rig has this number."),
        (5, "Rig number", "12000 is not between 1 and 9999."),
        (6, "Rig number", "This is missing."),
        (7, "Rig name", "This is missing."),
    ]
    with pytest.raises(RowsRefused, match="4 rows cannot be taken, so nothing was imported"):
        take("rigs", content)
    assert not Rig.objects.exists()
    assert not ImportedFile.objects.exists()


@pytest.mark.parametrize(
    ("kind", "headings", "said"),
    [
        ("rigs", "Rig number,Name", "The column “Rig name” is missing."),
        ("rigs", "Rig number,Rig name,Colour", "“Colour” is no heading of this kind of file."),
        ("rigs", "Rig number,Rig name,rig NAME", "The heading “Rig name” stands there twice."),
    ],
)
def test_headings_that_do_not_fit(look: Look, kind: str, headings: str, said: str) -> None:
    with pytest.raises(FileRefused, match=said):
        look(kind, f"{headings}\n1,2,3\n")


def test_headings_may_be_written_freely(look: Look) -> None:
    assert look("rigs", "RIG  NUMBER;Rig name (short);laid up\n4;Kestrel;yes\n").may_be_imported


@pytest.mark.parametrize(
    ("kind", "row", "column", "said"),
    [
        ("counters", "9,Hours,hours,2025-01-01,", "Rig number", "There is no rig 9. Import the"),
        ("counters", "4,Hours,miles,2025-01-01,", "Counts", "“miles” is none of: hours, strokes"),
        ("counters", "4,Engine hours,hours,2025-01-01,", "", "The rig has a counter of this name"),
        ("counters", "4,Hours,hours,2026-03-03,", "Began on", "2026-03-03 has not come yet."),
        ("components", "G-1,generator,X,,,2025-01-01,,,", "Tag", "Another component has this tag."),
        ("components", "G/2,generator,X,,,2025-01-01,,,", "Tag", "Letters, digits and dashes"),
        ("components", "new,generator,X,,,2025-01-01,,,", "Tag", "Letters, digits and dashes"),
        ("components", "G-2,generater,X,,,2025-01-01,,,", "Kind", "Is it “generator”?"),
        (
            "components", "G-2,generator,Long stem,,,2025-01-01,,,", "Type",
            "Long stem is a pump.",
        ),
        (
            "components", "P-9,pump,Long stem,A,,2025-01-01,,,5", "Displacement",
            "Type Long stem has 4.1 here already.",
        ),
        ("components", "P-9,pump,Long stem,B,,2025-01-01,4,2,", "Place in the rig",
         "Place 2 of rig 4 is for a pump A."),
        ("components", "P-9,pump,Long stem,A,,2025-01-01,4,2,", "", "PA-1 is fitted there."),
        ("components", "P-9,pump,Long stem,A,,2025-01-01,4,,", "Place in the rig",
         "Say at which place of the rig it sits."),
        ("components", "P-9,pump,Long stem,A,,2025-01-01,,3,", "Rig number",
         "A place and a day of fitting need a rig number."),
        ("parts", "SK-1,Again,,,,,,", "", "SK-1 is there already."),
        ("parts", "SK-9,New,,,,,2,", "Order up to", "A reorder point and an order-up-to go"),
        ("parts", "SK-9,New,,,,,4,2", "", "Order up to at least the reorder point."),
        ("parts", "SK-9,New,,,,,1.5,2", "", "Pieces come whole"),
        ("parts", "SK-9,New,,0.1,yes,,,", "", "Kits come whole."),
        ("kit-lines", "GK-1,GK-1,1", "", "A kit cannot contain itself: GK-1 → GK-1."),
        ("kit-lines", "SK-1,OIL,1", "", "is not a kit"),
        ("kit-lines", "GK-1,SK-1,0", "Quantity", "Give a quantity above zero."),
        ("kit-lines", "GK-1,SK-77,1", "Part number", "There is no part SK-77."),
        ("stock", "SK-1,K-03,,,1.5,,,", "Quantity", "Pieces come whole"),
        ("stock", "SK-1,04-D1,,,1,,,", "Kind of place", "04-D1 is a rig drawer."),
        ("stock", "SK-1,04-D2,drawer,4,1,,,", "", "The drawer of rig 4 is 04-D1."),
        ("stock", "SK-1,07-D1,drawer,,1,,,", "Rig number", "A rig drawer needs the number"),
        ("stock", "SK-1,K-03,,4,1,,,", "Kind of place", "Only a rig drawer rides on a rig"),
        ("stock", "SK-1,K-03,drawer,7,1,,,", "", "K-03 is no rig drawer but a bin."),
    ],
)  # fmt: skip
def test_a_wrong_row_says_where_and_why(
    shelf: None, look: Look, kind: str, row: str, column: str, said: str
) -> None:
    sources = {
        "counters": COUNTERS,
        "components": COMPONENTS,
        "parts": PARTS,
        "kit-lines": KIT_LINES,
        "stock": STOCK,
    }
    heading = sources[kind].split("\n", 1)[0]
    (problem,) = look(kind, f"{heading}\n{row}\n").problems
    assert (problem.row, problem.column) == (2, column)
    assert said in problem.text


# --- readings ---------------------------------------------------------------------------------

HEADINGS = "Rig number,Counter,Date,Time,Value,Was reset,Value before reset\n"


@pytest.mark.parametrize(
    ("rows", "problems"),
    [
        (
            ["4,A strokes,2025-05-01,16:00,9000,,", "4,A strokes,2025-05-02,16:00,8000,,"],
            [(3, "Value", "Lower than the last reading, 9,000. Was the counter reset?")],
        ),
        (
            # Told once: what comes after the slip is judged without it.
            [
                "4,A strokes,2025-05-01,16:00,9000,,",
                "4,A strokes,2025-05-02,16:00,99000000,,",
                "4,A strokes,2025-05-03,16:00,9900,,",
            ],
            [(3, "Value", "is more than the pump can do")],
        ),
        (
            ["4,Engine hours,2025-05-01,08:00,10,,", "4,Engine hours,2025-05-01,10:00,15,,"],
            [(3, "Value", "is more than the clock allows")],
        ),
        (["4,A strokes,2026-03-02,16:00,9000,,"], [(2, "Value", "That time has not come yet.")]),
        (["4,A strokes,2024-12-31,16:00,9000,,"], [(2, "Value", "Counting began on 1 Jan 2025")]),
        (["4,B strokes,2025-05-01,,1,,"], [(2, "Counter", "It has: A strokes, Engine hours.")]),
        (
            ["4,A strokes,2025-05-01,16:00,1,,", "4,a  Strokes,2025-05-01,16:00,2,,"],
            [(3, "Counter", "Row 2 has this counter at the same time.")],
        ),
        (
            ["4,A strokes,2025-03-09,02:30,1,,"],
            [(2, "Time", "02:30 did not exist on 2025-03-09: the clocks went forward.")],
        ),
        (
            ["4,A strokes,2025-05-01,,1,no,400"],
            [(2, "Was reset (yes/no)", "There is a value before a reset, but no reset.")],
        ),
        (["4,A strokes,2025-05-01,,1,rolled over,"], [(2, "Value", "never starts again")]),
        (["4,A strokes,03/04/2025,,-1,,"], [(2, "Date", "could be"), (2, "Value", "below zero")]),
    ],
)
def test_readings_that_cannot_be(
    fleet: None, look: Look, rows: list[str], problems: list[tuple[int, str, str]]
) -> None:
    outcome = look("readings", HEADINGS + "\n".join(rows))
    found = [(problem.row, problem.column) for problem in outcome.problems]
    assert found == [(row, column) for row, column, _ in problems]
    for problem, (_, _, said) in zip(outcome.problems, problems, strict=True):
        assert said in problem.text
    assert not Reading.objects.exists()


def test_a_file_of_readings_goes_between_those_there(fleet: None, take: Take, look: Look) -> None:
    take("readings", HEADINGS + "4,A strokes,2025-05-10,16:00,20000,,\n")
    late = HEADINGS + "4,A strokes,2025-05-01,16:00,{},,\n"
    (problem,) = look("readings", late.format(21000)).problems
    assert "The next reading, 20,000 on 10 May 2025, would then be lower than this one" in (
        problem.text
    )
    take("readings", late.format(9000))
    counter = Counter.objects.get(rig__number=4, name="A strokes")
    assert [row.total for row in counter.readings.order_by("at")] == [9000, 20000]
    assert counter.total == Decimal(20000)


def test_a_year_of_readings_takes_no_more_statements_than_a_month(
    fleet: None, look: Look, django_assert_max_num_queries: Callable[..., object]
) -> None:
    """So that six rigs with six counters and 250 days take seconds: 2.3 s here for 9,000 rows."""

    def file(days: int) -> str:
        months = [f"2025-{1 + day // 28:02d}-{1 + day % 28:02d}" for day in range(1, days + 1)]
        return HEADINGS + "".join(
            f"4,{counter},{day},16:00,{place * 5},,\n"
            for place, day in enumerate(months, start=1)
            for counter in ("A strokes", "Engine hours")
        )

    with django_assert_max_num_queries(50) as month:
        assert look("readings", file(28)).may_be_imported
    with django_assert_max_num_queries(50) as year:
        assert look("readings", file(330)).may_be_imported
    # 604 readings more: SQLite takes 60 rows or more in one insert.
    assert len(year) - len(month) <= 604 // 60 + 1


def test_problems_stand_in_the_order_of_the_rows(fleet: None, look: Look) -> None:
    content = HEADINGS + "4,X,2025-05-01,,1,,\n4,A strokes,soon,,1,,\n9,X,2025-05-01,,1,,\n"
    problems = look("readings", content).problems
    assert [problem.row for problem in problems] == [2, 3, 4]
    assert all(isinstance(problem, Problem) for problem in problems)
    assert running.KINDS["readings"].label == "Readings"
    assert Location.objects.count() == 0
