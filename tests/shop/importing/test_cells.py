"""What may stand in a cell, and why something may not."""

from datetime import date, datetime, time
from decimal import Decimal

import pytest

from shop.importing import cells
from shop.importing.cells import CellRefused
from shop.importing.stock import money, steps_per_unit


@pytest.mark.parametrize(
    ("cell", "day"),
    [
        ("2026-03-04", date(2026, 3, 4)),
        ("2026-3-4", date(2026, 3, 4)),
        ("03/25/2026", date(2026, 3, 25)),
        ("25/03/2026", date(2026, 3, 25)),
        ("25.3.2026", date(2026, 3, 25)),
        ("03/03/2026", date(2026, 3, 3)),
        ("4 Mar 2026", date(2026, 3, 4)),
        ("March 4, 2026", date(2026, 3, 4)),
        (date(2026, 3, 4), date(2026, 3, 4)),
        (datetime(2026, 3, 4, 16, 30), date(2026, 3, 4)),  # noqa: DTZ001 (as a workbook has it)
    ],
)
def test_days_that_can_be_read(cell: cells.Cell, day: date) -> None:
    assert cells.day(cell) == day


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        (
            "03/04/2026",
            "03/04/2026 could be March 4 or April 3: write 2026-03-04 or 2026-04-03.",
        ),
        ("4/3/26", "Write the year of 4/3/26 with four digits."),
        ("2026-02-30", "There is no such day as 2026-02-30."),
        ("31/02/2026", "There is no such day as 31/02/2026."),
        ("0226-03-04", "The year 226 cannot be right."),
        ("soon", "“soon” is not a day. Write it like 2026-03-04."),
        ("46085", "“46085” is not a day. Write it like 2026-03-04."),
    ],
)
def test_days_that_are_asked_about(cell: str, said: str) -> None:
    with pytest.raises(CellRefused) as refused:
        cells.day(cell)
    assert str(refused.value) == said


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("1250.5", "1250.5"),
        ("1,250.5", "1250.5"),
        (" 7 ", "7"),
        (0.1, "0.1"),
        (1250, "1250"),
        (1250.0, "1250.0"),
        ("1,250,000", "1250000"),
    ],
)
def test_numbers(cell: cells.Cell, value: str) -> None:
    assert cells.number(cell) == Decimal(value)


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("1250,5", "“1250,5” has a comma. Write the number like 1234.5."),
        ("-3", "-3 is below zero."),
        ("many", "“many” is not a number. Write it like 1234.5."),
        ("nan", "“nan” is not a number. Write it like 1234.5."),
        ("1e12", "1000000000000 is too large."),
    ],
)
def test_numbers_that_are_none(cell: str, said: str) -> None:
    with pytest.raises(CellRefused) as refused:
        cells.number(cell)
    assert str(refused.value) == said


@pytest.mark.parametrize(
    ("cell", "at"),
    [
        ("16:30", time(16, 30)),
        ("4:30 pm", time(16, 30)),
        ("12:05 AM", time(0, 5)),
        ("12:05 p.m.", time(12, 5)),
        ("7.15", time(7, 15)),
        (time(16, 30), time(16, 30)),
    ],
)
def test_times(cell: cells.Cell, at: time) -> None:
    assert cells.time_of_day(cell) == at


@pytest.mark.parametrize("cell", ["25:00", "16:75", "noon", "16", "16:30 Uhr"])
def test_times_that_are_none(cell: str) -> None:
    with pytest.raises(CellRefused, match="is not a time of day"):
        cells.time_of_day(cell)


def test_yes_and_no() -> None:
    assert [cells.yes_or_no(cell) for cell in ("Yes", "x", True, "no", "", None, False)] == [
        *[True] * 3,
        *[False] * 4,
    ]
    with pytest.raises(CellRefused, match="“maybe” is neither yes nor no"):
        cells.yes_or_no("maybe")


def test_whole_numbers_texts_and_words() -> None:
    assert cells.whole_number(1, 9999)(4.0) == 4
    with pytest.raises(CellRefused, match=r"4\.5 is not a whole number"):
        cells.whole_number(1, 9999)("4.5")
    with pytest.raises(CellRefused, match="0 is not between 1 and 9999"):
        cells.whole_number(1, 9999)("0")
    with pytest.raises(CellRefused, match="At most 3 characters; this has 4"):
        cells.text(3)("abcd")
    assert cells.text(20)(77.0) == "77"
    with pytest.raises(CellRefused, match="“C” is none of: a, b"):
        cells.one_of({"": "", "a": "A", "b": "B"})("C")


def test_money_and_smallest_amounts() -> None:
    assert money("1,048.50") == 104850
    assert money(48.5) == 4850
    with pytest.raises(CellRefused, match="at most 2 decimals"):
        money("0.005")
    assert [steps_per_unit(cell) for cell in ("1", 0.1, "0.01", "0.001")] == [1, 10, 100, 1000]
    with pytest.raises(CellRefused, match="Write 1 for what comes whole"):
        steps_per_unit("0.25")
