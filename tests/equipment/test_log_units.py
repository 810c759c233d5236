"""The units a log may be written in, against published factors.

Source: tests/reference/data/unit_conversions.csv, from NIST SP 811 (2008), Appendix B, and NIST
Handbook 44, Appendix C; rows marked computed are arithmetic on those.
"""

import csv
from pathlib import Path

import pytest

from equipment.shiftlogs.layout import UNITS

TABLE = Path(__file__).parents[1] / "reference" / "data" / "unit_conversions.csv"
#: Our unit, its row in the table, and whether the row leads to the canonical unit or from it.
CHECKED = {
    "l": ("UC03", 1),
    "psi": (None, 1),
    "bar": ("UC12", 1),
    "kPa": ("UC13", 1),
    "MPa": ("UC14", -1),
    "C": ("UC17", 1),
    "l/min": ("UC25", -1),
    "l/h": ("UC26", -60),
}


@pytest.fixture(scope="module")
def factors() -> dict[str, tuple[float, float]]:
    with TABLE.open(encoding="utf-8", newline="") as opened:
        return {
            row["id"]: (float(row["value"]), float(row["offset"])) for row in csv.DictReader(opened)
        }


@pytest.mark.parametrize("unit", CHECKED)
def test_a_unit_is_converted_as_published(
    factors: dict[str, tuple[float, float]], unit: str
) -> None:
    row, way = CHECKED[unit]
    factor, offset = factors[row] if row else (1.0, 0.0)
    expected = factor if way == 1 else 1 / factor / abs(way)
    assert UNITS[unit][0] == pytest.approx(expected, rel=1e-9)
    assert UNITS[unit][1] == pytest.approx(offset, abs=1e-9)


def test_every_unit_is_checked_or_plain_arithmetic() -> None:
    plain = {"strokes", "cycles", "gal", "gal/min", "gal/h", "h", "min", "s", "F"}
    assert set(UNITS) - plain - set(CHECKED) == {"kgf/cm2"}
    # From memory: standard gravity is 9.806 65 m/s² exactly, so 1 kgf/cm² is 98.066 5 kPa.
    assert UNITS["kgf/cm2"] == (pytest.approx(98.0665 * UNITS["kPa"][0], rel=1e-9), 0.0)
    assert UNITS["cycles"] == (2.0, 0.0)
    assert (UNITS["min"][0], UNITS["s"][0], UNITS["gal/h"][0]) == (1 / 60, 1 / 3600, 1 / 60)
