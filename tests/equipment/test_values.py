"""Measured values as they are typed, said and compared, by their units."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment import values
from equipment.values import DEW_POINT_C, DEW_POINT_F, ISO_4406, OIL_IN_AIR, NotAValue

NUMBERS = st.decimals(-9_999_999, 9_999_999, places=4)
LIMIT = Decimal(201815)


@pytest.mark.parametrize(
    ("text", "unit", "kept"),
    [
        ("1,234.5", "psi", Decimal("1234.5")),
        ("1 234", "psi", Decimal(1234)),
        (".5", "in", Decimal("0.5")),
        ("−20", "°F", Decimal(-20)),
        (" 57 ", "", Decimal(57)),
        ("", "psi", None),
        ("18/16/13", ISO_4406, Decimal(181613)),
        ("18 / 16 / 13", "iso 4406", Decimal(181613)),
        ("3500 500 60", ISO_4406, Decimal(191613)),
        ("  ", ISO_4406, None),
        ("-40", DEW_POINT_F, Decimal(-40)),
    ],
)
def test_what_is_typed_is_kept(text: str, unit: str, kept: Decimal | None) -> None:
    assert values.typed(text, unit) == kept


@pytest.mark.parametrize(
    ("text", "unit", "words"),
    [
        ("about 5", "psi", "Write a number"),
        ("NaN", "psi", "Write a number"),
        ("1e30", "psi", "Write a number"),
        ("60,5", "psi", "Write a number"),
        ("1,2345", "psi", "Write a number"),
        ("1_000", "psi", "Write a number"),
        ("١٢", "psi", "Write a number"),
        ("100000000", "psi", "too large"),
        ("0.00001", "psi", "At most 4 decimals"),
        ("18/16/13", "psi", "Write a number"),
        ("57", ISO_4406, "like 18/16/13"),
        ("13/16/18", ISO_4406, "fall or stay level"),
    ],
)
def test_what_is_no_value_of_its_unit_is_refused(text: str, unit: str, words: str) -> None:
    with pytest.raises(NotAValue, match=words):
        values.typed(text, unit)


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        ("1182.5000", "psi", "1,182.5 psi"),
        ("-40", "", "−40"),
        ("181613", ISO_4406, "18/16/13 ISO 4406"),
        # ISO 8573-1:2010, Table 2: 3 °C is 37.4 °F, the last of class 4.
        ("37.4", DEW_POINT_F, "37.4 °F dew point (water class 4)"),
        ("37.5", DEW_POINT_F, "37.5 °F dew point (water class 5)"),
        ("-40", DEW_POINT_C, "−40 °C dew point (water class 2)"),
        ("10.1", DEW_POINT_C, "10.1 °C dew point (past water class 6)"),
        ("-500", DEW_POINT_F, "−500 °F dew point"),
        # ISO 8573-1:2010, Table 3.
        ("0.01", OIL_IN_AIR, "0.01 mg/m³ oil (oil class 1)"),
        ("6", OIL_IN_AIR, "6 mg/m³ oil (oil class X)"),
        ("-1", OIL_IN_AIR, "−1 mg/m³ oil"),
        # Kept before the unit was ISO 4406.
        ("57", ISO_4406, "57 ISO 4406"),
    ],
)
def test_a_value_is_said(value: str, unit: str, words: str) -> None:
    assert values.said(Decimal(value), unit) == words


@given(NUMBERS)
def test_what_stands_in_a_box_again_is_the_same_value(number: Decimal) -> None:
    assert values.typed(values.retyped(number, "psi"), "psi") == number
    assert values.typed(values.figure(number, "psi"), "psi") == number
    assert values.retyped(Decimal(181613), ISO_4406) == "18/16/13"


@given(NUMBERS, NUMBERS, NUMBERS)
def test_plain_numbers_are_compared_as_numbers(value: Decimal, a: Decimal, b: Decimal) -> None:
    low, high = sorted((a, b))
    assert values.is_outside(value, low=low, high=high, unit="psi") == (not low <= value <= high)
    assert not values.is_outside(value, low=None, high=None, unit="psi")
    assert not values.is_outside(low, low=low, high=None, unit="psi")


@pytest.mark.parametrize(
    ("code", "is_outside"),
    [
        (201815, False),
        (191714, False),
        (211815, True),
        (201915, True),
        # Cleaner in all but the largest particles, and a smaller number as it is kept.
        (181616, True),
    ],
)
def test_a_code_is_compared_number_by_number(code: int, is_outside: bool) -> None:
    assert values.is_outside(Decimal(code), low=None, high=LIMIT, unit=ISO_4406) == is_outside


@pytest.mark.parametrize(
    ("low", "high", "unit", "words"),
    [
        (Decimal(900), Decimal(1100), "psi", "900 to 1,100 psi"),
        (Decimal(30), None, "min", "at least 30 min"),
        (None, Decimal(-20), "°F", "at most −20 °F"),
        (None, Decimal(50), DEW_POINT_F, "at most 50 °F dew point (water class 6)"),
        (None, LIMIT, ISO_4406, "at most 20/18/15 ISO 4406"),
        (None, None, "psi", "psi"),
    ],
)
def test_limits_are_said(low: Decimal | None, high: Decimal | None, unit: str, words: str) -> None:
    assert values.limits(low, high, unit) == words


@pytest.mark.parametrize(
    ("low", "high", "unit", "words"),
    [
        (Decimal(181613), None, ISO_4406, "never too clean"),
        (None, Decimal(50), ISO_4406, "is a code"),
        (None, LIMIT, ISO_4406, ""),
        (Decimal(2), Decimal(1), "psi", ""),
    ],
)
def test_limits_of_codes_that_cannot_be(
    low: Decimal | None, high: Decimal | None, unit: str, words: str
) -> None:
    said = values.unsound_code_limits(low, high, unit)
    assert words in said
    assert bool(said) == bool(words)
