"""Dates and times of day as logs write them, one cell at a time.

Wall times are microseconds since 1970-01-01 00:00 of the wall itself, without a zone.
"""

import re
from datetime import date as Date
from functools import lru_cache
from typing import Final

SECOND_US: Final = 1_000_000
DAY_US: Final = 86_400 * SECOND_US
EPOCH_ORDINAL: Final = Date(1970, 1, 1).toordinal()
#: Years that a log may tell of. Two digits: 70 to 99 are of the last century, as POSIX has it.
YEARS: Final = range(1970, 2200)


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


#: By the name, its month: English, German, French, Spanish, Italian, Dutch, Portuguese, Danish,
#: Norwegian, Swedish, Polish; in full and as they are cut short.
MONTHS: Final = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar jänner jaenner janv janvier ene enero gen gennaio januari janeiro"
            " sty stycznia styczeń",
            "feb february februar feber févr fevr fév fev février fevrier febrero febbraio"
            " februari fevereiro lut lutego luty",
            "mar march mär maer mrz märz maerz mars marzo mrt maart março marco marts marca marzec",
            "apr april avr avril abr abril aprile kwi kwietnia kwiecień",
            "may mai mayo mag maggio mei maio maj maja",
            "jun june juni juin junio giu giugno junho cze czerwca czerwiec",
            "jul july juli juil juillet julio lug luglio julho lip lipca lipiec",
            "aug august aoû aou août aout ago agosto augustus augusti sie sierpnia sierpień",
            "sep sept september septembre septiembre setiembre set settembre setembro wrz września"
            " wrzesień",
            "oct october okt oktober octobre octubre ott ottobre out outubro paź października"
            " październik",
            "nov november novembre noviembre novembro lis listopada listopad",
            "dec december dez dezember déc décembre decembre dic diciembre dicembre dezembro des"
            " desember gru grudnia grudzień",
        ),
        start=1,
    )
    for name in names.split()
}
#: Words in a time that say nothing: days of the week, and little words between the parts.
_WEEKDAYS: Final = _words(
    "mon monday tue tues tuesday wed wednesday thu thur thurs thursday fri friday sat saturday"
    " sun sunday mo montag di dienstag mi mittwoch do donnerstag fr freitag sa samstag sonnabend"
    " so sonntag lun lundi mardi mer mercredi jeu jeudi ven vendredi sam samedi dim dimanche lunes"
    " mié mie miércoles miercoles jue jueves vie viernes sáb sab sábado sabado domingo dom lunedì"
    " martedì mercoledì gio giovedì venerdì sabato domenica maandag dinsdag woensdag donderdag"
    " vrijdag zaterdag zondag ma wo vr za zo"
)
_LITTLE: Final = _words("de del of the at um uhr à le el den il klo kl h st nd rd th")

#: Abbreviations that logs write behind a time, as hours ahead of UTC.
#: Source: IANA time zone database (northamerica, europe), the offsets in force there.
ZONES_H: Final = {
    "z": 0, "utc": 0, "gmt": 0, "wet": 0, "bst": 1, "west": 1, "cet": 1, "mez": 1, "cest": 2,
    "mesz": 2, "eet": 2, "eest": 3, "est": -5, "edt": -4, "cst": -6, "cdt": -5, "mst": -7,
    "mdt": -6, "pst": -8, "pdt": -7, "akst": -9, "akdt": -8, "hst": -10,
}  # fmt: skip

_ISO: Final = re.compile(
    r"(\d{4})-(\d\d)-(\d\d)[t ](\d\d):(\d\d)(?::(\d\d)(?:[.,](\d{1,9}))?)?", re.ASCII
)
_CLOCK: Final = re.compile(
    r"(?<!\d)(\d{1,2}) ?[:h] ?(\d\d)(?: ?[:m'] ?(\d\d)(?:[.,:](\d{1,9}))?)?(?!\d)\s?s?", re.ASCII
)
_DOTTED_CLOCK: Final = re.compile(
    r"(?<![\d.])(\d{1,2})[.-](\d\d)(?:[.-](\d\d)(?:[.,](\d{1,9}))?)?(?![\d.])", re.ASCII
)
_RUN_TOGETHER: Final = re.compile(
    r"(?<!\d)(\d{8}|\d{6})?(?:[t _-]|(?<=\d))?(\d\d)(\d\d)(\d\d)(?:[.,](\d{1,9}))?(?!\d)", re.ASCII
)
_HALF: Final = re.compile(r"(?<![^\W\d_])([ap])(?:\.? ?m\.?)?(?![^\W\d_])")
_OFFSET: Final = re.compile(
    r"\s?(?:(utc|gmt)\s?)?([+-])(\d{1,2})(?::?(\d\d))?$|\s?(?<![^\W\d_])([a-z]{1,4})$", re.ASCII
)
#: As in “Wed Mar 04 12:00:00 EST 2026”.
_NAMED_ZONE: Final = re.compile(rf"(?<![^\W_])({'|'.join(ZONES_H)})(?![^\W_])")
_TOKENS: Final = re.compile(r"\d+|[^\W\d_]+")
_BETWEEN: Final = re.compile(r"[\s./\-,'’_]*")


