"""How dates, times of day and numbers are written in one cell, before anything is decided.

Both the guesser and the careful reader read cells with these, so that they cannot differ.
"""

import re
import unicodedata
from calendar import monthrange
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from math import isfinite
from typing import Final

DAY_US: Final = 86_400_000_000
#: Years a log may be of; a number outside it is no year.
YEARS: Final = range(1990, 2080)
ORDERS: Final = ("ymd", "dmy", "mdy")


_BARE: Final = str.maketrans("øłıđ", "olid")


def plain(text: str) -> str:
    """Return text case-folded, without accents: "Hübe" becomes "hube"."""
    if text.isascii():
        return text.casefold().strip()
    parts = unicodedata.normalize("NFKD", text.casefold().translate(_BARE))
    return "".join(each for each in parts if not unicodedata.combining(each)).strip()


# Names of months and weekdays: from memory; English, German, French, Spanish, Italian, Dutch,
# Portuguese, Swedish, Danish and Norwegian, Polish, Czech. Without accents. Each list runs from
# January (Monday); a name is known by itself or cut to three letters or more.
_MONTHS: Final = (
    "january february march april may june july august september october november december",
    "januar februar marz april mai juni juli august september oktober november dezember",
    "janner feber maerz april mai juni juli august september okt nov dez",
    "janvier fevrier mars avril mai juin juillet aout septembre octobre novembre decembre",
    "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre",
    "ene feb mar abr may jun jul ago set oct nov dic",
    "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre",
    "jan feb mrt april mei juni juli aug sept okt nov dec",
    "jan feb mrz april mai juni juli aug sept okt nov dez",
    "januari februari maart april mei juni juli augustus september oktober november december",
    "janeiro fevereiro marco abril maio junho julho agosto setembro outubro novembro dezembro",
    "januari februari mars april maj juni juli augusti september oktober november december",
    "januar februar marts april maj juni juli august september oktober november desember",
    "stycznia lutego marca kwietnia maja czerwca lipca sierpnia wrzesnia pazdziernika "
    "listopada grudnia",
    "ledna unora brezna dubna kvetna cervna cervence srpna zari rijna listopadu prosince",
)
_WEEKDAYS: Final = (
    "monday tuesday wednesday thursday friday saturday sunday",
    "mo tu we th fr sa su",
    "montag dienstag mittwoch donnerstag freitag samstag sonntag",
    "mo di mi do fr sa so",
    "lundi mardi mercredi jeudi vendredi samedi dimanche",
    "lunes martes miercoles jueves viernes sabado domingo",
    "lunedi martedi mercoledi giovedi venerdi sabato domenica",
    "maandag dinsdag woensdag donderdag vrijdag zaterdag zondag",
    "ma di wo do vr za zo",
    "segunda terca quarta quinta sexta sabado domingo",
    "mandag tirsdag onsdag torsdag fredag lordag sondag",
    "mandag tisdag onsdag torsdag fredag lordag sondag",
)


def _names(lists: tuple[str, ...]) -> dict[str, int]:
    known: dict[str, int] = {}
    twice: set[str] = set()
    for each in lists:
        for number, name in enumerate(each.split(), 1):
            for length in range(min(3, len(name)), len(name) + 1):
                cut = name[:length]
                if known.setdefault(cut, number) != number:
                    twice.add(cut)
    return {name: number for name, number in known.items() if name not in twice}


MONTHS: Final = _names(_MONTHS)
WEEKDAYS: Final = _names(_WEEKDAYS)


@dataclass(frozen=True, slots=True)
class DateCell:
    """A date as written.

    fields: the three numbers, in the order written (a month's name as its number).
    orders: those of ORDERS in which the three numbers are a real date.
    weekday: 1 Monday to 7 Sunday where the cell names it, else 0.
    """

    fields: tuple[int, int, int]
    orders: tuple[str, ...]
    weekday: int = 0

    def day(self, order: str) -> date | None:
        """Return the date in one order, None where there is no such day."""
        return _day(self.fields, order)


