"""Measured values in the units that a person reads and types.

Outside values: tests/reference/data/unit_conversions.csv, from NIST SP 811 (2008), Appendix B, and
NIST Handbook 44, Appendix C; each row names its own.
"""

import csv
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from equipment import values
from equipment.own_units import METRIC, PAIRS, SYSTEMS, US, OwnUnit, above, every_unit, own_unit
from equipment.values import DEW_POINT_F, DIFFERENCE_F, ISO_4406, NotAValue
from tests.equipment.test_library import rows

TABLE = Path(__file__).parents[1] / "reference" / "data" / "unit_conversions.csv"
with TABLE.open(encoding="utf-8", newline="") as lines:
    OUTSIDE = {row["id"]: row for row in csv.DictReader(lines)}
#: The unit kept, the system that reads it, and the row that says what it reads.
SAID_OUTSIDE = {
    "UC01": ("gal", METRIC),
    "UC03": ("L", US),
    "UC07": ("fl oz", METRIC),
    "UC10": ("psi", METRIC),
    "UC12": ("bar", US),
    "UC16": ("°F", METRIC),
    "UC17": ("°C", US),
    "UC18": (DIFFERENCE_F, METRIC),
    "UC19": ("°C difference", US),
    "UC25": ("gal/min", METRIC),
    "UC32": ("ft", METRIC),
    "UC33": ("m", US),
    "UC34": ("in", METRIC),
    "UC37": ("lb", METRIC),
    "UC38": ("ft·lb", METRIC),
}
KEPT = st.decimals(-2_000_000, 2_000_000, places=4)
WAYS = [(pair.us, METRIC) for pair in PAIRS] + [(pair.metric, US) for pair in PAIRS]


def turned(unit: str, system: str) -> OwnUnit:
    own = own_unit(unit, system)
    assert own.is_turned
    return own


@pytest.mark.parametrize("row", SAID_OUTSIDE)
def test_outside_values_are_shown(row: str) -> None:
    unit, system = SAID_OUTSIDE[row]
    own = turned(unit, system)
    inside = own.shown(Decimal(OUTSIDE[row]["example_in"]))
    outside = Decimal(OUTSIDE[row]["example_out"])
    assert inside == round(outside, own.places)


def test_a_psi_is_what_nist_says() -> None:
    """NIST SP 811 (2008), Appendix B.8: 1 psi = 6.894 757 kPa; 1 bar = 100 kPa. By the exact pound,
    foot and gravity, 6.894 757 293 168 361 kPa."""
    assert turned("psi", METRIC).shown(Decimal(100_000)) == Decimal("6894.76")
    assert turned("bar", US).typed("6894.76") == Decimal("475.3770")
    kilopascals = 100 * next(pair for pair in PAIRS if pair.us == "psi").factor
    assert round(float(kilopascals), 15) == 6.894757293168361


@pytest.mark.parametrize(
    ("unit", "typed", "kept", "again"),
    [
        # UC12, UC17, UC19, UC01 and UC34 by hand.
        ("psi", "103.4", "1499.6902", "103.4"),
        ("°F", "60", "140", "60"),
        ("°F", "−28.89", "-20.002", "−28.89"),
        (DEW_POINT_F, "3", "37.4", "3"),
        (DIFFERENCE_F, "-2.7", "-4.86", "−2.7"),
        ("gal", "22.71", "5.9993", "22.71"),
        ("in", "0.13", "0.0051", "0.13"),
        ("psi", "1,034.5", "15004.1540", "1,034.5"),
    ],
)
def test_metric_values_are_kept_in_us_units(unit: str, typed: str, kept: str, again: str) -> None:
    own = turned(unit, METRIC)
    value = own.typed(typed)
    assert value == Decimal(kept)
    assert own.figure(value) == again


@pytest.mark.parametrize(("unit", "system"), WAYS)
@given(data=st.data())
def test_there_and_back_is_what_was_typed(unit: str, system: str, data: st.DataObject) -> None:
    own = turned(unit, system)
    number = data.draw(st.decimals(-100_000, 100_000, places=own.places))
    kept = own.typed(f"{number:f}")
    assert kept is not None
    assert own.shown(kept) == number
    assert own.typed(own.retyped(kept)) == kept