def plain(text: str) -> str:
    """Return a cell as its times are read: case-folded, blanks and signs of one kind."""
    return " ".join(text.replace("−", "-").casefold().split())


def moment(text: str, *, order: str, clock: str) -> tuple[int, int | None] | None:
    """Return wall time and offset from UTC of a cell with date and time of day. [µs]

    order: "ymd", "dmy" or "mdy", for a date of three numbers that does not begin with the year.
    clock: "12" where every time needs its AM or PM. None: it cannot be read. A date alone is its
    midnight, which some programs write that way.
    """
    text = plain(text)
    if match := _ISO.match(text):
        year, month, day, hour, minute, second, fraction = match.groups()
        rest = text[match.end() :]
        if not rest and clock != "12":
            days = _days(int(year), int(month), int(day))
            time = _time(hour, minute, second, fraction, "")
            return None if days is None or time is None else (days * DAY_US + time, None)
    text, offset = _without_offset(text)
    if ":" not in text and (days := day_number(text, order=order)) is not None:
        return None if clock == "12" else (days * DAY_US, offset)
    found = _clock_in(text, clock=clock)
    if found is None:
        return None
    time, rest = found
    if offset is None and (named := _NAMED_ZONE.search(rest)):
        offset = ZONES_H[named.group()] * 3600 * SECOND_US
        rest = f"{rest[: named.start()]} {rest[named.end() :]}"
    days = day_number(rest.rstrip(" t_,:-"), order=order)
    return None if days is None else (days * DAY_US + time, offset)


def time_of_day(text: str, *, clock: str) -> tuple[int, int | None] | None:
    """Return the time since midnight and the offset from UTC of a cell with a time of day. [µs]"""
    text, offset = _without_offset(plain(text))
    found = _clock_in(text, clock=clock)
    if found is None or found[1].strip(" t"):
        return None
    return found[0], offset


@lru_cache(maxsize=4096)
def day_number(text: str, *, order: str) -> int | None:
    """Return the days since 1970-01-01 of a date, None where it cannot be read.

    order: as in `moment`; a year of four digits that comes first is always year, month, day.
    """
    text = plain(text)
    if not _only(text):
        return None
    words = [
        each for each in _TOKENS.findall(text) if each not in _WEEKDAYS and each not in _LITTLE
    ]
    names = [MONTHS[each] for each in words if each in MONTHS]
    numbers = [each for each in words if each[0].isdecimal() and each.isascii()]
    if len(names) + len(numbers) != len(words) or len(names) > 1:
        return None
    if names:
        return _named(names[0], numbers, order)
    if len(numbers) == 1:
        return _together(numbers[0], order)
    if len(numbers) == 2 and [len(each) for each in numbers] == [4, 3]:
        return _ordinal(int(numbers[0]), int(numbers[1]))
    if len(numbers) != 3:
        return None
    year, month, day = _ordered(numbers, "ymd" if len(numbers[0]) == 4 else order)
    return None if len(month) > 2 or len(day) > 2 else _days(_year(year), int(month), int(day))


def offset(text: str) -> int | None:
    """Return how far a zone is ahead of UTC, for an offset or a known abbreviation. [µs]"""
    rest, found = _without_offset(plain(text))
    return None if rest else found


def _without_offset(text: str) -> tuple[str, int | None]:
    """Part a text from the zone at its end."""
    match = _OFFSET.search(text)
    if match is None:
        return text, None
    named, sign, hours, minutes, word = match.groups()
    before = text[: match.start()]
    if word is not None:
        if word not in ZONES_H:
            return text, None
        return before.rstrip(), ZONES_H[word] * 3600 * SECOND_US
    # “04-03-26” ends in a year, not in a zone: an offset follows a time of day or stands alone.
    if (
        not named
        and before
        and not _CLOCK.search(before)
        and not re.search(r"[t ]\d{4,6}$", before)
    ):
        return text, None
    if int(hours) > 15 or int(minutes or 0) > 59:
        return text, None
    ahead = (int(hours) * 3600 + int(minutes or 0) * 60) * SECOND_US
    return before.rstrip(), -ahead if sign == "-" else ahead