@dataclass(frozen=True, slots=True)
class ClockCell:
    """A time of day as written.

    us: since midnight, AM and PM taken in where they stand. [µs], 0 to DAY_US (24:00)
    hour: the hour as written. meridiem: "am", "pm" or "". zone: as written, "" for none.
    """

    us: int
    hour: int
    meridiem: str = ""
    zone: str = ""


def _day(fields: tuple[int, int, int], order: str) -> date | None:
    first, second, third = fields
    if order == "ymd":
        year, month, day = first, second, third
    elif order == "dmy":
        day, month, year = first, second, third
    else:
        month, day, year = first, second, third
    if year < 100:
        year += 2000
    if year not in YEARS or not 1 <= month <= 12 or not 1 <= day <= monthrange(year, month)[1]:
        return None
    return date(year, month, day)


_WEEKDAY = re.compile(r"^([^\W\d_]{2,})(?:\.|,|-feira)*[\s,]+(?=.*\d)")
_NUMERIC = re.compile(
    r"^(\d{4}|\d{1,2})(\s*[-/._]\s*|\s)(\d{1,2})\s*(\2)\s*('?\d{4}|'?\d{1,2})\.?$"
)
_COMPACT = re.compile(r"^(\d{4})(\d\d)(\d\d)$")
_ORDINAL = re.compile(r"^((?:19|20)\d\d)[-/.]([0-3]\d\d)$")  # day of the year, ISO 8601
_SHORT = re.compile(r"^(\d\d)(\d\d)(\d\d)$")
_DAY_NAME = re.compile(
    r"^(\d{1,2})(?:\.|st|nd|rd|th|er|º|°)?[-/\s]*(?:de\s+|of\s+)?([^\W\d_]{3,})\.?[-/,\s]*"
    r"(?:de\s+|del\s+)?'?(\d{4}|\d\d)$"
)
_NAME_DAY = re.compile(r"^([^\W\d_]{3,})\.?[-/\s]*(\d{1,2})(?:st|nd|rd|th)?[-/,\s]+'?(\d{4}|\d\d)$")
_YEAR_NAME = re.compile(r"^(\d{4})[-/.\s]*([^\W\d_]{3,})\.?[-/.\s]*(\d{1,2})$")
_HAN = str.maketrans({"年": "-", "月": "-", "日": "", "년": "-", "월": "-", "일": ""})


@lru_cache(maxsize=4096)
def read_date(text: str) -> DateCell | None:
    """Return a date as it is written, None where the cell holds none."""
    text = text.strip()
    if not 6 <= len(text) <= 40:
        return None
    if not text.isascii():
        text = text.translate(_HAN).strip()
    weekday = 0
    written = _numbers(text)
    # Only then a weekday: “mar” is March to some and Tuesday to others.
    if (
        written is None
        and (named := _WEEKDAY.match(text))
        and (weekday := WEEKDAYS.get(plain(named[1]), 0))
    ):
        written = _numbers(text[named.end() :])
    if written is None:
        return None
    fields, orders = written
    real = tuple(each for each in orders if _day(fields, each))
    if weekday:
        real = tuple(each for each in real if _weekday(fields, each) == weekday)
    return DateCell(fields, real, weekday) if real else None


def _weekday(fields: tuple[int, int, int], order: str) -> int:
    day = _day(fields, order)
    return day.isoweekday() if day else 0


