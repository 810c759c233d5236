"""Measured values in the units that a person reads and types: US or metric.

A value, its limits and its history are kept in the unit of the check. Turning it into another unit
happens at the edge, where it is shown or typed, so that a phone may change hands and nothing kept
changes. A unit that is not in the table below is the same for everybody: V, Hz, %, ppm, ISO 4406.

Pure: texts and numbers in, texts and numbers out.
"""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from math import ceil, floor, log10
from typing import Final

from equipment import units, values
from equipment.saying import gettext_noop
from equipment.values import NotAValue

US: Final = "us"
METRIC: Final = "metric"
SYSTEMS: Final = (US, METRIC)

# 1 lbf = 4.448 221 615 260 5 N exactly (NIST SP 811, 2008, Appendix B: 1 lb × 9.806 65 m/s²).
_NEWTONS_PER_LBF: Final = Fraction("4.4482216152605")
# 1 lb = 0.453 592 37 kg exactly (NIST Handbook 44, Appendix C).
_KG_PER_LB: Final = Fraction("0.45359237")
_METRES_PER_INCH: Final = Fraction(units.METRES_PER_INCH)
_METRES_PER_FOOT: Final = _METRES_PER_INCH * units.INCHES_PER_FOOT
_LITRES_PER_GALLON: Final = (
    units.CUBIC_INCHES_PER_US_GALLON * _METRES_PER_INCH**3 * units.LITRES_PER_CUBIC_METRE
)
# 1 US gal = 128 US fl oz exactly (NIST Handbook 44, Appendix C).
_ML_PER_FL_OZ: Final = _LITRES_PER_GALLON * 1000 / 128
# 1 psi = 1 lbf/in² = 6894.757 293 168 361… Pa (NIST SP 811, 2008, Appendix B.8).
_PASCALS_PER_PSI: Final = _NEWTONS_PER_LBF / _METRES_PER_INCH**2
_PASCALS_PER_BAR: Final = 100_000
# A degree Celsius is 1.8 degrees Fahrenheit, and 0 °C is 32 °F: the definition of the scales.
_C_PER_F: Final = Fraction(5, 9)
_F_AT_0_C: Final = 32


@dataclass(frozen=True, slots=True)
class _Pair:
    """A US unit and its metric one: metric = (us − zero) × factor.

    us_places, metric_places: as many decimals as are shown and may be typed in each. So few that
    a value, kept to `values.PLACES` decimals in the one, comes back as it was typed in the other.
    """

    us: str
    metric: str
    factor: Fraction
    zero: int = 0
    us_places: int = 2
    metric_places: int = 2


#: "oz" is not in it: it is a mass or a volume, and nothing kept says which. A library of ours says
#: "fl oz", since a ratio is caught by volume.
PAIRS: Final = (
    _Pair("psi", "bar", _PASCALS_PER_PSI / _PASCALS_PER_BAR),
    _Pair("°F", "°C", _C_PER_F, _F_AT_0_C),
    _Pair(values.DEW_POINT_F, values.DEW_POINT_C, _C_PER_F, _F_AT_0_C),
    # A rise, a drop or a tolerance: no 32 in it.
    _Pair(values.DIFFERENCE_F, values.DIFFERENCE_C, _C_PER_F),
    _Pair("gal", "L", _LITRES_PER_GALLON),
    _Pair("gal/min", "L/min", _LITRES_PER_GALLON),
    _Pair("fl oz", "mL", _ML_PER_FL_OZ),
    _Pair("in", "mm", _METRES_PER_INCH * 1000, us_places=4),
    _Pair("ft", "m", _METRES_PER_FOOT),
    _Pair("lb", "kg", _KG_PER_LB),
    _Pair("ft·lb", "N·m", _NEWTONS_PER_LBF * _METRES_PER_FOOT),
)
_BY_US: Final = {pair.us.casefold(): pair for pair in PAIRS}
_BY_METRIC: Final = {pair.metric.casefold(): pair for pair in PAIRS}

#: A name that says, or may say, that its value is the difference of two temperatures.
_DIFFERENCE: Final = (
    "minus",
    "difference",
    "over",
    "above",
    "below",
    "under",
    "against",
    "between",
    "rise",
    "drop",
    "gain",
    "loss",
    "delta",
)
#: A difference of what is told in these is told in degrees alone.
_DEGREES: Final = {
    values.DEW_POINT_F: "°F",
    values.DEW_POINT_C: "°C",
    values.DIFFERENCE_F: "°F",
    values.DIFFERENCE_C: "°C",
}
_ONE_KEPT: Final = Fraction(1, 10**values.PLACES)


