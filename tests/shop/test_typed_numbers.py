"""Numbers as people type them: one table for all that reads them here, and for the scripts."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError

from equipment import values
from equipment.forms.fields import NumberField
from inventory.quantities import QuantityRefused, read_quantity
from shop.importing import cells
from shop.importing.cells import CellRefused
from shop.services.arriving.reading import number as number_from_a_phone

#: How texts are read as numbers, here and by the scripts of the pages
#: (tests/journeys/test_typed_numbers_on_a_phone.py); None: they are none.
TYPED = {
    "57": "57",
    " 57 ": "57",
    "60.5": "60.5",
    "12.": "12",
    ".5": "0.5",
    "-.5": "-0.5",
    "+57": "57",
    "-20": "-20",
    "−20": "-20",
    "007": "7",
    "0.047": "0.047",
    "1,182": "1182",
    "12,500.5": "12500.5",
    "-1,182": "-1182",
    "+1,182.": "1182",
    "1,234,567": "1234567",
    "1 182": "1182",
    "1\u00a0234\u202f567": None,
    "1\u202f234\u202f567.25": "1234567.25",
    "1,5": None,
    "0,047": None,
    "00,047": None,
    "40,5": None,
    "060,500": None,
    "1,2345": None,
    "1234,567": None,
    "1,234,5": None,
    "1,,234": None,
    ",5": None,
    "5,": None,
    "1.5,000": None,
    "1.234,5": None,
    "1 234,567": None,
    "1  234": None,
    "1 5": None,
    "0 500": None,
    "": None,
    ".": None,
    "-": None,
    "--5": None,
    "1e3": None,
    "1_000": None,
    "NaN": None,
    "Infinity": None,
    "١٢": None,
    "18/16/13": None,
    "twelve": None,
}


@pytest.mark.parametrize(("text", "number"), TYPED.items())
def test_a_comma_stands_between_thousands_only(text: str, number: str | None) -> None:
    expected = None if number is None else Decimal(number)
    assert values.number_of(text) == expected
    assert number_from_a_phone(text) == expected
    field = NumberField(required=False, signed=True)
    if expected is None and text:
        with pytest.raises(ValidationError, match="Write a number"):
            field.clean(text)
    else:
        assert field.clean(text) == expected


#: Signs in quantities and cells are their own matter, and no quantity is over a million.
WITH_COMMA = [
    (text, number)
    for text, number in TYPED.items()
    if "," in text and text[0] not in "+-" and number != "1234567"
]


@pytest.mark.parametrize(("text", "number"), WITH_COMMA)
def test_quantities_and_imported_cells_read_a_comma_alike(text: str, number: str | None) -> None:
    if number is None:
        with pytest.raises(QuantityRefused):
            read_quantity(text, steps_per_unit=1000, unit_name="gal")
        with pytest.raises(CellRefused):
            cells.number(text)
    else:
        assert read_quantity(text, steps_per_unit=1000, unit_name="gal") == Decimal(number) * 1000
        assert cells.number(text) == Decimal(number)


@pytest.mark.parametrize("text", ["1 234", "1 234,567", "2 3 pails"])
def test_a_quantity_is_no_sum_of_bare_numbers(text: str) -> None:
    with pytest.raises(QuantityRefused, match="is not a number"):
        read_quantity(text, steps_per_unit=1, unit_name="gal", packs={"pail": 5})
    assert read_quantity("2 pails 3", steps_per_unit=1, unit_name="gal", packs={"pail": 5}) == 13


NO_NUMBER = "“{}” is not a number. Write it like 1250 or 0.75."
BELOW_ZERO = "This cannot be below zero."
#: Quantities as they are typed, and why the shop refuses them whatever the packs of the part; None:
#: it takes them, or a part with other packs might. The phone says the same.
QUANTITIES = {
    "2": None,
    "1.5": None,
    ".5": None,
    "1,250": None,
    "2 pails": None,
    "2 pails 1.5 gal": None,
    "2 pails 3": None,
    "half": NO_NUMBER.format("half"),
    "1,5": NO_NUMBER.format("1,5"),
    "1,5 gal": NO_NUMBER.format("1,5"),
    "1 234": NO_NUMBER.format("1 234"),
    "2 3 pails": NO_NUMBER.format("2 3 pails"),
    "abc": NO_NUMBER.format("abc"),
    "−1": NO_NUMBER.format("−1"),
    "1e3": None,  # a pack may be called so
    "1..5": NO_NUMBER.format("1..5"),
    "-1": BELOW_ZERO,
    "-.5": BELOW_ZERO,
    "-2 pails": BELOW_ZERO,
    "-0": None,
}


@pytest.mark.parametrize(("text", "why"), QUANTITIES.items())
def test_which_texts_are_no_quantity_of_any_part(text: str, why: str | None) -> None:
    how: dict[str, Any] = {"steps_per_unit": 1000, "unit_name": "gal"}
    how |= {"packs": {"pail": 5000, "e3": 1000}}
    if why is None:
        assert read_quantity(text, **how) >= 0
        return
    with pytest.raises(QuantityRefused) as refused:
        read_quantity(text, **how)
    assert str(refused.value) == why
