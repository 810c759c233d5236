"""What the hoses of a rig hold: how much to flush through before a long stop.

Pure: lengths as people write them in, inches, feet and sentences out.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from equipment import units

#: Where this stands in the hint of a check, a sheet says what the hoses of its rig hold.
PLACEHOLDER: Final = "{hoses}"
#: What stands for it where no rig is meant.
STANDS_FOR: Final = "(what the hoses of the rig hold)"
SIDES: Final = ("A", "B")
#: Wider or longer is a slip of the finger, or another unit than the one asked for.
WIDEST_IN: Final = Decimal(4)
LONGEST_FT: Final = Decimal(2_000)


def gettext_noop(text: str) -> str:
    """Mark what is translated where it is shown."""
    return text


#: What a sheet keeps of hoses, to be read back by it in somebody's language; longest first.
_ALIKE: Final = gettext_noop("The hoses hold {gallons} on each side: {lines}.")
_APART: Final = gettext_noop(
    "The hoses hold {gallons} on side A and {more_gallons} on side B: {lines}."
)
_NOT_KNOWN: Final = gettext_noop("Not known how much it holds: {hoses}.")
_ALIKE_IN_PART: Final = gettext_noop(
    "The hoses hold {gallons} on each side: {lines}. Not known how much it holds: {hoses}."
)
_APART_IN_PART: Final = gettext_noop(
    "The hoses hold {gallons} on side A and {more_gallons} on side B: {lines}."
    " Not known how much it holds: {hoses}."
)
COMPOSED: Final = (_APART_IN_PART, _ALIKE_IN_PART, _APART, _ALIKE, _NOT_KNOWN)

_LENGTH: Final = re.compile(
    r"(?:(?P<whole>[0-9]{1,4})\s+)?(?P<over>[0-9]{1,3})/(?P<under>[0-9]{1,3})\s*(?P<unit>.*)"
    r"|(?P<number>[0-9]{1,6}(?:\.[0-9]{1,6})?|\.[0-9]{1,6})\s*(?P<its_unit>.*)"
)
_MILLIMETRES: Final = {"mm": Decimal(1), "cm": Decimal(10), "m": Decimal(1000)}
_INCHES: Final = {"in": 1, '"': 1, "″": 1, "inch": 1, "inches": 1, "ft": 12, "'": 12, "′": 12}


class NotALength(ValueError):
    """A text is no length of a hose, and why, in words for the person who typed it."""


@dataclass(frozen=True, slots=True)
class Hose:
    """A hose that is fitted, or a pair of lines with one name.

    side: "A" or "B"; "" where one line for each side runs in it. inner_diameter_in: of one line.
    [in] length_ft: [ft] Both None where nobody said.
    """

    name: str
    side: str
    inner_diameter_in: Decimal | None
    length_ft: Decimal | None

    @property
    def holds_gal(self) -> Decimal | None:
        """What one line of it holds. [US gal] None where it is not known."""
        if self.inner_diameter_in is None or self.length_ft is None:
            return None
        return units.hose_volume_gal(
            inner_diameter_in=self.inner_diameter_in, length_ft=self.length_ft
        )


def inner_diameter_in(text: str) -> Decimal:
    """Return an inside diameter as people write it: "3/8", "0.375 in", "10 mm". [in]

    Without a unit it is in inches. Raises NotALength, past WIDEST_IN too.
    """
    found = _inches(text, per_unit=Decimal(1), example="3/8 in or 10 mm")
    if found > WIDEST_IN:
        raise NotALength("That is wider than the hose of a rig. In millimetres, write 10 mm.")
    return found.quantize(Decimal("0.0001"))


def length_ft(text: str) -> Decimal:
    """Return a length as people write it: "210", "210 ft", "64 m". [ft]

    Without a unit it is in feet. Raises NotALength, past LONGEST_FT too.
    """
    found = _inches(text, per_unit=Decimal(12), example="210 ft or 64 m") / units.INCHES_PER_FOOT
    if found > LONGEST_FT:
        raise NotALength("That is longer than the hose of a rig. Write it in feet, or 64 m.")
    return found.quantize(Decimal("0.001"))


def volume_text(gallons: Decimal) -> str:
    """ "1.20 gal (4.56 L)"; small volumes to a thousandth."""
    places = 2 if gallons >= 1 else 3
    return f"{gallons:.{places}f} gal ({units.litres(gallons):.2f} L)"


def side_gal(hoses: Iterable[Hose], side: str) -> Decimal:
    """Return what the known lines of a side hold together. [US gal]"""
    return sum(
        (hose.holds_gal or Decimal(0) for hose in hoses if hose.side in ("", side)), Decimal(0)
    )


def sentence(hoses: Sequence[Hose]) -> str:
    """What the hoses of a rig hold, side by side and hose by hose; empty without a hose."""
    if not hoses:
        return ""
    unknown = [hose.name for hose in hoses if hose.holds_gal is None]
    known = [hose for hose in hoses if hose.holds_gal is not None]
    a, b = (side_gal(hoses, side) for side in SIDES)
    template = _NOT_KNOWN
    if known and unknown:
        template = _ALIKE_IN_PART if a == b else _APART_IN_PART
    elif known:
        template = _ALIKE if a == b else _APART
    return template.format(
        gallons=volume_text(a),
        more_gallons=volume_text(b),
        lines="; ".join(
            f"{hose.name}{f' {hose.side}' if hose.side else ''} {volume_text(hose.holds_gal)}"
            for hose in known
            if hose.holds_gal is not None
        ),
        hoses=", ".join(unknown),
    )


def filled(hint: str, hoses: Sequence[Hose]) -> str:
    """A hint with what the hoses hold where it asks for that."""
    if PLACEHOLDER not in hint:
        return hint
    return " ".join(hint.replace(PLACEHOLDER, sentence(hoses)).split())


def _inches(text: str, *, per_unit: Decimal, example: str) -> Decimal:
    """A length above zero. [in] per_unit: inches in one of the unit that none stands for."""
    found = _LENGTH.fullmatch(text.strip())
    wrong = NotALength(f"Write a length like {example}.")
    if found is None or found["under"] == "0":
        raise wrong
    if found["number"] is None:
        number = Decimal(found["whole"] or 0) + Decimal(found["over"]) / Decimal(found["under"])
        unit = found["unit"]
    else:
        number, unit = Decimal(found["number"]), found["its_unit"]
    unit = unit.strip().casefold()
    if not number:
        raise NotALength("Give a length above zero.")
    if unit in _MILLIMETRES:
        return units.inches(number * _MILLIMETRES[unit])
    if unit in _INCHES:
        return number * _INCHES[unit]
    if unit:
        raise wrong
    return number * per_unit
