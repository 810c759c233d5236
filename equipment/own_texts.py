"""Figures with a unit inside a text, such as a hint, in the units that a person reads.

A text says "over 10 psi"; who reads metric units is told "over 0.7 bar (10 psi)". The figure as it
was written always stands beside: it is the one that counts.

Plain degrees stay as they are. A text rarely says whether they are a temperature or a difference of
two ("within 10 °F"), and to take the one for the other would be wrong by 32.

Pure: text in, text out.
"""

import re
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import Final

from equipment import values
from equipment.own_units import METRIC, PAIRS

#: A figure is rounded by no more than this, or than half of the last digit written. [1]
_COARSEST: Final = Fraction(1, 50)
_FIGURE: Final = r"(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?"
#: Between the two figures of a range, in English and in Spanish.
_RANGE: Final = r" ?[–-] ?| (?:to|and|or|a|y|o) "
#: In a text "in" is mostly a word: "2 in the tank". So it is a unit only where a clause ends.
_INCHES: Final = r"(?=[.,;:)]|$)"


def own_text(text: str, system: str, *, say: Callable[[str], str] = str) -> str:
    """Return a text with its figures in the units of a system, each with what was written.

    system: `own_units.US` or METRIC. say: a unit in the language of the text ("ft" → "pies").
    A figure that has another beside it in brackets, or stands in brackets itself, is told in both
    already.
    """
    if not any(map(str.isdigit, text)):
        return text
    names = {name: unit for unit in _factors(system) for name in _names(unit, say)}

    def turned(found: re.Match[str]) -> str:
        unit, factor = _factors(system)[names[found["unit"]]]
        first, second = (_turned(each, factor, unit) for each in (found["first"], found["second"]))
        return f"{first}{found['range'] or ''}{second} {say(unit)} ({found[0]})"

    return _pattern(tuple(names)).sub(turned, text)


@cache
def _factors(system: str) -> dict[str, tuple[str, Fraction]]:
    """The units of the other system: what each is in this one, and how many of it."""
    pairs = [pair for pair in PAIRS if not pair.zero]
    if system == METRIC:
        return {pair.us: (pair.metric, pair.factor) for pair in pairs}
    return {pair.metric: (pair.us, 1 / pair.factor) for pair in pairs}


def _names(unit: str, say: Callable[[str], str]) -> set[str]:
    """How a unit is written: as we do, in capitals, in the language of the text."""
    return {unit, say(unit)} | ({unit.upper()} if len(unit) > 1 and unit != "in" else set())


@cache
def _pattern(names: tuple[str, ...]) -> re.Pattern[str]:
    units = "|".join(
        re.escape(name) + (_INCHES if name == "in" else "")
        for name in sorted(names, key=len, reverse=True)
    )
    return re.compile(
        rf"(?<![\w.,/(])(?P<first>{_FIGURE})(?:(?P<range>{_RANGE})(?P<second>{_FIGURE}))?"
        rf" ?(?P<unit>{units})(?![\w·/°²³])(?!\s*[(/=]\s*[\d−-])"
    )


def _turned(figure: str | None, factor: Fraction, unit: str) -> str:
    if figure is None:
        return ""
    kept = Fraction(figure.replace(",", ""))
    return values.figure(_rounded(kept * factor, _tolerance(figure)), unit)


def _tolerance(figure: str) -> Fraction:
    """How far a figure may be rounded, as a part of it. [1]"""
    digits = Decimal(figure.replace(",", ""))
    if not digits:
        return _COARSEST
    last = digits.normalize() if digits == digits.to_integral_value() else digits
    exponent = last.as_tuple().exponent
    assert isinstance(exponent, int)
    return min(_COARSEST, Fraction(10) ** exponent / 2 / Fraction(digits))


def _rounded(exact: Fraction, tolerance: Fraction) -> Decimal:
    """Return the shortest decimal within a tolerance of a figure."""
    places = -len(str(int(exact)))
    while True:
        near = round(exact * Fraction(10) ** places)
        rounded = Decimal(near).scaleb(-places)
        if abs(Fraction(rounded) - exact) <= tolerance * exact:
            return rounded
        places += 1
