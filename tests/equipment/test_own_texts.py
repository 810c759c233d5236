"""Figures with a unit inside a text, in the units of who reads it.

Outside values: tests/reference/data/unit_conversions.csv, from NIST SP 811 (2008), Appendix B, and
NIST Handbook 44, Appendix C; each row names its own.
"""

import csv
import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from equipment.own_texts import own_text
from equipment.own_units import METRIC, PAIRS, SYSTEMS, US

TABLE = Path(__file__).parents[1] / "reference" / "data" / "unit_conversions.csv"
with TABLE.open(encoding="utf-8", newline="") as lines:
    OUTSIDE = {row["id"]: row for row in csv.DictReader(lines)}
#: The row, the unit written, the system that reads it, the unit read.
SAID_OUTSIDE = [
    ("UC01", "gal", METRIC, "L"),
    ("UC03", "L", US, "gal"),
    ("UC07", "fl oz", METRIC, "mL"),
    ("UC10", "psi", METRIC, "bar"),
    ("UC12", "bar", US, "psi"),
    ("UC18", "°F difference", METRIC, "°C difference"),
    ("UC19", "°C difference", US, "°F difference"),
    ("UC25", "gal/min", METRIC, "L/min"),
    ("UC32", "ft", METRIC, "m"),
    ("UC33", "m", US, "ft"),
    ("UC37", "lb", METRIC, "kg"),
    ("UC38", "ft·lb", METRIC, "N·m"),
]
SPANISH = {"ft": "pies", "in": "pulg"}
UNITS = [pair.us for pair in PAIRS] + [pair.metric for pair in PAIRS]


@pytest.mark.parametrize(("row", "written", "system", "read"), SAID_OUTSIDE)
def test_outside_values_are_said_within_two_per_cent(
    row: str, written: str, system: str, read: str
) -> None:
    given_, wanted = OUTSIDE[row]["example_in"], Decimal(OUTSIDE[row]["example_out"])
    said = own_text(f"Only over {given_} {written}", system)
    found = re.fullmatch(
        rf"Only over ([\d.,]+) {re.escape(read)} \({re.escape(f'{given_} {written}')}\)", said
    )
    assert found, said
    off = Fraction(found[1].replace(",", "")) / Fraction(wanted) - 1
    assert abs(off) <= Fraction(1, 50)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        # 1 psi = 0.068 947 57 bar, 1 ft = 0.3048 m, 1 in = 25.4 mm, 1 gal = 3.785 411 784 L.
        ("over 10 psi", "over 0.7 bar (10 psi)"),  # 0.689
        ("10 to 15 psi drop", "0.7 to 1.03 bar (10 to 15 psi) drop"),  # 0.689, 1.034
        ("10–15 psi", "0.7–1.03 bar (10–15 psi)"),
        ("about 1000 psi.", "about 70 bar (1000 psi)."),  # 68.9
        ("at 1,182.5 PSI", "at 81.53 bar (1,182.5 PSI)"),  # 81.5305
        ("3 to 4 ft", "0.9 to 1.2 m (3 to 4 ft)"),  # 0.9144, 1.2192
        ("a gap of 0.125 in.", "a gap of 3.18 mm (0.125 in)."),  # 3.175, half to even
        ("6,000 gal", "23,000 L (6,000 gal)"),  # 22,712
        ("0 psi", "0 bar (0 psi)"),
        ("20psi, then 8 fl oz", "1.4 bar (20psi), then 240 mL (8 fl oz)"),  # 1.379, 236.6
        ("±5 °F difference", "±2.8 °C difference (5 °F difference)"),  # 2.78
    ],
)
def test_what_is_written_in_us_units_is_read_in_metric_ones(text: str, said: str) -> None:
    assert own_text(text, METRIC) == said
    assert own_text(text, US) == text


@pytest.mark.parametrize(
    "text",
    [
        "Warm to 120 °F, within 10 °F",  # a temperature or a difference: nobody can tell
        "35 °F dew point",
        "Put 2 in the tank",
        "a 1/2 in. plug",
        "1,5 psi",  # no figure as we write them
        "10 psid",
        "part X10 psi",
        "The hoses hold 1.20 gal (4.56 L) on each side.",
        "over 0.7 bar (10 psi)",
        "10 psi / 0.7 bar",
        "",
    ],
)
def test_what_is_told_already_or_cannot_be_told_stays(text: str) -> None:
    assert own_text(text, METRIC) == text


def test_a_spanish_text_has_spanish_units() -> None:
    def say(unit: str) -> str:
        return SPANISH.get(unit, unit)

    text = "Dejar de 3 a 4 pies libres; solo si la caída pasa de 10 psi"
    assert own_text(text, METRIC, say=say) == (
        "Dejar de 0.9 a 1.2 m (3 a 4 pies) libres; solo si la caída pasa de 0.7 bar (10 psi)"
    )
    assert own_text("a 2 m del tanque", US, say=say) == "a 6.6 pies (2 m) del tanque"


@given(text=st.text(), system=st.sampled_from(SYSTEMS))
@example(text="5 and 6 of 7, 12:30, §3.2, 50 %", system=METRIC)
def test_texts_without_units_stay(text: str, system: str) -> None:
    for unit in sorted(UNITS, key=len, reverse=True):
        text = re.sub(re.escape(unit), "", text, flags=re.IGNORECASE)
    assert own_text(text, system) == text


@given(
    figure=st.decimals(0, 100_000, places=3).map(lambda each: f"{each.normalize():f}"),
    unit=st.sampled_from(UNITS),
    system=st.sampled_from(SYSTEMS),
    before=st.sampled_from(["", "over ", "drop ("]),
    after=st.sampled_from(["", " of it", ")."]),
)
@example(figure="10", unit="psi", system=METRIC, before="over ", after="")
def test_what_was_written_always_stands_beside_and_is_told_once(
    figure: str, unit: str, system: str, before: str, after: str
) -> None:
    text = f"{before}{figure} {unit}{after}"
    said = own_text(text, system)
    assert said == text or f"({figure} {unit})" in said
    assert own_text(said, system) == said
