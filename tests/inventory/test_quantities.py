"""Steps and cents, and the words for what cannot be taken."""

import contextlib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.quantities import (
    MOST_UNITS,
    Absurd,
    Negative,
    NotANumber,
    NotAWholeStep,
    QuantityRefused,
    UnknownPack,
    format_money,
    format_quantity,
    in_packs,
    read_quantity,
    to_cents,
    to_money,
    to_steps,
    to_units,
)

STEPS_PER_UNIT = st.sampled_from([1, 2, 4, 5, 8, 10, 20, 25, 100, 1000])


@pytest.mark.parametrize(
    ("text", "steps_per_unit", "steps"),
    [
        ("2", 1, 2),
        ("2.0", 1, 2),
        (" 1,250 ", 1, 1250),
        ("0", 1, 0),
        ("0.75", 100, 75),
        (".5", 4, 2),
        ("3.", 100, 300),
        ("1000000", 1, 1_000_000),
    ],
)
def test_quantities_as_people_type_them(text: str, steps_per_unit: int, steps: int) -> None:
    assert to_steps(text, steps_per_unit=steps_per_unit) == steps


@pytest.mark.parametrize(
    ("text", "steps_per_unit", "refusal", "words"),
    [
        ("1.5", 1, NotAWholeStep, "Pieces come whole: 1.5 is not possible."),
        ("0.755", 100, NotAWholeStep, "Give at most 2 decimals."),
        ("0.75", 10, NotAWholeStep, "Give at most 1 decimal."),
        ("0.3", 4, NotAWholeStep, "This comes in steps of 0.25: 0.3 is not possible."),
        ("-1", 1, Negative, "This cannot be below zero."),
        ("-0.5", 1, Negative, "This cannot be below zero."),
        ("1000001", 1, Absurd, "That is more than 1,000,000. Check the number."),
        ("99999999999999999999", 1, Absurd, "That is more than 1,000,000. Check the number."),
        ("", 1, NotANumber, "Give a number."),
        ("two", 1, NotANumber, "“two” is not a number. Write it like 1250 or 0.75."),
        ("1,5", 10, NotANumber, "“1,5” is not a number. Write it like 1250 or 0.75."),
    ],
)
def test_what_cannot_be_taken_is_said_in_words(
    text: str, steps_per_unit: int, refusal: type[QuantityRefused], words: str
) -> None:
    with pytest.raises(refusal) as refused:
        to_steps(text, steps_per_unit=steps_per_unit)
    assert str(refused.value) == words


@pytest.mark.parametrize(
    "text", ["1e3", "NaN", "Infinity", "1 2", "--1", "٣", "1_000", "1.2.3", "."]
)
def test_what_only_a_program_would_read_as_a_number(text: str) -> None:
    with pytest.raises(NotANumber):
        to_steps(text, steps_per_unit=1)


def test_nothing_is_rounded_without_a_word() -> None:
    # More digits than a decimal keeps: 1.00…01 would round to 1.
    with pytest.raises(NotAWholeStep):
        to_steps(Decimal("1.0000000000000000000000000000000001"), steps_per_unit=1)


@pytest.mark.parametrize("number", [Decimal("NaN"), Decimal("Infinity")])
def test_a_decimal_that_is_no_number(number: Decimal) -> None:
    with pytest.raises(NotANumber):
        to_steps(number, steps_per_unit=1)


def test_floats_are_a_mistake_of_the_program() -> None:
    with pytest.raises(TypeError, match="never floats"):
        to_steps(0.1, steps_per_unit=10)  # type: ignore[arg-type]


@pytest.mark.parametrize("steps_per_unit", [0, -1, 3, 7, 12])
def test_a_step_must_be_a_finite_decimal(steps_per_unit: int) -> None:
    with pytest.raises(ValueError, match="cannot be divided"):
        to_steps("1", steps_per_unit=steps_per_unit)
    with pytest.raises(ValueError, match="cannot be divided"):
        to_units(1, steps_per_unit)


