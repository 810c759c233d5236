"""Volumes against the definitions of the gallon and the inch."""

from decimal import Decimal

import pytest

from equipment.units import (
    CUBIC_INCHES_PER_US_GALLON,
    cubic_inches,
    cubic_metres,
    gallons_per_stroke,
    litres,
    volume_gal,
)


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
