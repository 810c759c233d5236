"""Volumes, lengths and heat in the units of the trade and of the metre.

The definitions below have no rounding, so a figure printed in litres and turned back into gallons
is the same figure.
"""

from decimal import Decimal

# 1 US gal = 231 in³ exactly (NIST Handbook 44, Appendix C).
CUBIC_INCHES_PER_US_GALLON = 231
# 1 in = 0.0254 m exactly (NIST SP 811, Appendix B).
METRES_PER_INCH = Decimal("0.0254")
LITRES_PER_CUBIC_METRE = 1000
INCHES_PER_FOOT = 12
# To the 28 digits that decimals carry.
PI = Decimal("3.141592653589793238462643383")


def gallons_per_stroke(displacement_in3: Decimal) -> Decimal:
    """Return what one counted stroke moves. [US gal]

    displacement_in3: volume of one counted stroke, > 0. [in³] Where the counter counts
        there-and-back cycles this is the volume of a cycle.
    Raises ValueError outside that range.
    Source: 1 US gal = 231 in³ exactly (NIST Handbook 44, Appendix C).
    """
    if displacement_in3 <= 0:
        raise ValueError("The displacement per counted stroke must be above zero.")
    return displacement_in3 / CUBIC_INCHES_PER_US_GALLON


def volume_gal(*, strokes: Decimal | int, displacement_in3: Decimal) -> Decimal:
    """Return the volume that one side pumped. [US gal]

    strokes: strokes counted, >= 0. [1]
    displacement_in3: volume of one counted stroke, > 0. [in³]
    Raises ValueError outside those ranges.
    Source: 1 US gal = 231 in³ exactly (NIST Handbook 44, Appendix C).
    """
    if strokes < 0:
        raise ValueError("A count of strokes cannot be below zero.")
    if displacement_in3 <= 0:
        raise ValueError("The displacement per counted stroke must be above zero.")
    # Multiplied before it is divided, so that whole gallons come out whole.
    return strokes * displacement_in3 / CUBIC_INCHES_PER_US_GALLON


def cubic_inches(gallons: Decimal) -> Decimal:
    """Return a volume in cubic inches. [in³] gallons: any volume. [US gal]"""
    return gallons * CUBIC_INCHES_PER_US_GALLON


def cubic_metres(gallons: Decimal) -> Decimal:
    """Return a volume in cubic metres. [m³] gallons: any volume. [US gal]"""
    return cubic_inches(gallons) * METRES_PER_INCH**3


def litres(gallons: Decimal) -> Decimal:
    """Return a volume in litres, for shops that chose metric units. [L]

    gallons: any volume. [US gal]
    """
    return cubic_metres(gallons) * LITRES_PER_CUBIC_METRE


def hose_volume_in3(*, inner_diameter_in: Decimal, length_ft: Decimal) -> Decimal:
    """Return what a hose holds: π/4 × diameter² × length. [in³]

    inner_diameter_in: > 0. [in] length_ft: > 0. [ft] A hose under pressure holds a little more,
    since it widens; fittings are not counted.
    Raises ValueError outside those ranges.
    Source: the volume of a cylinder; 1 ft = 12 in.
    """
    if not (inner_diameter_in > 0 and length_ft > 0):
        raise ValueError("A hose has a diameter and a length above zero.")
    return PI / 4 * inner_diameter_in**2 * length_ft * INCHES_PER_FOOT


def hose_volume_gal(*, inner_diameter_in: Decimal, length_ft: Decimal) -> Decimal:
    """Return what a hose holds. [US gal] Arguments and errors: as `hose_volume_in3`.

    Source: 1 US gal = 231 in³ exactly (NIST Handbook 44, Appendix C).
    """
    held = hose_volume_in3(inner_diameter_in=inner_diameter_in, length_ft=length_ft)
    return held / CUBIC_INCHES_PER_US_GALLON


def inches(millimetres: Decimal) -> Decimal:
    """Return a length in inches. [in] millimetres: any length. [mm]"""
    return millimetres / 1000 / METRES_PER_INCH


def celsius(fahrenheit: Decimal) -> Decimal:
    """Return a temperature in degrees Celsius: (F − 32) × 5/9. [°C] fahrenheit: any. [°F]

    Source: the definition of the two scales.
    """
    return (fahrenheit - 32) * 5 / 9
