"""The cleanliness code of hydraulic oil by ISO 4406: three scale numbers, such as 18/16/13.

Each number stands for how many particles a millilitre holds: at least 4, at least 6, at least
14 µm(c) large. A smaller number is cleaner oil, and one number more is about twice the particles.
Pure: counts and texts in, numbers and texts out.

Source: ISO 4406:2017 and 2021, Table 1, as public copies give it; not read in the standard itself.
"""

import re
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from equipment.saying import Told, gettext_noop

#: Up to and including so many particles is scale number 0, 1, 2 … 28. [1/mL] The table rounds:
#: its limits are not powers of two, so no formula gives them.
UPPER_LIMITS_PER_ML: Final = tuple(
    Decimal(limit)
    for limit in (
        "0.01", "0.02", "0.04", "0.08", "0.16", "0.32", "0.64", "1.3", "2.5",
        5, 10, 20, 40, 80, 160, 320, 640, 1_300, 2_500,
        5_000, 10_000, 20_000, 40_000, 80_000, 160_000, 320_000, 640_000, 1_300_000, 2_500_000,
    )
)  # fmt: skip
#: What more than 2,500,000 particles are kept as; the standard writes ">28".
OVER_THE_TABLE: Final = len(UPPER_LIMITS_PER_ML)
#: The particles that each number counts. [µm(c)]
SIZES_UM: Final = (4, 6, 14)

_CODE: Final = re.compile(r"(>28|[0-9]{1,2})/(>28|[0-9]{1,2})/(>28|[0-9]{1,2})")
_COUNT: Final = r"[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?|[0-9]{1,12}(?:\.[0-9]+)?"
_COUNTS: Final = re.compile(
    rf"({_COUNT})[\s,;]+({_COUNT})[\s,;]+({_COUNT})(?:\s*(?:per|/)\s*(100)?\s*ml)?",
    re.IGNORECASE,
)
#: Of two digits each, codes stand in one whole number as they are read: 181613.
_DIGITS: Final = 100


class NotACode(Told):
    """A text is no cleanliness code, and why, in words for the person who typed it."""


@dataclass(frozen=True, slots=True)
class OilCode:
    """The three scale numbers of an oil, 0 to 28 each, or OVER_THE_TABLE.

    at_4, at_6, at_14: for the particles of at least 4, 6 and 14 µm(c). The larger are among the
    smaller, so no number is above the one before it.
    Raises NotACode for others.
    """

    at_4: int
    at_6: int
    at_14: int

    def __post_init__(self) -> None:
        if not all(0 <= each <= OVER_THE_TABLE for each in self.numbers):
            raise NotACode(gettext_noop("A scale number lies between 0 and 28."))
        if not self.at_4 >= self.at_6 >= self.at_14:
            raise NotACode(
                gettext_noop(
                    "The numbers of a code fall or stay level from the first to the last: the first"
                    " counts all particles, the last only the large ones."
                )
            )

    def __str__(self) -> str:
        return "/".join(scale_text(each) for each in self.numbers)

    @property
    def numbers(self) -> tuple[int, int, int]:
        return self.at_4, self.at_6, self.at_14

    @property
    def packed(self) -> int:
        """The code as one whole number, 181613 for 18/16/13, to keep where numbers are kept.

        It says nothing about which oil is cleaner: that is asked number by number.
        """
        return (self.at_4 * _DIGITS + self.at_6) * _DIGITS + self.at_14

    def past(self, limit: "OilCode") -> tuple[int, ...]:
        """The sizes whose number is above that of a limit, in µm(c): dirtier than it allows."""
        pairs = zip(SIZES_UM, self.numbers, limit.numbers, strict=True)
        return tuple(size for size, mine, most in pairs if mine > most)


def scale_number(count_per_ml: Decimal) -> int:
    """Return the scale number of a count, 0 to 28, or OVER_THE_TABLE above 2,500,000.

    count_per_ml: particles in a millilitre, >= 0. [1/mL] A count on a limit has the lower number.
    Raises ValueError below zero.
    Source: ISO 4406:2017 and 2021, Table 1 ("more than", "up to and including").
    """
    if not count_per_ml >= 0:
        raise ValueError("A count of particles cannot be below zero.")
    return bisect_left(UPPER_LIMITS_PER_ML, count_per_ml)


def scale_text(number: int) -> str:
    """ "18", and ">28" past the table."""
    return str(number) if number < OVER_THE_TABLE else f">{OVER_THE_TABLE - 1}"


def code_of_counts(counts_per_ml: Sequence[Decimal]) -> OilCode:
    """Return the code of three counts: of at least 4, 6 and 14 µm(c), each >= 0. [1/mL]

    Raises ValueError below zero, NotACode for other than three and where a larger size has more.
    Source: as `scale_number`.
    """
    if len(counts_per_ml) != len(SIZES_UM):
        raise NotACode(gettext_noop("A code needs three counts: at 4, 6 and 14 µm."))
    smallest, middle, largest = counts_per_ml
    if not smallest >= middle >= largest:
        raise NotACode(
            gettext_noop(
                "The counts fall from the first to the last: the first counts all particles, the"
                " last only the large ones."
            )
        )
    return OilCode(scale_number(smallest), scale_number(middle), scale_number(largest))


def unpacked(packed: Decimal | int) -> OilCode:
    """Return the code that `OilCode.packed` made into a number. Raises NotACode for another."""
    if packed != int(packed) or packed < 0:
        raise NotACode(gettext_noop("{packed} is no packed code."), packed=packed)
    rest, at_14 = divmod(int(packed), _DIGITS)
    return OilCode(*divmod(rest, _DIGITS), at_14)


def code_of_text(text: str) -> OilCode:
    """Return the code that a person typed: "18/16/13", or three counts "3500 500 60".

    Counts are of a millilitre, or say "per 100 mL" behind them, as some laboratories do. Three
    whole numbers up to 28 without strokes could be either, and are refused unless "per mL" says so.
    Raises NotACode, in words for that person.
    """
    tight = re.sub(r"\s*/\s*", "/", text.strip())
    if found := _CODE.fullmatch(tight):
        return OilCode(*(_number_of(each) for each in found.groups()))
    counted = _COUNTS.fullmatch(text.strip())
    if counted is None:
        raise NotACode(
            gettext_noop(
                "Write the code like 18/16/13, or the three counts per mL like 3500 500 60."
            )
        )
    counts = [Decimal(each.replace(",", "")) for each in counted.groups()[:3]]
    says_volume = "ml" in text.casefold()
    if not says_volume and all(each < OVER_THE_TABLE and each == int(each) for each in counts):
        raise NotACode(
            gettext_noop(
                "Is this a code or are these counts? Write a code with strokes, 18/16/13, and"
                " counts with their volume, 18 16 13 per mL."
            )
        )
    return code_of_counts([each / 100 for each in counts] if counted.group(4) else counts)


def _number_of(text: str) -> int:
    """A scale number as it is written; 29 is none, and past the table stands ">28"."""
    if text == scale_text(OVER_THE_TABLE):
        return OVER_THE_TABLE
    number = int(text)
    return number if number < OVER_THE_TABLE else OVER_THE_TABLE + 1
