"""Hoses: lengths as people write them, and what a rig's hoses hold, in words."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment import hoses, units
from equipment.hoses import Hose, NotALength

HEATED = Hose("heated hose HOS-1", "", Decimal("0.375"), Decimal(210))
WHIP = Hose("whip hose WHP-1", "", Decimal("0.25"), Decimal(10))
UNKNOWN = Hose("whip hose WHP-2", "", None, None)
KNOWN_HOSES = st.builds(
    Hose,
    name=st.just("hose"),
    side=st.sampled_from(["", "A", "B"]),
    inner_diameter_in=st.decimals("0.1", 4, places=3),
    length_ft=st.decimals(1, 500, places=1),
)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("0.375", "0.375"),
        (".375 in", "0.375"),
        ("3/8", "0.375"),
        ('3/8"', "0.375"),
        ("1 1/4 in", "1.25"),
        # 1 in = 25.4 mm exactly.
        ("10 mm", "0.3937"),
        ("1 cm", "0.3937"),
        ("25.4mm", "1"),
    ],
)
def test_an_inside_diameter_is_read(text: str, inches: str) -> None:
    assert hoses.inner_diameter_in(text) == Decimal(inches)


@pytest.mark.parametrize(
    ("text", "feet"),
    # 1 ft = 0.3048 m exactly.
    [("210", "210"), ("210 ft", "210"), ("3.048 m", "10"), ("24 in", "2"), ("64 m", "209.974")],
)
def test_a_length_is_read(text: str, feet: str) -> None:
    assert hoses.length_ft(text) == Decimal(feet)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("thin", "Write a length like 3/8 in or 10 mm"),
        ("3/0", "Write a length like"),
        ("10 miles", "Write a length like"),
        ("-1", "Write a length like"),
        ("0", "above zero"),
        ("0/8", "above zero"),
        ("10", "In millimetres, write 10 mm"),
        ("٣", "Write a length like"),
    ],
)
def test_what_is_no_diameter_is_refused(text: str, words: str) -> None:
    with pytest.raises(NotALength, match=words):
        hoses.inner_diameter_in(text)


def test_a_hose_of_a_mile_is_refused() -> None:
    with pytest.raises(NotALength, match="longer than the hose of a rig"):
        hoses.length_ft("5280")


@given(st.text(max_size=20))
def test_any_text_is_a_length_that_is_kept_or_refused(text: str) -> None:
    try:
        found = hoses.inner_diameter_in(text)
    except NotALength:
        return
    assert 0 <= found <= hoses.WIDEST_IN


def test_what_the_hoses_hold_is_said_by_side_and_hose() -> None:
    """Worked example I05: 0.375 in × 210 ft holds 1.204872 gal; the whip π/4 × 0.25² × 120 in³.

    5.890486 in³ ÷ 231 = 0.02549994 gal; together 1.230372 gal, 4.657466 L at 3.785412 L a gallon.
    """
    assert hoses.sentence([HEATED, WHIP]) == (
        "The hoses hold 1.23 gal (4.66 L) on each side: heated hose HOS-1 1.20 gal (4.56 L); "
        "whip hose WHP-1 0.025 gal (0.10 L)."
    )


def test_sides_that_differ_are_told_apart() -> None:
    one_side = Hose("whip hose WHP-3", "B", Decimal("0.25"), Decimal(100))
    assert hoses.sentence([HEATED, one_side]) == (
        "The hoses hold 1.20 gal (4.56 L) on side A and 1.46 gal (5.53 L) on side B: "
        "heated hose HOS-1 1.20 gal (4.56 L); whip hose WHP-3 B 0.255 gal (0.97 L)."
    )


def test_what_is_not_known_is_said() -> None:
    assert hoses.sentence([UNKNOWN]) == "Not known how much it holds: whip hose WHP-2."
    assert hoses.sentence([WHIP, UNKNOWN]).endswith("Not known how much it holds: whip hose WHP-2.")
    assert hoses.sentence([]) == ""


def test_a_hint_is_filled_where_it_asks() -> None:
    assert hoses.filled("Twice over. {hoses}", [WHIP]).startswith("Twice over. The hoses hold")
    assert hoses.filled("Twice over. {hoses}", []) == "Twice over."
    assert hoses.filled("As  it is", [WHIP]) == "As  it is"


@given(st.lists(KNOWN_HOSES, max_size=5))
def test_the_sides_together_hold_every_line(fitted: list[Hose]) -> None:
    lines = sum((hose.holds_gal or Decimal(0)) * (1 if hose.side else 2) for hose in fitted)
    both = hoses.side_gal(fitted, "A") + hoses.side_gal(fitted, "B")
    assert float(both) == pytest.approx(float(lines))
    assert float(units.cubic_inches(both)) == pytest.approx(
        sum(
            float(
                units.hose_volume_in3(
                    inner_diameter_in=hose.inner_diameter_in or Decimal(1),
                    length_ft=hose.length_ft or Decimal(1),
                )
            )
            * (1 if hose.side else 2)
            for hose in fitted
        )
    )
