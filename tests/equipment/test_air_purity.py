"""Purity classes of air against every row of ISO 8573-1's tables.

Source: tests/reference/data/compressed_air_purity.csv (ISO 8573-1:2010, Tables 2 and 3,
"secondary_seen").
"""

import csv
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment import units
from equipment.air_purity import DEW_POINT_LIMITS_C, OIL_LIMITS_MG_PER_M3, oil_class, water_class

DATA = Path(__file__).parent.parent / "reference" / "data" / "compressed_air_purity.csv"
HAIR = Decimal("0.0001")


def rows(contaminant: str, comparison: str = "<=") -> list[dict[str, str]]:
    with DATA.open(newline="", encoding="utf-8") as file:
        return [
            row
            for row in csv.DictReader(file)
            if (row["contaminant"], row["comparison"]) == (contaminant, comparison)
        ]


WATER = [row for row in rows("water") if row["unit"] == "degC"]


@pytest.mark.parametrize("row", WATER, ids=lambda row: row["class"])
def test_each_water_class_up_to_and_including(row: dict[str, str]) -> None:
    name, limit = int(row["class"]), Decimal(row["value"])
    assert water_class(limit) == name
    assert water_class(limit + HAIR) == (name + 1 if name < 6 else None)
    assert water_class(units.celsius(Decimal(row["value_alt"]))) == name


def test_the_tables_are_whole() -> None:
    assert [(int(row["class"]), int(row["value"])) for row in WATER] == list(DEW_POINT_LIMITS_C)
    assert [(int(row["class"]), Decimal(row["value"])) for row in rows("oil")] == list(
        OIL_LIMITS_MG_PER_M3
    )


@pytest.mark.parametrize("row", rows("oil"), ids=lambda row: row["class"])
def test_each_oil_class_up_to_and_including(row: dict[str, str]) -> None:
    name, limit = int(row["class"]), Decimal(row["value"])
    assert oil_class(limit) == name
    assert oil_class(limit + HAIR) == (name + 1 if name < 4 else "X")


def test_more_oil_than_the_last_class_is_x() -> None:
    (row,) = rows("oil", ">")
    assert oil_class(Decimal(row["value"]) + HAIR) == row["class"] == "X"


@given(st.decimals(-100, 40, places=2), st.decimals(-100, 40, places=2))
def test_drier_air_never_has_a_larger_class(one: Decimal, two: Decimal) -> None:
    dry, wet = sorted((one, two))
    assert (water_class(dry) or 7) <= (water_class(wet) or 7)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(ValueError, match="absolute zero"):
        water_class(Decimal(-274))
    with pytest.raises(ValueError, match="no oil"):
        oil_class(Decimal("-0.1"))