@pytest.mark.parametrize(("unit", "system"), WAYS)
@given(data=st.data())
def test_limits_as_shown_decide_as_the_kept_ones(
    unit: str, system: str, data: st.DataObject
) -> None:
    """What a phone compares is the typed number with the limits as shown, and nothing else."""
    low, high = sorted(data.draw(st.tuples(KEPT, KEPT)))
    limits = data.draw(st.sampled_from([(low, high), (None, high), (low, None)]))
    own = own_unit(unit, system, low=limits[0], high=limits[1])
    assume(own.is_turned)
    near = data.draw(st.sampled_from([limit for limit in (own.low, own.high) if limit is not None]))
    digits = data.draw(st.integers(-3, 3))
    number = near + digits * Decimal(1).scaleb(-own.places)
    kept = own.typed(f"{number:f}")
    assert kept is not None

    phone = (own.low is not None and number < own.low) or (
        own.high is not None and number > own.high
    )
    assert own.is_outside(kept) == phone
    assert own.shown(kept) == number
    # What the shown limit allows, the kept one allows: exactly, not by rounding.
    exact = turned(unit, system)
    if not phone:
        assert not own.is_outside(exact.typed(f"{number:f}") or Decimal(0))


@pytest.mark.parametrize(("unit", "system"), WAYS)
@given(KEPT, KEPT, KEPT)
def test_a_value_is_shown_on_its_side_of_the_limit(
    unit: str, system: str, a: Decimal, b: Decimal, value: Decimal
) -> None:
    own = own_unit(unit, system, low=min(a, b), high=max(a, b))
    assert own.low is not None
    assert own.high is not None
    for each in (value, a, b, a + Decimal("0.0001"), b - Decimal("0.0001")):
        assert own.is_outside(each) == (not own.low <= own.shown(each) <= own.high)


@example(Decimal(1100))
@given(KEPT)
def test_limits_are_rounded_inwards(limit: Decimal) -> None:
    factor = Decimal("0.06894757293168361")  # bar per psi: NIST SP 811, as UC10
    own = own_unit("psi", METRIC, low=limit, high=limit + 10)
    assert own.low is not None
    assert own.high is not None
    assert 0 <= own.low - limit * factor < Decimal("0.0101")
    assert 0 <= (limit + 10) * factor - own.high < Decimal("0.0101")


def test_the_limits_of_the_library_in_metric_units() -> None:
    limits = {
        "hydraulic pressure": own_unit("psi", METRIC, low=Decimal(900), high=Decimal(1100)),
        "oil": own_unit("°F", METRIC, name="Oil temperature, running", high=Decimal(140)),
        "sensor": own_unit(DIFFERENCE_F, METRIC, low=Decimal(-5), high=Decimal(5)),
        "terminal": own_unit(DIFFERENCE_F, METRIC, high=Decimal(30)),
        "bore": own_unit("in", METRIC, low=Decimal(0), high=Decimal("0.005")),
        "coolant": own_unit("°F", METRIC, name="Coolant protects to", high=Decimal(-20)),
    }
    assert {name: (own.low, own.high, own.unit) for name, own in limits.items()} == {
        # 900 psi is 62.0528 bar and 1,100 psi 75.8423 bar.
        "hydraulic pressure": (Decimal("62.06"), Decimal("75.84"), "bar"),
        "oil": (None, Decimal(60), "°C"),
        # 5 °F more are 2.7778 °C more.
        "sensor": (Decimal("-2.77"), Decimal("2.77"), "°C difference"),
        "terminal": (None, Decimal("16.66"), "°C difference"),
        # 0.005 in is 0.127 mm.
        "bore": (Decimal(0), Decimal("0.12"), "mm"),
        "coolant": (None, Decimal("-28.89"), "°C"),
    }


