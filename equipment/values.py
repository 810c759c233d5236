"""How a measured value is typed, said and compared with its limits, by its unit.

Most are plain numbers. Two kinds of unit ask for more:

- ISO 4406: three scale numbers, 18/16/13, or counts of particles that become such a code. It is
  kept as one whole number (`OilCode.packed`) and compared with its limit number by number.
- Dew points and oil in air: plain numbers that are said with their class by ISO 8573-1.

Pure: texts and numbers in, texts and numbers out.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from equipment import air_purity, oil_cleanliness, units
from equipment.counters import plain
from equipment.oil_cleanliness import NotACode, OilCode
from equipment.saying import Told, gettext_noop

ISO_4406: Final = "ISO 4406"
DEW_POINT_F: Final = "°F dew point"
DEW_POINT_C: Final = "°C dew point"
DIFFERENCE_F: Final = "°F difference"
DIFFERENCE_C: Final = "°C difference"
OIL_IN_AIR: Final = "mg/m³ oil"
#: Units that are more than a word behind a number, and what each brings, as pages tell it.
SPECIAL: Final = {
    ISO_4406: "a code like 18/16/13, or counts that become one; its limit is a code, too",
    DEW_POINT_F: "said with its water class by ISO 8573-1",
    DEW_POINT_C: "said with its water class by ISO 8573-1",
    DIFFERENCE_F: "one temperature less another: read in °C, it is 5/9 of it, without the 32",
    DIFFERENCE_C: "one temperature less another: read in °F, it is 1.8 of it, without the 32",
    OIL_IN_AIR: "said with its oil class by ISO 8573-1",
}
#: As many whole digits as the columns of values hold.
TOO_LARGE: Final = 10**8
PLACES: Final = 4
#: 1182, 1182.5, -20, 1,182 and 1 182. A comma stands between thousands only: 60,5 and 0,047 are
#: asked about. The scripts of the pages have the same (phone/figures.js).
_NUMBER: Final = re.compile(
    r"[+-]?(?:[0-9]{1,24}|[1-9][0-9]{0,2}([, \u00a0\u202f])[0-9]{3}(?:\1[0-9]{3}){0,6})"
    r"(?:\.[0-9]{0,24})?"
    r"|[+-]?\.[0-9]{1,24}"
)


class NotAValue(Told):
    """What was typed is no value of its unit, and why, in words for the person who typed it."""


def is_code(unit: str) -> bool:
    """Whether values of a unit are cleanliness codes."""
    return unit.strip().casefold() == ISO_4406.casefold()


def number_of(text: str) -> Decimal | None:
    """A number as people type it: "1,234.5", "−20"; None for anything else, "1,5" and "" too."""
    written = text.strip().replace("−", "-")
    return Decimal(re.sub(r"[,\s]", "", written)) if _NUMBER.fullmatch(written) else None


def typed(text: str, unit: str) -> Decimal | None:
    """Return a value as it was typed, to keep; None where nothing was.

    "1,234.5", "−20"; in ISO 4406 "18/16/13" or "3500 500 60". Raises NotAValue.
    """
    text = text.strip()
    if not text:
        return None
    if is_code(unit):
        try:
            return Decimal(oil_cleanliness.code_of_text(text).packed)
        except NotACode as refused:
            raise NotAValue(refused.sentence, **refused.figures) from refused
    number = number_of(text)
    if number is None:
        raise NotAValue(gettext_noop("Write a number, like 1182 or 60.5."))
    if abs(number) >= TOO_LARGE:
        raise NotAValue(gettext_noop("That number is too large."))
    if round(number, PLACES) != number:
        raise NotAValue(gettext_noop("At most {places} decimals."), places=PLACES)
    return number


def figure(value: Decimal, unit: str) -> str:
    """A value without its unit: "1,182.5", "−40", "18/16/13"."""
    if code := _code(value, unit):
        return str(code)
    return plain(value).replace("-", "−")


def retyped(value: Decimal, unit: str) -> str:
    """A kept value as it stands in its box again, to be typed over: "1182.5", "18/16/13"."""
    return figure(value, unit) if is_code(unit) else f"{value.normalize():f}"


def said(value: Decimal, unit: str) -> str:
    """A value as people say it: "57 psi", "18/16/13 ISO 4406", "3 °C dew point (water class 4)"."""
    text = f"{figure(value, unit)} {unit}".strip()
    meant = meaning(value, unit)
    return f"{text} ({meant})" if meant else text


def meaning(value: Decimal, unit: str) -> str:
    """What a value stands for, in words: "water class 4", "past water class 6"; mostly nothing."""
    words, number = meant(value, unit)
    return words.format(number=number)


def meant(value: Decimal, unit: str) -> tuple[str, str]:
    """The words for what a value stands for, with a place for the number of a class, and the
    number; both are empty for most units."""
    if unit in (DEW_POINT_C, DEW_POINT_F):
        at_c = value if unit == DEW_POINT_C else units.celsius(value)
        if at_c < air_purity.COLDEST_C:
            return "", ""
        if water := air_purity.water_class(at_c):
            return gettext_noop("water class {number}"), str(water)
        return gettext_noop("past water class 6"), ""
    if unit == OIL_IN_AIR and value >= 0:
        return gettext_noop("oil class {number}"), str(air_purity.oil_class(value))
    return "", ""


def is_outside(value: Decimal, *, low: Decimal | None, high: Decimal | None, unit: str) -> bool:
    """Whether a value lies past a limit; on it, it does not.

    A code is past its upper limit where one of its numbers is, and has no lower one.
    """
    code, most = _code(value, unit), None if high is None else _code(high, unit)
    if code is not None:
        return most is not None and bool(code.past(most))
    return (low is not None and value < low) or (high is not None and value > high)


def limits(low: Decimal | None, high: Decimal | None, unit: str) -> str:
    """ "900 to 1,100 psi", "at least 30 min", "at most 20/18/15 ISO 4406"; the unit alone without
    limits."""
    if low is not None and high is not None:
        return f"{figure(low, unit)} to {figure(high, unit)} {unit}".strip()
    if low is not None:
        return f"at least {said(low, unit)}"
    if high is not None:
        return f"at most {said(high, unit)}"
    return unit


@dataclass(frozen=True, slots=True)
class Series:
    """Values as a trend reckons with them, and their limits; at least one limit.

    size_um: of a cleanliness code, whose number it is: 4, 6 or 14 µm(c); else 0.
    """

    numbers: tuple[float, ...]
    low: float | None
    high: float | None
    size_um: int = 0


def series(
    values: Sequence[Decimal], low: Decimal | None, high: Decimal | None, unit: str
) -> list[Series]:
    """Return what trends are sought in: the values as they are, of codes each of the numbers.

    The number that a code is kept as has no trend that means anything.
    """
    codes = [_code(value, unit) for value in values]
    most = None if high is None else _code(high, unit)
    if most is None or None in codes:
        return [
            Series(
                tuple(float(value) for value in values),
                None if low is None else float(low),
                None if high is None else float(high),
            )
        ]
    columns = zip(*(code.numbers for code in codes if code is not None), strict=True)
    return [
        Series(tuple(float(number) for number in column), None, float(limit), size)
        for column, limit, size in zip(columns, most.numbers, oil_cleanliness.SIZES_UM, strict=True)
    ]


def unsound_code_limits(low: Decimal | None, high: Decimal | None, unit: str) -> str:
    """Why limits cannot be those of a code, in words; empty where they can, and in other units."""
    if not is_code(unit):
        return ""
    if low is not None:
        return "Oil is never too clean: a code has an upper limit only."
    if high is not None and _code(high, unit) is None:
        return "The limit of a code is a code, like 20/18/15."
    return ""


def _code(value: Decimal, unit: str) -> OilCode | None:
    """A kept value as a code; None in other units, and where it was kept before the unit was."""
    if not is_code(unit):
        return None
    try:
        return oil_cleanliness.unpacked(value)
    except NotACode:
        return None