def _numbers(text: str) -> tuple[tuple[int, int, int], tuple[str, ...]] | None:
    if match := _NUMERIC.match(text):
        first, last = match[1], match[5].lstrip("'")
        fields = (int(first), int(match[3]), int(last))
        if len(first) == 4:
            return (fields, ("ymd",)) if len(last) < 4 else None
        if len(last) == 4:
            return fields, ("dmy", "mdy")
        # A year has two digits at least: “10/31/2” is what is left of a longer date.
        ends = ("dmy", "mdy") if len(last) == 2 else ()
        return fields, (*(("ymd",) if len(first) == 2 else ()), *ends)
    if match := _ORDINAL.match(text):
        first = date(int(match[1]), 1, 1)
        on = first + timedelta(days=int(match[2]) - 1)
        return ((on.year, on.month, on.day), ("ymd",)) if on.year == first.year else None
    if match := _COMPACT.match(text):
        return (int(match[1]), int(match[2]), int(match[3])), ("ymd",)
    if match := _SHORT.match(text):
        return (int(match[1]), int(match[2]), int(match[3])), ORDERS
    if (match := _DAY_NAME.match(text)) and (month := MONTHS.get(plain(match[2]))):
        return (int(match[1]), month, int(match[3])), ("dmy",)
    if (match := _NAME_DAY.match(text)) and (month := MONTHS.get(plain(match[1]))):
        return (month, int(match[2]), int(match[3])), ("mdy",)
    if (match := _YEAR_NAME.match(text)) and (month := MONTHS.get(plain(match[2]))):
        return (int(match[1]), month, int(match[3])), ("ymd",)
    return None


_ZONE = (
    r"(?P<zone>\s*(?:Z|[+-−]\d{2}:?\d{2}|[+-]\d{1,2}|(?:UTC|GMT)\s*[+-]\s*\d{1,2}(?::?\d{2})?"
    r"|[A-Z][A-Z]{1,4}|[A-Z][A-Za-z]+/[A-Za-z_]+(?:/[A-Za-z_]+)?)|\s*\([^()]{1,40}\)"
    r"|\s*\[[^\[\]]{1,40}\])?"
)
_MERIDIEM = r"(?:\s*(?P<mer>[AaPp]\.?\s?[Mm]\.?|vorm\.?|nachm\.?|上午|下午))?"
_CLOCK = re.compile(
    r"(?P<h>\d{1,2})\s?(?P<sep>[:.hH])\s?(?P<m>\d\d)"
    r"(?:(?:(?P=sep)|[m:.])(?P<s>\d\d)s?(?:[.,:](?P<f>\d{1,9}))?|m)?" + _MERIDIEM + _ZONE + "$"
)
_CLOCK_COMPACT = re.compile(
    r"(?P<h>\d\d)(?P<m>\d\d)(?P<s>\d\d)?(?:[.,](?P<f>\d{1,9}))?" + _MERIDIEM + _ZONE + "$"
)


#: Hours, minutes and seconds from columns of their own, joined by blanks.
_CLOCK_PARTS = re.compile(
    r"(?P<h>\d{1,2})\s(?P<m>\d{1,2})(?:\s(?P<s>\d{1,2})(?:[.,](?P<f>\d{1,9}))?)?"
    + _MERIDIEM
    + "(?P<zone>)$"
)


def _clock(match: "re.Match[str]") -> ClockCell | None:
    hour, minute = int(match["h"]), int(match["m"])
    second = int(match["s"] or 0)
    meridiem = _meridiem(match["mer"])
    if hour > 24 or minute > 59 or second > 60 or (hour == 24 and (minute or second)):
        return None
    turned = hour
    if meridiem:
        if not 1 <= hour <= 12:
            # "00:10 AM" and "13:05 PM" are written by clocks that mean 24 hours all the same.
            if (hour == 0 and meridiem == "pm") or (hour > 12 and meridiem == "am"):
                return None
        else:
            turned = hour % 12 + (12 if meridiem == "pm" else 0)
    fraction = int((match["f"] or "").ljust(6, "0")[:6])
    us = ((turned * 60 + minute) * 60 + second) * 1_000_000 + fraction
    return ClockCell(us, hour, meridiem, (match["zone"] or "").strip(" ()[]"))