@dataclass(frozen=True, slots=True)
class OwnUnit:
    """How the values of one check are shown to somebody and typed by them.

    kept: the unit in which they are kept. unit: the one shown. places: as many decimals as are
    shown and may be typed.
    kept_low, kept_high: the limits as they are kept [kept]. low, high: as they are shown [unit],
    rounded inwards: what is typed is past a limit just where it lies past the limit as shown, and
    just where what is kept of it lies past the limit as kept.
    is_difference: by the name of the check its values may be differences.
    """

    kept: str
    unit: str
    places: int
    kept_low: Decimal | None
    kept_high: Decimal | None
    low: Decimal | None
    high: Decimal | None
    is_difference: bool = False
    _factor: Fraction = Fraction(1)
    _plus: Fraction = Fraction(0)

    @property
    def is_turned(self) -> bool:
        """Whether the unit shown is another than the one kept."""
        return self.unit != self.kept

    @property
    def apart(self) -> str:
        """The unit of a difference of two values: of two dew points, too, it is a degree."""
        return _DEGREES.get(self.unit, self.unit)

    def typed(self, text: str) -> Decimal | None:
        """Return the value to keep of what was typed in the unit shown; None where nothing was.

        Where it lies past a limit, so does what is kept. Raises NotAValue.
        """
        number = values.typed(text, self.unit)
        if number is None or not self.is_turned:
            return number
        if round(number, self.places) != number:
            raise NotAValue(gettext_noop("At most {places} decimals."), places=self.places)
        exact = (Fraction(number) - self._plus) / self._factor
        kept = _decimal(round(exact / _ONE_KEPT), values.PLACES)
        # Rounding never lifts a value onto the limit that it lies past.
        if self.kept_high is not None and kept <= self.kept_high < exact:
            kept = self.kept_high + _decimal(1, values.PLACES)
        if self.kept_low is not None and exact < self.kept_low <= kept:
            kept = self.kept_low - _decimal(1, values.PLACES)
        if abs(kept) >= values.TOO_LARGE:
            raise NotAValue(gettext_noop("That number is too large."))
        return kept

    def shown(self, value: Decimal) -> Decimal:
        """Return a kept value in the unit shown, rounded; one past its limit stays past it, and
        one within stays within. [unit]"""
        if not self.is_turned:
            return value
        digit = _decimal(1, self.places)
        near = _decimal(round(self._exact(value) * 10**self.places), self.places)
        if self.high is not None and self.kept_high is not None:
            past = value > self.kept_high
            near = max(near, self.high + digit) if past else min(near, self.high)
        if self.low is not None and self.kept_low is not None:
            past = value < self.kept_low
            near = min(near, self.low - digit) if past else max(near, self.low)
        return near

    def figure(self, value: Decimal) -> str:
        """A kept value as it is shown, without its unit: "75.84", "18/16/13"."""
        return values.figure(self.shown(value), self.unit)

    def retyped(self, value: Decimal) -> str:
        """A kept value as it stands in its box, to be typed over: "1182.5", "18/16/13"."""
        return values.retyped(self.shown(value), self.unit)

    def meaning(self, value: Decimal) -> str:
        """What a kept value stands for, as `values.meaning`: by the value, not by its rounding."""
        return values.meaning(value, self.kept)

    def said(self, value: Decimal) -> str:
        """A kept value as people say it: "75.84 bar", "3 °C dew point (water class 4)"."""
        text = f"{self.figure(value)} {self.unit}".strip()
        meant = self.meaning(value)
        return f"{text} ({meant})" if meant else text

    def is_outside(self, value: Decimal) -> bool:
        """Whether a kept value lies past a limit; on it, it does not."""
        return values.is_outside(value, low=self.kept_low, high=self.kept_high, unit=self.kept)

    def increment(self) -> Decimal:
        """What the buttons beside the box add and take away: a power of ten. [unit]

        Between two limits at most a twentieth of the way from one to the other; with one limit a
        digit of it, and at most a tenth of it. Never finer than may be typed.
        """
        if self.low is not None and self.high is not None and self.low < self.high:
            power = ((self.high - self.low) / 20).adjusted()
        else:
            power = self._digit()
            shown = self.high if self.high is not None else self.low
            if shown:
                power = min(power, (shown / 10).adjusted())
        return Decimal(1).scaleb(max(power, -self.places))

    def least(self) -> Decimal | None:
        """Where the button that takes away stops; None where values lie below zero as well. [unit]

        A temperature, a difference and what a limit lets lie below zero have no such end.
        """
        if self.unit.startswith("°"):
            return None
        if self.low is not None:
            return Decimal(0) if self.low >= 0 else None
        is_below = self.is_difference or (self.high is not None and self.high < 0)
        return None if is_below else Decimal(0)

    def _digit(self) -> int:
        """The power of ten of the last digit of the limit, near it where the unit is turned."""
        limit = self.kept_high if self.kept_high is not None else self.kept_low
        exponent = 0 if limit is None else limit.normalize().as_tuple().exponent
        digit = min(int(exponent), 0)
        # Rather a finer one.
        return floor(log10(self._factor * Fraction(10) ** digit) + 0.3) if self.is_turned else digit

    def _exact(self, value: Decimal) -> Fraction:
        return Fraction(value) * self._factor + self._plus

    def _has_room(self) -> bool:
        """Whether anything that may be typed lies within the limits as shown."""
        return self.low is None or self.high is None or self.low <= self.high


