"""Volumes, lengths and heat against the definitions of the gallon, the inch and the scales."""

import csv
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.units import (
    CUBIC_INCHES_PER_US_GALLON,
    celsius,
    cubic_inches,
    cubic_metres,
    gallons_per_stroke,
    hose_volume_gal,
    hose_volume_in3,
    inches,
    litres,
    volume_gal,
)

CONVERSIONS = Path(__file__).parent.parent / "reference" / "data" / "unit_conversions.csv"
LENGTHS = st.decimals("0.01", 1_000, places=2)


def test_the_gallon_is_231_cubic_inches() -> None:
    # NIST Handbook 44, Appendix C: 1 gallon = 231 cubic inches, exactly.
    assert CUBIC_INCHES_PER_US_GALLON == 231
    assert cubic_inches(Decimal(1)) == 231


def test_the_gallon_in_metric_units() -> None:
    # NIST Handbook 44, Appendix C: 1 gallon = 3.785 411 784 L, exactly (231 × 0.0254³ m³).
    assert litres(Decimal(1)) == Decimal("3.785411784")
    assert cubic_metres(Decimal(1)) == Decimal("0.003785411784")
    # A 55 gal drum: unit_conversions.csv, UC01, from the same source.
    assert litres(Decimal(55)) == Decimal("208.19764812")


def test_gallons_from_strokes() -> None:
    # 77 strokes of 3 in³ are 231 in³: one gallon by definition.
    assert volume_gal(strokes=77, displacement_in3=Decimal(3)) == 1
    # 120,000 × 4.5 in³ = 540,000 in³; ÷ 231 = 2,337.662 337 662 …
    gallons = volume_gal(strokes=120_000, displacement_in3=Decimal("4.5"))
    assert round(gallons, 12) == Decimal("2337.662337662338")
    assert volume_gal(strokes=0, displacement_in3=Decimal("4.5")) == 0


def test_gallons_of_one_stroke() -> None:
    assert gallons_per_stroke(Decimal(231)) == 1
    assert gallons_per_stroke(Decimal("23.1")) == Decimal("0.1")


@pytest.mark.parametrize("displacement", [Decimal(0), Decimal(-1)])
def test_a_stroke_without_volume_is_refused(displacement: Decimal) -> None:
    with pytest.raises(ValueError, match="displacement"):
        gallons_per_stroke(displacement)
    with pytest.raises(ValueError, match="displacement"):
        volume_gal(strokes=1, displacement_in3=displacement)


def test_fewer_than_no_strokes_are_refused() -> None:
    with pytest.raises(ValueError, match="below zero"):
        volume_gal(strokes=-1, displacement_in3=Decimal(3))


class TestHose:
    def test_a_heated_hose(self) -> None:
        """Worked example I05 (cylinder volume): 0.375 in × 210 ft is 1.204 872 gal."""
        found = hose_volume_gal(inner_diameter_in=Decimal("0.375"), length_ft=Decimal(210))
        assert float(found) == pytest.approx(1.2048721824847217, rel=1e-12)

    def test_in_metric_units_it_is_the_same_cylinder(self) -> None:
        # π/4 × 1 cm² × 1,000 cm = 785.398 163 cm³, worked out in centimetres.
        found = hose_volume_gal(
            inner_diameter_in=inches(Decimal(10)), length_ft=inches(Decimal(10_000)) / 12
        )
        assert float(litres(found)) == pytest.approx(0.7853981633974483, rel=1e-12)

    @given(LENGTHS, LENGTHS, LENGTHS)
    def test_hoses_in_a_row_hold_what_one_long_one_does(
        self, diameter: Decimal, one: Decimal, two: Decimal
    ) -> None:
        apart = [hose_volume_in3(inner_diameter_in=diameter, length_ft=each) for each in (one, two)]
        whole = hose_volume_in3(inner_diameter_in=diameter, length_ft=one + two)
        assert float(sum(apart)) == pytest.approx(float(whole), rel=1e-12)

    @given(LENGTHS, LENGTHS)
    def test_twice_the_diameter_holds_four_times_as_much(
        self, diameter: Decimal, length: Decimal
    ) -> None:
        narrow = hose_volume_in3(inner_diameter_in=diameter, length_ft=length)
        wide = hose_volume_in3(inner_diameter_in=2 * diameter, length_ft=length)
        assert float(wide) == pytest.approx(4 * float(narrow), rel=1e-12)

    @pytest.mark.parametrize(("diameter", "length"), [(0, 1), (1, 0), (-1, 1), (1, -1)])
    def test_a_hose_without_room_is_refused(self, diameter: int, length: int) -> None:
        with pytest.raises(ValueError, match="above zero"):
            hose_volume_in3(inner_diameter_in=Decimal(diameter), length_ft=Decimal(length))


def test_lengths_and_heat_against_the_table_of_conversions() -> None:
    """unit_conversions.csv: UC34 in to mm, UC16 °F to °C; each row's example."""
    with CONVERSIONS.open(newline="", encoding="utf-8") as file:
        rows = {row["id"]: row for row in csv.DictReader(file)}
    row = rows["UC34"]
    assert inches(Decimal(row["example_out"])) == Decimal(row["example_in"])
    assert celsius(Decimal(rows["UC16"]["example_in"])) == Decimal(rows["UC16"]["example_out"])