#: What the buttons add and take away over the limits of the library: in US units, in metric ones,
#: and whether they stop at zero.
STEPS = [
    ("Difference, percent of the mean", "%", "0", "2", "0.1", "0.1", True),
    ("Leak share of capacity", "%", None, "10", "1", "1", True),
    ("A side caught", "fl oz", None, None, "1", "10", True),
    ("Gallons filled", "gal", "6", "9", "0.1", "0.1", True),
    ("Pressure lost on the up stroke, 1 minute", "psi", "0", "50", "1", "0.1", True),
    ("Difference from the test gauge", "psi", "-50", "50", "1", "0.1", False),
    ("Pressure A minus B while spraying", "psi", "-200", "200", "10", "1", False),
    ("Filter drop before the change", "psi", None, "15", "1", "0.1", False),
    ("Working pressure", "psi", "900", "1100", "10", "0.1", True),
    ("Cylinder bore, largest wear", "in", "0", "0.005", "0.0001", "0.01", True),
    ("Mix chamber bore, largest", "in", None, "0.045", "0.001", "0.01", True),
    ("Belt deflection at mid-span", "in", "0.25", "0.5", "0.01", "0.1", True),
    ("Oil temperature, running", "°F", None, "140", "1", "1", False),
    ("Discharge temperature after start", "°F", None, "220", "1", "1", False),
    ("Pressure drop across the separator", "psi", None, "10", "1", "0.01", False),
    ("Coolant protects to", "°F", None, "-20", "1", "1", False),
    ("Pressure dew point at the outlet", "°F dew point", None, "50", "1", "1", False),
    ("Sensor minus test probe", "°F difference", "-5", "5", "0.1", "0.1", False),
    ("Hottest terminal over ambient", "°F difference", None, "30", "1", "1", False),
    ("Element resistance, phases even", "Ω", "8", "14", "0.1", "0.1", True),
    ("Insulation resistance to earth", "MΩ", "1", None, "0.1", "0.1", True),
    ("Volts at rated load", "V", "228", "252", "1", "1", True),
    ("Battery at rest", "V", "12.4", "12.9", "0.01", "0.01", True),
    ("Frequency at rated load", "Hz", "59", "61", "0.1", "0.1", True),
    ("Minutes at 30 percent load or more", "min", "30", None, "1", "1", True),
    ("Tread depth left", "32nds in", "2", None, "0.1", "0.1", True),
    ("CO alarm answers to test gas", "ppm", None, "10", "1", "1", True),
]


@pytest.mark.parametrize(("name", "unit", "low", "high", "us", "metric", "stops"), STEPS)
def test_what_the_buttons_add_fits_the_limits(
    name: str, unit: str, low: str | None, high: str | None, us: str, metric: str, stops: bool
) -> None:
    limits = {key: Decimal(text) for key, text in (("low", low), ("high", high)) if text}
    ways = [own_unit(unit, system, name=name, **limits) for system in (US, METRIC)]
    assert [f"{way.increment():f}" for way in ways] == [us, metric]
    # A temperature may lie below zero; in what else the buttons stop there, they do in any unit.
    assert [way.least() for way in ways] == [Decimal(0) if stops else None] * 2


def test_what_the_buttons_add_is_known_for_every_limit_of_the_library() -> None:
    known = {(unit, low, high) for _, unit, low, high, *_ in STEPS}
    said = {
        (row["unit"], row["low"] or None, row["high"] or None)
        for row in rows("checks.csv")
        if row["unit"] and not values.is_code(row["unit"])
    }
    assert said - known == set()


@pytest.mark.parametrize(("low", "high"), [(0, 2), (0, 50), (6, 9), (900, 1100), (-5, 5)])
def test_from_one_limit_to_the_other_it_takes_twenty_taps_and_not_thousands(
    low: int, high: int
) -> None:
    step = own_unit("psi", US, low=Decimal(low), high=Decimal(high)).increment()
    assert 20 <= (high - low) / step <= 200


@pytest.mark.parametrize("unit", ["V", "Hz", "%", "Ω", "ppm", "mg/m³ oil", "min", "oz", "32nds in"])
@pytest.mark.parametrize("system", SYSTEMS)
def test_what_has_no_other_unit_is_the_same_for_all(unit: str, system: str) -> None:
    own = own_unit(unit, system, low=Decimal("0.5"), high=Decimal(100))
    assert (own.unit, own.low, own.high, own.is_turned) == (unit, Decimal("0.5"), 100, False)
    assert own.typed("0.1234") == Decimal("0.1234")
    assert own.said(Decimal("1182.5")) == f"1,182.5 {unit}" + (
        " (oil class X)" if "oil" in unit else ""
    )
    assert f"{own.increment():f}" == "1"


@pytest.mark.parametrize(("unit", "system"), WAYS)
def test_nobody_turns_what_is_in_their_own_unit(unit: str, system: str) -> None:
    other = US if system == METRIC else METRIC
    assert not own_unit(unit, other).is_turned