def _meridiem(written: str | None) -> str:
    if not written:
        return ""
    return "am" if written[0] in "aAvV上" else "pm"


def read_clock(text: str) -> ClockCell | None:
    """Return a time of day as it is written, None where the cell holds none."""
    text = text.strip()
    if match := _CLOCK.match(text) or _CLOCK_COMPACT.match(text) or _CLOCK_PARTS.match(text):
        return _clock(match)
    return None


_JOINT = re.compile(
    r"(?<=\d)T(?=\d)|(?<=[^\W\d_])[,.]?\s+(?=\d)|(?<=\d)[.,]?\s+(?:(?:at|um|a|à|às|alle|om|kl)\.?\s+)?"
    r"(?=\d)|(?<=\d)\s*[,;_/|-]\s*(?=\d)|(?<=[日일])\s*(?=\d)|(?<=\d):(?=\d)"
)
_RUN = re.compile(r"^(\d{8})(\d{4}(?:\d\d)?)(?:[.,]\d+)?$")


def read_moment(text: str) -> tuple[DateCell, ClockCell] | None:
    """Return a date and a time of day that stand in one cell, None where they do not.

    Either may come first. A date alone, and a time alone, are none.
    """
    text = text.strip()
    length = len(text)
    if not 9 <= length <= 60:
        return None
    # The usual ten characters of a date, or six to eleven.
    for at in (10, 8, 9, 11, 6, 7):
        if at < length and text[at] in " T_,;-:/" and text[at - 1] != ":":
            day = read_date(text[:at])
            if day and (clock := read_clock(text[at + 1 :])):
                return day, clock
    if match := _RUN.match(text):
        day, clock = read_date(match[1]), read_clock(text[8:])
        return (day, clock) if day and clock else None
    for joint in _JOINT.finditer(text):
        before, after = text[: joint.start()], text[joint.end() :]
        if (day := read_date(before)) and (clock := read_clock(after)):
            return day, clock
        if (clock := read_clock(before)) and (day := read_date(after)):
            return day, clock
    return None


# Numbers.

#: Words that stand for a value that was not there, as `plain` writes them; from memory.
_MISSING: Final = (
    "- | -- | --- | ---- | ----- | ------ | -.- | --.- | ---.- | --.-- | -,- | --,- | – | — | . "
    "| .. | ... | * | ** | *** | **** | ***** | ? | ?? | ??? | #### | ##### | "
    "n/a | n.a. | na | n/d | n.d. | nd | nan | -nan | null | none | nil | nul | void | empty | "
    "blank | missing | no data | nodata | no value | #n/a | #na | #nv | #value! | #wert! | "
    "#div/0! | #num! | err | error | fault | open | short | offline | disconnected | no signal "
    "| no sensor | sensor | bad | inf | -inf | +inf | ol | overrange | underrange | invalid | "
    "k.a. | k. a. | kein wert | fehlt | fehler | ungultig | leer | s/d | s.d. | sin dato | sin "
    "datos | erreur | absent | vide | manquant | errore | assente | n.v.t. | nvt | geen | fout "
    "| ontbreekt | sem dado | erro | brak"
)
MISSING: Final = (
    "", *(each.strip() for each in _MISSING.split("|")), *("x" * times for times in (1, 2, 3)),
)  # fmt: skip

_PLAIN = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?$")
_GROUPED = {
    ",": re.compile(r"[+-]?\d{1,3}(?:,\d{3})+(?![\d,])"),
    ".": re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+(?![\d.])"),
    " ": re.compile(r"[+-]?\d{1,3}(?:[ \u00a0\u2009\u202f]\d{3})+(?!\d)"),
    "'": re.compile(r"[+-]?\d{1,3}(?:['\u2019]\d{3})+(?!\d)"),
}
#: By the grouping of a layout, what its thousands may be parted by.
GROUPS: Final = {",": ",", ".": ".", " ": " \u00a0\u2009\u202f", "'": "'\u2019"}
#: A unit behind a number, as a pattern that polars takes too.
UNIT_FORM: Final = (
    r"(?:°\s?[fFcC]|deg\.?\s?[fFcC]|[fFcC]|psi[gG]?|PSI[gG]?|bar|BAR|Bar|[kM]Pa"
    r"|gal(?:/min)?|GPM|gpm|[lL](?:/min|/h)?|LPM|lpm|cycles?|strokes?|h|hrs?|s|sec|min)\.?"
)
_SUFFIX = re.compile(r"(?<=[\d.,])\s*" + UNIT_FORM + "$")