def _clock_in(text: str, *, clock: str) -> tuple[int, str] | None:
    """Find the time of day in a text; return it and what else the text says. [µs]"""
    match = _CLOCK.search(text)
    if match is not None:
        hour, minute, second, fraction = match.groups()
    elif (match := _run_together(text)) is not None:
        hour, minute, second, fraction = match.groups()[1:]
    else:
        dotted = list(_DOTTED_CLOCK.finditer(text))
        if not dotted:
            return None
        match = dotted[-1]
        hour, minute, second, fraction = match.groups()
        before = text[: match.start()].strip()
        if not before and len(dotted) == 1 and text[match.end() :].strip(" apm."):
            return None
    rest = (
        f"{match.group(1) or ''} {text[match.end() :]}"
        if match.re is _RUN_TOGETHER
        else f"{text[: match.start()]} {text[match.end() :]}"
    ).strip()
    half = ""
    if marked := _HALF.search(rest):
        half = marked.group(1)
        rest = f"{rest[: marked.start()]} {rest[marked.end() :]}".strip()
    if clock == "12" and not half:
        return None
    time = _time(hour, minute, second, fraction, half)
    return None if time is None else (time, rest)


def _run_together(text: str) -> re.Match[str] | None:
    """A text that is nothing but digits of a time, with or without those of a date before it."""
    match = _RUN_TOGETHER.fullmatch(text)
    return match if match and (match.group(1) is None or len(match.group(1)) == 8) else None


def _time(
    hour: str, minute: str, second: str | None, fraction: str | None, half: str
) -> int | None:
    """Return the time since midnight. [µs]"""
    hours, minutes, seconds = int(hour), int(minute), int(second or 0)
    micro = int((fraction or "")[:6].ljust(6, "0"))
    if half:
        if (hours > 12 and half == "a") or (hours == 0 and half == "p"):
            return None
        if hours <= 12:
            hours = hours % 12 + (12 if half == "p" else 0)
    # Second 60 is a leap second; hour 24 is the end of the day.
    if (
        hours > 24
        or minutes > 59
        or seconds > 60
        or (hours == 24 and (minutes or seconds or micro))
    ):
        return None
    return ((hours * 60 + minutes) * 60 + seconds) * SECOND_US + micro


def _only(text: str) -> bool:
    """Nothing but words, numbers, and what stands between them."""
    return bool(_BETWEEN.fullmatch(_TOKENS.sub("", text)))


def _ordered(numbers: list[str], order: str) -> tuple[str, str, str]:
    """Year, month and day of three numbers."""
    first, second, third = numbers
    if order == "ymd":
        return first, second, third
    if order == "mdy":
        return third, first, second
    return third, second, first


def _year(text: str) -> int:
    if len(text) == 4:
        return int(text)
    if len(text) != 2:
        return 0
    return int(text) + (1900 if int(text) >= 70 else 2000)


def _named(month: int, numbers: list[str], order: str) -> int | None:
    if len(numbers) != 2:
        return None
    day, year = numbers
    if len(day) == 4 or (order == "ymd" and len(year) != 4):
        day, year = year, day
    return None if len(day) > 2 else _days(_year(year), month, int(day))


def _together(text: str, order: str) -> int | None:
    """A date whose digits nothing parts."""
    if len(text) == 8:
        if order in ("", "ymd") or (int(text[:4]) in YEARS and int(text[4:6]) <= 12):
            return _days(int(text[:4]), int(text[4:6]), int(text[6:]))
        parts = [text[:2], text[2:4], text[4:]]
    elif len(text) == 6:
        parts = [text[:2], text[2:4], text[4:]]
    else:
        return None
    year, month, day = _ordered(parts, order or "ymd")
    return _days(_year(year), int(month), int(day))


def _ordinal(year: int, day: int) -> int | None:
    """Day of the year, as ISO 8601 has it beside the month and its day."""
    first = _days(year, 1, 1)
    last = _days(year, 12, 31)
    if first is None or last is None or not 1 <= day <= last - first + 1:
        return None
    return first + day - 1


def _days(year: int, month: int, day: int) -> int | None:
    if year not in YEARS:
        return None
    try:
        return Date(year, month, day).toordinal() - EPOCH_ORDINAL
    except ValueError:
        return None
