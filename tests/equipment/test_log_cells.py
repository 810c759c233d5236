"""What one cell of a log says, and what its heading promises."""

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.shiftlogs.guessing.cells import number, read_clock, read_date, read_moment
from equipment.shiftlogs.guessing.headings import read_heading
from equipment.shiftlogs.guessing.words import LOUD, UNITS

# --- cells ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("2026-03-04", "ymd", date(2026, 3, 4)),
        ("20260304", "ymd", date(2026, 3, 4)),
        ("2026年3月4日", "ymd", date(2026, 3, 4)),
        ("2026. 3. 4.", "ymd", date(2026, 3, 4)),
        ("04.03.2026", "dmy", date(2026, 3, 4)),
        ("3/4/26", "mdy", date(2026, 3, 4)),
        ("4. März 2026", "dmy", date(2026, 3, 4)),
        ("Mar 04, 2026", "mdy", date(2026, 3, 4)),
        ("04-mrt-26", "dmy", date(2026, 3, 4)),
        ("4 de marzo de 2026", "dmy", date(2026, 3, 4)),
        ("Wed 04/03/2026", "dmy", date(2026, 3, 4)),
        ("mié. 04/03/2026", "dmy", date(2026, 3, 4)),
    ],
)
def test_dates(text: str, order: str, day: date) -> None:
    cell = read_date(text)
    assert cell is not None
    assert order in cell.orders
    assert cell.day(order) == day


@pytest.mark.parametrize(
    "text", ["31/02/2026", "2026-13-40", "1234", "1,234.5", "Mon", "04/03", ""]
)
def test_no_dates(text: str) -> None:
    assert read_date(text) is None


def test_a_weekday_leaves_one_order() -> None:
    """4 March 2026 is a Wednesday, 3 April a Friday."""
    wednesday, friday = read_date("Wed 04/03/2026"), read_date("Fri 04/03/2026")
    assert wednesday is not None
    assert friday is not None
    assert (wednesday.orders, friday.orders) == (("dmy",), ("mdy",))


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("07:00", 25_200_000_000),
        ("7:00:00.250", 25_200_250_000),
        ("07.00.00", 25_200_000_000),
        ("07h00", 25_200_000_000),
        ("070000", 25_200_000_000),
        ("12:00:00 AM", 0),
        ("12:30 p.m.", 45_000_000_000),
        ("24:00:00", 86_400_000_000),
    ],
)
def test_times_of_day(text: str, us: int) -> None:
    clock = read_clock(text)
    assert clock is not None
    assert clock.us == us


@pytest.mark.parametrize("text", ["25:00", "07:61", "13:00 AM", "12", "abc", "7.5"])
def test_no_times_of_day(text: str) -> None:
    assert read_clock(text) is None


@pytest.mark.parametrize(
    ("text", "zone"),
    [
        ("2026-03-04 07:00:00", ""),
        ("2026-03-04T07:00:00Z", "Z"),
        ("2026-03-04T07:00:00.5+01:00", "+01:00"),
        ("04.03.2026, 07:00 MEZ", "MEZ"),
        ("Mar 04, 2026 07:00:00 AM", ""),
        ("20260304070000", ""),
        ("07:00:00 04/03/2026", ""),
    ],
)
def test_moments(text: str, zone: str) -> None:
    moment = read_moment(text)
    assert moment is not None
    assert moment[1].us // 3_600_000_000 == 7
    assert moment[1].zone == zone


@pytest.mark.parametrize(
    ("text", "decimal", "grouping", "value"),
    [
        ("1,234.5", ".", ",", 1234.5),
        ("1.234,5", ",", ".", 1234.5),
        ("1 234,5", ",", " ", 1234.5),
        ("1'234.5", ".", "'", 1234.5),
        ("\u22123.5", ".", "", -3.5),
        ("1200 psi", ".", "", 1200.0),
        ("48,5 °C", ",", "", 48.5),
        ("12,34", ".", ",", None),
        ("1.5", ",", "", None),
        ("1x7", ".", "", None),
        ("", ".", "", None),
    ],
)
def test_numbers(text: str, decimal: str, grouping: str, value: float | None) -> None:
    assert number(text, decimal=decimal, grouping=grouping) == value


# --- headings ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "quantity", "side", "unit"),
    [
        ("ISO temp (°F)", "temp", "iso", "F"),
        ("IsoPressPSI", "pressure", "iso", "psi"),
        ("Schlauchtemperatur [°C]", "temp", "hose", "C"),
        ("Isohübe", "strokes", "iso", ""),
        ("Doppelhübe Harz", "cycles", "resin", ""),
        ("Nombre de coups A", "strokes", "A", ""),
        ("Presión Resina kPa", "pressure", "resin", "kPa"),
        ("flow_total_resin_l", "volume", "resin", "l"),
        ("Débit B l/min", "flow", "B", "l/min"),
        ("tempa", "temp", "A", ""),
        ("A-Pres", "pressure", "A", ""),
        ("Strokes (A)", "strokes", "A", ""),
        ("Temp_1_C", "temp", "1", "C"),
    ],
)
def test_headings(text: str, quantity: str, side: str, unit: str) -> None:
    heading = read_heading(text)
    assert (heading.quantity, heading.side, heading.unit) == (quantity, side, unit)
    assert not heading.is_decoy


@pytest.mark.parametrize(
    "text",
    [
        "ISO temp set", "A Temp SP", "Solltemperatur Iso", "Consigne pression", "Alarm", "Ratio",
        "Heater A (A)", "Heizstrom", "Ambient temp F", "Außentemperatur", "Battery V", "Temp A max",
        "Strokes/min", "Hübe pro Minute", "A strokes per minute", "ISO drum temp F", "Hyd oil temp",
        "RES transfer pump strokes", "ISO inlet temp F", "A used (kg)", "Compressor hours",
    ],
)  # fmt: skip
def test_headings_of_something_else(text: str) -> None:
    assert read_heading(text).is_decoy


@given(
    words=st.lists(
        st.sampled_from(sorted({*LOUD, *UNITS, *"ABCFPTblis12°", "iso", "temp", "psi", "Hose"})),
        max_size=5,
    ),
    between=st.sampled_from(["", " ", "_", "/", "-", " (", "]", ". ", "° "]),
    below=st.sampled_from(["", *sorted(UNITS)]),
)
@settings(max_examples=400, deadline=None)
def test_any_heading_is_read(words: list[str], between: str, below: str) -> None:
    for text in (between.join(words), between.join(words).upper(), between.join(words).title()):
        heading = read_heading(text, below)
        assert heading.unit in {"", "?", *UNITS.values()}