def number(text: str, *, decimal: str, grouping: str) -> float | None:
    """Return the number in a cell, None where it holds none or is written in another way.

    decimal: "." or ",". grouping: "" for nothing, "," "." " " or "'"; a group has three digits.
    A unit behind the number is let pass: which one it is was settled by the guess.
    """
    text = text.strip()
    if not text:
        return None
    if not text[-1].isdigit():
        text = _SUFFIX.sub("", text)
    if text[:1] == "\u2212":
        text = "-" + text[1:]
    if grouping and (grouped := _GROUPED[grouping].match(text)):
        whole = grouped[0]
        for each in GROUPS[grouping]:
            whole = whole.replace(each, "")
        text = whole + text[grouped.end() :]
    if decimal == ",":
        if "." in text:
            return None
        text = text.replace(",", ".", 1)
    if not _PLAIN.match(text):
        return None
    value = float(text)
    return value if isfinite(value) else None


def unit_behind(text: str) -> str:
    """Return what stands behind the number in a cell: "1,200 psi" gives "psi"."""
    found = _SUFFIX.search(text.strip())
    return found[0].strip() if found else ""


_DOTS = re.compile(r"[+\u2212-]?(\d*)([.,])(\d*)$")
_BLANKS = re.compile(
    r"[+\u2212-]?\d{1,3}([ \u00a0\u2009\u202f'\u2019])\d{3}(?:\1\d{3})*(?:[.,]\d+)?$"
)


@dataclass(slots=True)
class Marks:
    """How often the numbers of a column show each mark.

    decimal, group: by mark, where the number can be read in one way only.
    either: by mark, numbers as "1.234" that can be read in two. bare: numbers without a mark.
    bare_thousands: of these, from 1,000 on.
    """

    decimal: dict[str, int]
    group: dict[str, int]
    either: dict[str, int]
    bare: int = 0
    bare_thousands: int = 0


def marks(cells: Iterable[str]) -> Marks:
    """Return which marks the numbers in these cells show."""
    found = Marks({}, {}, {})

    def count(where: dict[str, int], mark: str) -> None:
        where[mark] = where.get(mark, 0) + 1

    for raw in cells:
        cell = raw.strip()
        if cell.isdigit():
            found.bare += 1
            found.bare_thousands += len(cell) > 3
            continue
        if cell and not cell[-1].isdigit():
            cell = _SUFFIX.sub("", cell)
        if match := _DOTS.match(cell):
            before, mark, after = match.groups()
            if not before and not after:
                continue
            if len(after) == 3 and 1 <= len(before) <= 3 and before[0] != "0":
                count(found.either, mark)
            else:
                count(found.decimal, mark)
        elif match := _BLANKS.match(cell):
            count(found.group, "'" if match[1] in "'\u2019" else " ")
            if rest := re.search(r"[.,]", cell):
                count(found.decimal, rest[0])
        elif "." in cell and "," in cell:
            last = max(cell.rfind("."), cell.rfind(","))
            first = "," if cell[last] == "." else "."
            if number(cell, decimal=cell[last], grouping=first) is not None:
                count(found.decimal, cell[last])
                count(found.group, first)
        else:
            for mark in ".,":
                if cell.count(mark) > 1 and _GROUPED[mark].fullmatch(cell):
                    count(found.group, mark)
    return found