@lru_cache(maxsize=4096)
def own_unit(
    unit: str,
    system: str,
    *,
    name: str = "",
    low: Decimal | None = None,
    high: Decimal | None = None,
) -> OwnUnit:
    """Return how values kept in a unit are shown and typed by somebody of a system.

    system: US or METRIC. name: of the check. low, high: its limits. [unit]
    It stays the unit kept where the other system has none for it, where a temperature may be a
    difference, where a zero of the one is no zero of the other and it must read zero, and where
    the limits lie so close that nothing with so few decimals lies between them.
    """
    is_difference = _may_be_difference(name, low, high)
    same = OwnUnit(unit, unit, values.PLACES, low, high, low, high, is_difference)
    key = unit.strip().casefold()
    pair = (_BY_US if system == METRIC else _BY_METRIC).get(key)
    if pair is None or (pair.zero and is_difference):
        return same
    if system == METRIC:
        shown, places, factor = pair.metric, pair.metric_places, pair.factor
        plus = -pair.zero * pair.factor
    else:
        shown, places, factor = pair.us, pair.us_places, 1 / pair.factor
        plus = Fraction(pair.zero)
    scale = 10**places
    turned = OwnUnit(
        unit,
        shown,
        places,
        low,
        high,
        None if low is None else _decimal(ceil((Fraction(low) * factor + plus) * scale), places),
        None if high is None else _decimal(floor((Fraction(high) * factor + plus) * scale), places),
        is_difference,
        factor,
        plus,
    )
    return turned if turned._has_room() else same


def above(first: OwnUnit, value: Decimal, second: OwnUnit, other: Decimal) -> Decimal | None:
    """Return how far one kept value lies above another, as both are shown. [OwnUnit.apart]

    first, second: how each is shown. None where that is in two units, or as codes.
    The figures that stand beside it give it, so whoever looks can do the sum; and what a scale has
    at its zero, as 32 °F, is in both of them and in no difference.
    """
    if first.unit != second.unit or values.is_code(first.unit):
        return None
    return first.shown(value) - second.shown(other)


def every_unit(
    unit: str, *, name: str = "", low: Decimal | None = None, high: Decimal | None = None
) -> dict[str, OwnUnit]:
    """Return the units in which a value of a check may be typed, the kept one first."""
    ways = [own_unit(unit, system, name=name, low=low, high=high) for system in SYSTEMS]
    ways.sort(key=lambda way: way.is_turned)
    return {way.unit: way for way in ways}


def _may_be_difference(name: str, low: Decimal | None, high: Decimal | None) -> bool:
    """Whether values in degrees may be differences: by their name, or since their limits lie as far
    below zero as above it (and a gauge that must read zero is at zero in its own unit only)."""
    words = name.casefold().replace(",", " ").split()
    return any(word in _DIFFERENCE for word in words) or (
        low is not None and high is not None and low == -high
    )


def _decimal(count: int, places: int) -> Decimal:
    """So many units of the last place."""
    return Decimal(count).scaleb(-places)