def test_a_code_is_a_code_everywhere() -> None:
    own = own_unit(ISO_4406, METRIC, high=Decimal(201815))
    assert own.typed("3500 500 60") == Decimal(191613)
    assert own.said(Decimal(191613)) == "19/16/13 ISO 4406"
    assert own.is_outside(Decimal(191616))


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("Sensor minus test probe", None, None),
        ("Hottest terminal over ambient at load", None, Decimal(30)),
        ("Temperature rise, water", None, None),
        ("Sensor", Decimal(-5), Decimal(5)),
        ("Must read zero", Decimal(0), Decimal(0)),
    ],
)
def test_degrees_that_may_be_a_difference_stay(
    name: str, low: Decimal | None, high: Decimal | None
) -> None:
    assert not own_unit("°F", METRIC, name=name, low=low, high=high).is_turned
    assert own_unit(DIFFERENCE_F, METRIC, name=name, low=low, high=high).is_turned


def test_zero_is_zero() -> None:
    gauge = own_unit("psi", METRIC, name="Gauge A", low=Decimal(0), high=Decimal(0))
    assert (gauge.unit, gauge.low, gauge.high) == ("bar", 0, 0)
    assert gauge.typed("0") == 0
    assert gauge.typed("0.01") == Decimal("0.1450")
    assert gauge.shown(Decimal("0.0001")) == Decimal("0.01")


def test_limits_with_no_room_between_them_stay_in_their_unit() -> None:
    own = own_unit("psi", METRIC, low=Decimal("15"), high=Decimal("15.05"))
    assert not own.is_turned
    assert (own.low, own.high) == (15, Decimal("15.05"))


def test_a_dew_point_means_what_its_kept_value_means() -> None:
    # ISO 8573-1:2010, Table 2: class 4 up to 3 °C, which is 37.4 °F.
    own = turned(DEW_POINT_F, METRIC)
    assert own.said(Decimal("37.4")) == "3 °C dew point (water class 4)"
    assert own.said(Decimal("37.401")) == "3 °C dew point (water class 5)"


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("103.456", "At most 2 decimals"),
        ("99999999", "too large"),
        ("sixty", "Write a number"),
    ],
)
def test_what_cannot_be_kept_is_refused(typed: str, words: str) -> None:
    with pytest.raises(NotAValue, match=words):
        turned("psi", METRIC).typed(typed)
    assert turned("psi", METRIC).typed(" ") is None


def test_every_way_of_typing_a_value() -> None:
    assert list(every_unit("psi", high=Decimal(15))) == ["psi", "bar"]
    assert list(every_unit("bar")) == ["bar", "psi"]
    assert list(every_unit("V")) == ["V"]
    assert list(every_unit("°F", name="Sensor minus probe")) == ["°F"]
    assert values.PLACES == every_unit("psi")["psi"].places == 4


@given(st.sampled_from(WAYS), KEPT, KEPT)
@example(("°F", METRIC), Decimal(140), Decimal(128))
def test_a_difference_is_that_of_the_figures_and_has_no_offset(
    way: tuple[str, str], value: Decimal, other: Decimal
) -> None:
    """Turned, it is the factor of the unit times the difference kept: for °F 5/9, and no 32."""
    own = own_unit(*way)
    apart = above(own, value, own, other)
    assert apart == own.shown(value) - own.shown(other)
    assert apart == -above(own, other, own, value)
    pair = next(each for each in PAIRS if way[0] in (each.us, each.metric))
    factor = pair.factor if way[0] == pair.us else 1 / pair.factor
    assert abs(Fraction(apart) - factor * Fraction(value - other)) <= Fraction(1, 10**own.places)


def test_a_difference_of_temperatures_in_the_units_of_the_reader() -> None:
    value, other = Decimal(140), Decimal(128)
    for system, said in ((US, Decimal(12)), (METRIC, Decimal("6.67"))):
        own = own_unit("°F", system)
        assert above(own, value, own, other) == said
    assert own_unit(DEW_POINT_F, METRIC).apart == "°C"
    assert own_unit("psi", METRIC).apart == "bar"


def test_what_is_shown_in_two_units_or_as_a_code_has_no_difference() -> None:
    assert above(own_unit("psi", US), Decimal(5), own_unit("psi", METRIC), Decimal(4)) is None
    code = own_unit(ISO_4406, US)
    assert above(code, Decimal(181613), code, Decimal(171512)) is None
