"""The purity classes of compressed air by ISO 8573-1, for water and for oil.

A smaller class is cleaner air. Class 0 is stricter than class 1 and agreed case by case, so no
figure alone gives it. Pure: figures in, classes out.

Source: ISO 8573-1:2010, Tables 2 and 3, as public copies give them; not read in the standard
itself.
"""

from decimal import Decimal
from typing import Final

#: Water class by pressure dew point, up to and including. [°C]
DEW_POINT_LIMITS_C: Final = ((1, -70), (2, -40), (3, -20), (4, 3), (5, 7), (6, 10))
#: Oil class by all oil there is, liquid, aerosol and vapour, up to and including. [mg/m³]
OIL_LIMITS_MG_PER_M3: Final = (
    (1, Decimal("0.01")),
    (2, Decimal("0.1")),
    (3, Decimal(1)),
    (4, Decimal(5)),
)
#: More oil than class 4 allows.
PAST_OIL_CLASSES: Final = "X"
COLDEST_C: Final = Decimal("-273.15")


def water_class(dew_point_c: Decimal) -> int | None:
    """Return the water class, 1 to 6, of a pressure dew point; None above +10 °C.

    dew_point_c: above absolute zero, at the pressure of the line. [°C] Above +10 °C the class, 7
        to 9 or X, goes by liquid water, which a dew point does not tell.
    Raises ValueError below absolute zero.
    Source: ISO 8573-1:2010, Table 2.
    """
    if not dew_point_c >= COLDEST_C:
        raise ValueError("Nothing is colder than absolute zero.")
    return next((name for name, most in DEW_POINT_LIMITS_C if dew_point_c <= most), None)


def oil_class(oil_mg_per_m3: Decimal) -> int | str:
    """Return the oil class of air, 1 to 4, or "X" for more oil than class 4 allows.

    oil_mg_per_m3: liquid, aerosol and vapour together, >= 0, at 20 °C, 1 bar absolute and dry.
        [mg/m³]
    Raises ValueError below zero.
    Source: ISO 8573-1:2010, Table 3.
    """
    if not oil_mg_per_m3 >= 0:
        raise ValueError("Air cannot hold less than no oil.")
    return next(
        (name for name, most in OIL_LIMITS_MG_PER_M3 if oil_mg_per_m3 <= most), PAST_OIL_CLASSES
    )
