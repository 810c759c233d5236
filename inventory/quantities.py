"""Quantities as integer steps and money as integer cents.

A part has a smallest step (1 piece, 0.01 gal). Stock is counted in steps and money in cents, so
that a ledger adds up exactly on every database. People type and read units: the translation is
here, and so are the words for what cannot be taken.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Final

MOST_UNITS: Final = 1_000_000
MOST_MONEY: Final = 10_000_000
CENTS: Final = 100

# Digits, with thousands apart or not, and a decimal point. A comma as decimal mark is a question.
_NUMBER: Final = re.compile(
    r"-?([0-9]{1,20}|[1-9][0-9]{0,2}(,[0-9]{3}){1,6})(\.[0-9]{0,20})?|-?\.[0-9]{1,20}"
)


# "2 pails 1.5 gal": numbers, each with a word or none. What stands between two is white, so that
# there is one way to take a text apart.
_AMOUNT: Final = r"(-?[0-9][0-9,]*(?:\.[0-9]*)?|-?\.[0-9]+)(?:\s*([^\W\d_][\w-]*))?"
_AMOUNTS: Final = re.compile(_AMOUNT)
_IN_PACKS: Final = re.compile(rf"{_AMOUNT}(?:\s+{_AMOUNT})*")


def gettext_noop(text: str) -> str:
    """Mark a text for the catalogue and leave it as it is: it is translated where it is shown."""
    return text


NOT_A_NUMBER: Final = gettext_noop("“{typed}” is not a number. Write it like 1250 or 0.75.")
BELOW_ZERO: Final = gettext_noop("This cannot be below zero.")
COME_WHOLE: Final = gettext_noop("Pieces come whole: {units} is not possible.")
MOST_PLACES: Final = gettext_noop("Give at most {places} decimals.")
IN_STEPS: Final = gettext_noop("This comes in steps of {step}: {units} is not possible.")
TOO_MUCH: Final = gettext_noop("That is more than {most}. Check the number.")
NOT_KNOWN: Final = gettext_noop("“{typed}” is not known here. Write {known} or a number alone.")
#: What a refused quantity may say, with figures in it.
COMPOSED: Final = (NOT_A_NUMBER, COME_WHOLE, MOST_PLACES, IN_STEPS, TOO_MUCH, NOT_KNOWN)


class QuantityRefused(ValueError):
    """A quantity or amount that cannot be taken: one sentence for the person, and the figures in
    its braces. `str` says it in English; `said` in the language of whoever is shown it.
    """

    def __init__(self, sentence: str, **figures: object) -> None:
        self.sentence = sentence
        self.figures = figures
        super().__init__(sentence, figures)

    def __str__(self) -> str:
        return self.said(gettext_noop)

    def said(self, translate: Callable[[str], str]) -> str:
        """The sentence as `translate` says it, with its figures."""
        return translate(self.sentence).format(**self.figures)


class NotANumber(QuantityRefused):
    """Not written as a number."""

    def __init__(self, text: str) -> None:
        self.text = text
        if not text:
            super().__init__(gettext_noop("Give a number."))
        else:
            super().__init__(NOT_A_NUMBER, typed=text[:40])


class NotAWholeStep(QuantityRefused):
    """Finer than the smallest step."""

    def __init__(self, *, units: Decimal, steps_per_unit: int) -> None:
        self.units = units
        self.steps_per_unit = steps_per_unit
        if steps_per_unit == 1:
            super().__init__(COME_WHOLE, units=f"{units:f}")
        elif set(str(steps_per_unit)[1:]) == {"0"} and str(steps_per_unit)[0] == "1":
            places = _places(steps_per_unit)
            text = gettext_noop("Give at most 1 decimal.") if places == 1 else MOST_PLACES
            super().__init__(text, places=places)
        else:
            super().__init__(
                IN_STEPS,
                step=f"{to_units(1, steps_per_unit):f}",
                units=f"{units:f}",
            )


class Negative(QuantityRefused):
    """Below zero."""

    def __init__(self) -> None:
        super().__init__(BELOW_ZERO)


class Absurd(QuantityRefused):
    """So much that it is surely a slip of the keys."""

    def __init__(self, *, most: int) -> None:
        self.most = most
        super().__init__(TOO_MUCH, most=f"{most:,}")


def to_steps(units: str | Decimal | int, *, steps_per_unit: int) -> int:
    """Return a quantity in steps, >= 0.

    units: as typed ("2", "0.75", "1,250") or as a number, 0 to MOST_UNITS. [part's unit]
    steps_per_unit: >= 1, with no prime factors but 2 and 5, so that a step is a finite decimal.
    Raises NotANumber, Negative, Absurd, NotAWholeStep; ValueError for such a steps_per_unit.
    """
    return _exact_steps(units, steps_per_unit, most=MOST_UNITS)


class UnknownPack(QuantityRefused):
    """A word that is neither the unit nor one of the part's packs."""

    def __init__(self, word: str, *, known: Sequence[str]) -> None:
        self.word = word
        super().__init__(
            NOT_KNOWN,
            typed=word[:40],
            known=", ".join(known),
        )


def read_quantity(
    text: str, *, steps_per_unit: int, unit_name: str = "", packs: Mapping[str, int] | None = None
) -> int:
    """Return a quantity as a person types it, in packs and units, in steps, >= 0.

    text: "3", "2 pails", "2 pails 1.5 gal"; a number without a word is of the unit. A pack may be
    written in the plural and in any case, and may be given in halves where that is whole steps.
    packs: by name, the steps that one holds, > 0. Others as for `to_steps`.
    Raises UnknownPack, and what `to_steps` raises.
    """
    packs = packs or {}
    known = [*packs, *([unit_name] if unit_name else [])]
    if not known or not _IN_PACKS.fullmatch(text.strip()):
        return to_steps(text, steps_per_unit=steps_per_unit)
    amounts = _AMOUNTS.findall(text)
    # "1 234" is no 1 and 234 more.
    if not all(word for _, word in amounts[:-1]):
        raise NotANumber(text.strip())
    total = Fraction(0)
    for number, word in amounts:
        units = _read(number)
        if units < 0:
            raise Negative
        if not word or _is_word(word, unit_name):
            steps = Fraction(to_steps(number, steps_per_unit=steps_per_unit))
        elif named := [holds for name, holds in packs.items() if _is_word(word, name)]:
            steps = Fraction(units) * named[0]
        else:
            raise UnknownPack(word, known=known)
        if steps.denominator != 1:
            raise NotAWholeStep(
                units=Decimal(steps.numerator) / (steps.denominator * steps_per_unit),
                steps_per_unit=steps_per_unit,
            )
        total += steps
    if total > MOST_UNITS * steps_per_unit:
        raise Absurd(most=MOST_UNITS)
    return int(total)


def in_packs(steps: int, *, steps_per_unit: int, unit_name: str, packs: Mapping[str, int]) -> str:
    """Return a quantity as packs and the rest: "2 pails 1.50 gal"; empty where no pack is full.

    The largest packs first. `read_quantity` reads it back. steps: >= 0. Others as there.
    """
    said = []
    rest = steps
    for name, holds in sorted(packs.items(), key=lambda pack: (-pack[1], pack[0])):
        number, rest = divmod(rest, holds)
        if number:
            said.append(f"{number} {name if number == 1 else _many(name)}")
    if not said:
        return ""
    if rest:
        said.append(f"{to_units(rest, steps_per_unit):f} {unit_name}".strip())
    return " ".join(said)


def to_units(steps: int, steps_per_unit: int) -> Decimal:
    """Return a quantity in the part's unit, with as many decimals as a step needs.

    steps: any. steps_per_unit: as for `to_steps`. Raises ValueError outside that.
    """
    places = _places(steps_per_unit)
    return Decimal(steps * 10**places // steps_per_unit).scaleb(-places)


def format_quantity(steps: int, steps_per_unit: int, unit_name: str) -> str:
    """Return a quantity for people: "1,250 pcs", "2.50 gal".

    unit_name: as the part gives it; it is not inflected. Others as for `to_units`.
    """
    return f"{to_units(steps, steps_per_unit):,f} {unit_name}".strip()


def to_cents(money: str | Decimal | int) -> int:
    """Return an amount of money in cents, >= 0.

    money: as typed ("12.50", "1,250") or as a number, 0 to MOST_MONEY. [currency unit]
    Raises NotANumber, Negative, Absurd, NotAWholeStep.
    """
    return _exact_steps(money, CENTS, most=MOST_MONEY)


def to_money(cents: int) -> Decimal:
    """Return cents as an amount with two decimals. [currency unit] cents: any."""
    return to_units(cents, CENTS)


def format_money(cents: int, symbol: str) -> str:
    """Return an amount for people: "$1,250.00", "-$3.20". cents: any. [cents]"""
    sign = "-" if cents < 0 else ""
    return f"{sign}{symbol}{to_money(abs(cents)):,f}"


def _exact_steps(given: str | Decimal | int, steps_per_unit: int, *, most: int) -> int:
    _places(steps_per_unit)
    units = _read(given)
    if units < 0:
        raise Negative
    if units > most:
        raise Absurd(most=most)
    # A fraction, because decimals would round 1.00…01 to a whole step without a word.
    steps = Fraction(units) * steps_per_unit
    if steps.denominator != 1:
        raise NotAWholeStep(units=units, steps_per_unit=steps_per_unit)
    return steps.numerator


def _read(given: str | Decimal | int) -> Decimal:
    if isinstance(given, str):
        text = given.strip()
        if not _NUMBER.fullmatch(text):
            raise NotANumber(text)
        return Decimal(text.replace(",", ""))
    if isinstance(given, float):
        raise TypeError("Quantities and money are never floats.")
    number = Decimal(given)
    if not number.is_finite():
        raise NotANumber(str(given))
    return number


def _is_word(word: str, name: str) -> bool:
    """Whether a word is a name, or its plural."""
    given, one = word.casefold(), name.casefold()
    return bool(one) and given in (one, f"{one}s", f"{one}es")


def _many(name: str) -> str:
    return f"{name}es" if name.endswith(("s", "x", "ch", "sh")) else f"{name}s"


def _places(steps_per_unit: int) -> int:
    """Decimals that one step needs."""
    if steps_per_unit >= 1:
        for places in range(10):
            if 10**places % steps_per_unit == 0:
                return places
    raise ValueError(f"A unit cannot be divided into {steps_per_unit} steps.")
