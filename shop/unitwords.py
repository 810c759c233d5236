"""How a measured value and its limits are said, in the units of whoever reads and in the language
that is spoken."""

from decimal import Decimal
from typing import Final

from django.utils.translation import gettext, gettext_noop

from equipment import own_texts, values
from equipment.own_units import OwnUnit
from shop.spoken import own

#: Units that are words, or short for words: they have a name in each language.
WORDS: Final = (
    gettext_noop("in"),
    gettext_noop("ft"),
    gettext_noop("fl oz"),
    gettext_noop("ft·lb"),
    gettext_noop("32nds in"),
    gettext_noop("°F dew point"),
    gettext_noop("°C dew point"),
    gettext_noop("°F difference"),
    gettext_noop("°C difference"),
    gettext_noop("mg/m³ oil"),
)


#: What a check measured before the work and after it.
FOUND_AND_LEFT: Final = gettext_noop("as found {found}, as left {left}")


def said(unit: OwnUnit, value: Decimal | None) -> str:
    """A kept value: "57 psi", "3.93 bar", "18/16/13 ISO 4406"; empty without one."""
    return "" if value is None else _said(unit, unit.shown(value), value)


def found_and_left(unit: OwnUnit, found: Decimal | None, left: Decimal | None) -> str:
    """Two kept values: "as found 282 V, as left 240 V"; "282 V" where it was not read again."""
    if left is None:
        return said(unit, found)
    return gettext(FOUND_AND_LEFT).format(found=said(unit, found), left=said(unit, left))


def limits(unit: OwnUnit) -> str:
    """ "228 – 252 V", "at most 1.03 bar", "within 2.77 °C difference"; empty without a limit."""
    if unit.low is not None and unit.high is not None:
        high = _said(unit, unit.high, unit.kept_high)
        if unit.low == -unit.high and unit.high:
            return gettext("within {limit}").format(limit=high)
        return f"{values.figure(unit.low, unit.unit)} – {high}"
    if unit.high is not None:
        return gettext("at most {limit}").format(limit=_said(unit, unit.high, unit.kept_high))
    if unit.low is not None:
        return gettext("at least {limit}").format(limit=_said(unit, unit.low, unit.kept_low))
    return ""


def hint(text: str, system: str) -> str:
    """A hint as it is kept, in the language that is spoken and the units of a system."""
    return own_texts.own_text(own(text), system, say=_name)


def _name(unit: str) -> str:
    return gettext(unit) if unit in WORDS else unit


#: How far the value of side A is from that of side B.
A_ABOVE: Final = gettext_noop("A is {difference} above B")
A_BELOW: Final = gettext_noop("A is {difference} below B")
A_AND_B: Final = gettext_noop("A and B read the same")


def apart(unit: OwnUnit, above: Decimal) -> str:
    """ "A is 12 °F above B", "A is 0.5 bar below B", "A and B read the same". above: as shown."""
    if not above:
        return gettext(A_AND_B)
    figure = f"{values.figure(abs(above), unit.apart)} {own(unit.apart)}".strip()
    return gettext(A_ABOVE if above > 0 else A_BELOW).format(difference=figure)


def _said(unit: OwnUnit, shown: Decimal, kept: Decimal | None) -> str:
    text = f"{values.figure(shown, unit.unit)} {own(unit.unit)}".strip()
    words, of_class = ("", "") if kept is None else values.meant(kept, unit.kept)
    return f"{text} ({gettext(words).format(number=of_class)})" if words else text
