"""How long stock keeps: the table of ISO 2230, calendar arithmetic, and what will be left over."""

import csv
from datetime import date, timedelta
from pathlib import Path

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from inventory.shelf_life import (
    EXTENSION_YEARS,
    FIRST_PERIOD_YEARS,
    RUBBERS,
    Keeping,
    StorageGroup,
    left_over,
    quarter_end,
    use_by,
)

TABLE = Path(__file__).parents[1] / "reference" / "data" / "shelf_life_elastomers.csv"
TODAY = date(2026, 11, 26)
DAYS = st.dates(min_value=date(1990, 1, 1), max_value=date(2090, 1, 1))


def rows() -> list[dict[str, str]]:
    """Rows of the table that a published copy bears out."""
    with TABLE.open(encoding="utf-8", newline="") as table:
        return [row for row in csv.DictReader(table) if row["checked"] == "secondary_seen"]


@pytest.mark.parametrize("row", rows(), ids=lambda row: row["id"])
def test_storage_periods_are_those_of_the_standard(row: dict[str, str]) -> None:
    """ISO 2230:2002, storage period tables, as public copies give them."""
    group = StorageGroup(row["storage_group"])
    assert FIRST_PERIOD_YEARS[group] == int(row["value"])
    assert EXTENSION_YEARS[group] == int(row["extension_value"])
    assert row["astm_d1418_code"] in RUBBERS[group]


def test_every_rubber_we_name_is_in_the_table() -> None:
    named = {(group.value, code) for group, codes in RUBBERS.items() for code in codes}
    assert named == {(row["storage_group"], row["astm_d1418_code"]) for row in rows()}


@pytest.mark.parametrize(
    ("text", "day"),
    [
        # ISO 2230:2002, 5.3 c): 3/94 stands for July to September 1994.
        ("3/94", date(1994, 9, 30)),
        ("3Q1994", date(1994, 9, 30)),
        ("1q26", date(2026, 3, 31)),
        (" 4/2025 ", date(2025, 12, 31)),
        # The quarter that runs ends today; a year of two digits is never ahead.
        ("4/26", TODAY),
        ("4/27", date(1927, 12, 31)),
        ("1/2027", date(2027, 3, 31)),
    ],
)
def test_a_quarter_means_its_last_day(text: str, day: date) -> None:
    """SAE ARP5316: the last day of the cure quarter is taken as the date of manufacture."""
    assert quarter_end(text, today=TODAY) == day


@pytest.mark.parametrize("text", ["", "2026-03-02", "5/26", "0/26", "3/1", "3/026", "Q", "3-26"])
def test_what_is_no_quarter_is_none(text: str) -> None:
    assert quarter_end(text, today=TODAY) is None


@given(made=DAYS, group=st.sampled_from(StorageGroup), months=st.integers(0, 600))
def test_the_earlier_of_two_last_days_counts(made: date, group: StorageGroup, months: int) -> None:
    """Against dateutil: years of the group, months of the label."""
    rubber = made + relativedelta(years=FIRST_PERIOD_YEARS[group])
    assert use_by(made, group=group) == rubber
    label = made + relativedelta(months=months)
    assert use_by(made, keeps_months=months) == (label if months else None)
    assert use_by(made, group=group, keeps_months=months) == (
        min(rubber, label) if months else rubber
    )


def test_the_end_of_the_calendar_is_no_error() -> None:
    assert use_by(date(9990, 1, 1), group=StorageGroup.C) is None


LOTS = st.lists(
    st.builds(
        Keeping,
        quantity_steps=st.integers(1, 40),
        use_by=st.integers(-400, 3000).map(lambda days: TODAY + timedelta(days=days)),
    ),
    max_size=6,
)


@given(lots=LOTS, pace=st.integers(0, 500))
def test_left_over_is_what_walking_the_days_leaves(lots: list[Keeping], pace: int) -> None:
    """Each day that brings a whole step uses one of the lot that expires first and is in date."""
    left = [lot.quantity_steps for lot in lots]
    order = sorted(range(len(lots)), key=lambda i: lots[i].use_by)
    for day in range(3001):
        for _ in range((day + 1) * pace // 365 - day * pace // 365):
            usable = [i for i in order if left[i] and lots[i].use_by >= TODAY + timedelta(days=day)]
            if usable:
                left[usable[0]] -= 1
    assert left_over(lots, used_a_year_steps=pace, today=TODAY) == left


@given(lots=LOTS, pace=st.integers(0, 500))
def test_a_faster_pace_never_leaves_more(lots: list[Keeping], pace: int) -> None:
    slow = left_over(lots, used_a_year_steps=pace, today=TODAY)
    fast = left_over(lots, used_a_year_steps=pace + 50, today=TODAY)
    assert sum(fast) <= sum(slow)
    assert all(0 <= left <= lot.quantity_steps for left, lot in zip(slow, lots, strict=True))
    expired = [left for left, lot in zip(slow, lots, strict=True) if lot.use_by < TODAY]
    assert expired == [lot.quantity_steps for lot in lots if lot.use_by < TODAY]