@given(STEPS_PER_UNIT, st.data())
def test_steps_to_units_and_back(steps_per_unit: int, data: st.DataObject) -> None:
    steps = data.draw(st.integers(0, MOST_UNITS * steps_per_unit))
    units = to_units(steps, steps_per_unit)
    assert units * steps_per_unit == steps
    assert to_steps(units, steps_per_unit=steps_per_unit) == steps
    assert to_steps(f"{units:,f}", steps_per_unit=steps_per_unit) == steps


@pytest.mark.parametrize(
    ("steps", "steps_per_unit", "unit", "text"),
    [
        (1250, 1, "pcs", "1,250 pcs"),
        (250, 100, "gal", "2.50 gal"),
        (5, 4, "gal", "1.25 gal"),
        (-3, 1, "pcs", "-3 pcs"),
        (0, 100, "gal", "0.00 gal"),
    ],
)
def test_quantities_as_people_read_them(
    steps: int, steps_per_unit: int, unit: str, text: str
) -> None:
    assert format_quantity(steps, steps_per_unit, unit) == text


@pytest.mark.parametrize(
    ("text", "cents"), [("12.50", 1250), ("12.5", 1250), ("1,250", 125_000), ("0", 0), ("0.01", 1)]
)
def test_money_as_people_type_it(text: str, cents: int) -> None:
    assert to_cents(text) == cents


@pytest.mark.parametrize(
    ("text", "refusal"),
    [("12.505", NotAWholeStep), ("-1", Negative), ("10000000.01", Absurd), ("$5", NotANumber)],
)
def test_money_that_cannot_be_taken(text: str, refusal: type[QuantityRefused]) -> None:
    with pytest.raises(refusal):
        to_cents(text)


@pytest.mark.parametrize(
    ("cents", "text"), [(125_000, "$1,250.00"), (-320, "-$3.20"), (5, "$0.05"), (0, "$0.00")]
)
def test_money_as_people_read_it(cents: int, text: str) -> None:
    assert format_money(cents, "$") == text


@given(st.integers(0, 1_000_000_000))
def test_cents_to_money_and_back(cents: int) -> None:
    assert to_cents(to_money(cents)) == cents


PACKS = {"pail": 500, "drum": 5_500, "box": 25}


@pytest.mark.parametrize(
    ("text", "steps"),
    [
        ("2 pails", 1_000),
        ("2 pails 1.5 gal", 1_150),
        ("1 Drum 2pails 3", 6_800),
        ("0.5 pail", 250),
        ("2 boxes", 50),
        ("1,250", 125_000),
        ("3 gal", 300),
    ],
)
def test_a_quantity_in_packs_is_exact(text: str, steps: int) -> None:
    assert read_quantity(text, steps_per_unit=100, unit_name="gal", packs=PACKS) == steps


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("2 buckets", "“buckets” is not known here. Write pail, drum, box, gal or a number alone."),
        ("-1 pail", "below zero"),
        ("0.333 pail", "1.665 is not possible|decimals"),
        ("2 pails and more", "is not a number"),
        ("", "Give a number"),
        ("999999999999 drums", "Check the number"),
    ],
)
def test_what_is_no_quantity_in_packs_is_refused_in_words(text: str, why: str) -> None:
    with pytest.raises(QuantityRefused, match=why):
        read_quantity(text, steps_per_unit=100, unit_name="gal", packs=PACKS)


def test_without_packs_a_quantity_is_read_as_ever() -> None:
    assert read_quantity("2 gal", steps_per_unit=100, unit_name="gal") == 200
    with pytest.raises(UnknownPack):
        read_quantity("2 pails", steps_per_unit=100, unit_name="gal")


@given(steps=st.integers(0, 10**7))
def test_what_is_said_in_packs_is_read_back(steps: int) -> None:
    told = {"steps_per_unit": 100, "unit_name": "gal", "packs": PACKS}
    said = in_packs(steps, **told)
    assert bool(said) == (steps >= 25)
    assert not said or read_quantity(said, **told) == steps


@given(text=st.text(alphabet="1234567890,. -pail!", max_size=40))
def test_any_text_is_read_or_refused_at_once(text: str) -> None:
    with contextlib.suppress(QuantityRefused):
        assert read_quantity(text, steps_per_unit=100, unit_name="gal", packs=PACKS) >= 0
