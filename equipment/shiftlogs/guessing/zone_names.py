"""Time zones as logs name them: offsets, names of places, abbreviations that may name several."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

#: Abbreviation to the places it may mean, the one meant most often first: offset, a zone in which
#: it is the legal time for part or all of the year, words. From memory.
ABBREVIATIONS: Final[dict[str, tuple[tuple[str, str, str], ...]]] = {
    "UTC": (("+00:00", "UTC", "UTC"),),
    "GMT": (("+00:00", "UTC", "UTC"),),
    "Z": (("+00:00", "UTC", "UTC"),),
    "EST": (("-05:00", "America/New_York", "Eastern standard time, North America"),),
    "EDT": (("-04:00", "America/New_York", "Eastern daylight time, North America"),),
    "CST": (
        ("-06:00", "America/Chicago", "Central standard time, North America"),
        ("+08:00", "Asia/Shanghai", "China standard time"),
    ),
    "CDT": (("-05:00", "America/Chicago", "Central daylight time, North America"),),
    "MST": (("-07:00", "America/Denver", "Mountain standard time, North America"),),
    "MDT": (("-06:00", "America/Denver", "Mountain daylight time, North America"),),
    "PST": (
        ("-08:00", "America/Los_Angeles", "Pacific standard time, North America"),
        ("+08:00", "Asia/Manila", "Philippine standard time"),
    ),
    "PDT": (("-07:00", "America/Los_Angeles", "Pacific daylight time, North America"),),
    "AKST": (("-09:00", "America/Anchorage", "Alaska standard time"),),
    "AKDT": (("-08:00", "America/Anchorage", "Alaska daylight time"),),
    "HST": (("-10:00", "Pacific/Honolulu", "Hawaii standard time"),),
    "AST": (
        ("-04:00", "America/Halifax", "Atlantic standard time, North America"),
        ("+03:00", "Asia/Riyadh", "Arabia standard time"),
    ),
    "ADT": (("-03:00", "America/Halifax", "Atlantic daylight time, North America"),),
    "NST": (("-03:30", "America/St_Johns", "Newfoundland standard time"),),
    "NDT": (("-02:30", "America/St_Johns", "Newfoundland daylight time"),),
    "BST": (
        ("+01:00", "Europe/London", "British summer time"),
        ("+06:00", "Asia/Dhaka", "Bangladesh standard time"),
    ),
    "IST": (
        ("+05:30", "Asia/Kolkata", "India standard time"),
        ("+01:00", "Europe/Dublin", "Irish summer time"),
        ("+02:00", "Asia/Jerusalem", "Israel standard time"),
    ),
    "IDT": (("+03:00", "Asia/Jerusalem", "Israel daylight time"),),
    "WET": (("+00:00", "Europe/Lisbon", "Western European time"),),
    "WEST": (("+01:00", "Europe/Lisbon", "Western European summer time"),),
    "CET": (("+01:00", "Europe/Berlin", "Central European time"),),
    "CEST": (("+02:00", "Europe/Berlin", "Central European summer time"),),
    "MEZ": (("+01:00", "Europe/Berlin", "Central European time"),),
    "MESZ": (("+02:00", "Europe/Berlin", "Central European summer time"),),
    "EET": (("+02:00", "Europe/Helsinki", "Eastern European time"),),
    "EEST": (("+03:00", "Europe/Helsinki", "Eastern European summer time"),),
    "MSK": (("+03:00", "Europe/Moscow", "Moscow time"),),
    "SAST": (("+02:00", "Africa/Johannesburg", "South Africa standard time"),),
    "GST": (("+04:00", "Asia/Dubai", "Gulf standard time"),),
    "PKT": (("+05:00", "Asia/Karachi", "Pakistan time"),),
    "SGT": (("+08:00", "Asia/Singapore", "Singapore time"),),
    "HKT": (("+08:00", "Asia/Hong_Kong", "Hong Kong time"),),
    "JST": (("+09:00", "Asia/Tokyo", "Japan standard time"),),
    "KST": (("+09:00", "Asia/Seoul", "Korea standard time"),),
    "AWST": (("+08:00", "Australia/Perth", "Australian Western time"),),
    "ACST": (("+09:30", "Australia/Darwin", "Australian Central time"),),
    "AEST": (("+10:00", "Australia/Sydney", "Australian Eastern time"),),
    "AEDT": (("+11:00", "Australia/Sydney", "Australian Eastern daylight time"),),
    "NZST": (("+12:00", "Pacific/Auckland", "New Zealand standard time"),),
    "NZDT": (("+13:00", "Pacific/Auckland", "New Zealand daylight time"),),
    "BRT": (("-03:00", "America/Sao_Paulo", "Brasilia time"),),
    "ART": (("-03:00", "America/Argentina/Buenos_Aires", "Argentina time"),),
    "CLT": (("-04:00", "America/Santiago", "Chile time"),),
    "COT": (("-05:00", "America/Bogota", "Colombia time"),),
    "PET": (("-05:00", "America/Lima", "Peru time"),),
}
_OFFSET = re.compile(r"^(?:UTC|GMT)?\s*([+\u2212-])\s*(\d{1,2}):?(\d\d)?$", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Named:
    """What a name of a zone may mean on some days.

    zone: "" for the shop's own, an offset or an IANA name; None where `choices` leaves a doubt.
    """

    zone: str | None
    choices: tuple[tuple[str, str], ...] = ()


def offset_of(text: str) -> str:
    """Return an offset as "+02:00", "" where the text is none: "UTC+2", "-0600", "GMT+5:30"."""
    match = _OFFSET.match(text.strip())
    if not match:
        return ""
    hours, minutes = int(match[2]), int(match[3] or 0)
    if hours > 14 or minutes > 59:
        return ""
    sign = "+" if match[1] == "+" else "-"
    return f"{sign}{hours:02d}:{minutes:02d}"


def place_of(text: str) -> str:
    """Return the IANA name that the text spells in any case, "" where there is none such."""
    wanted = text.strip().replace(" ", "_").casefold()
    if "/" not in wanted:
        return "UTC" if wanted in ("utc", "gmt", "z") else ""
    return next((each for each in available_timezones() if each.casefold() == wanted), "")


def named(texts: Iterable[str], *, shop: ZoneInfo, days: Iterable[date]) -> Named:
    """Return what the zone written in a file means. texts: as written, one or a pair (EST, EDT).

    An abbreviation is the shop's where the shop's clock bears it on those days. It is in doubt
    where it names several zones, or a time of the year that is not in force on those days.
    """
    written = [each.strip() for each in texts if each.strip()]
    dates = list(days)
    if not written:
        return Named("")
    if len(written) == 1:
        word = written[0]
        if offset := offset_of(word):
            return Named(offset)
        if place := place_of(word):
            return Named(place)
    words = [each.upper() for each in written]
    if all(each in _shop_words(shop, dates) for each in words):
        return Named("")
    known = [ABBREVIATIONS.get(each) for each in words]
    places: dict[str, str] = {}
    choices: dict[str, str] = {}
    for meanings in known:
        for offset, place, meaning in meanings or ():
            places.setdefault(place, meaning)
            choices[offset] = f"{meaning} ({offset})"
            if (
                len(words) == 1
                and dates
                and place != shop.key
                and not _in_force(place, offset, dates)
            ):
                choices[place] = f"the wall clock of {place}, summer time and all"
    if len(choices) == 1:
        return Named(next(iter(choices)))
    if len(words) > 1 and all(known) and len(places) == 1:
        return Named(next(iter(places)))
    choices["shop"] = f"the shop's own clock ({shop.key})"
    return Named(None, tuple(choices.items()))


def _shop_words(shop: ZoneInfo, dates: list[date]) -> set[str]:
    german = {"CET": "MEZ", "CEST": "MESZ"}
    found = set()
    for each in dates[:400]:
        for hour in (0, 12):
            word = datetime.combine(each, time(hour), shop).tzname() or ""
            found |= {word.upper(), german.get(word, word)}
    return found


def _in_force(place: str, offset: str, dates: list[date]) -> bool:
    zone = ZoneInfo(place)
    sign = -1 if offset[0] == "-" else 1
    wanted = sign * timedelta(hours=int(offset[1:3]), minutes=int(offset[4:6]))
    return all(datetime.combine(each, time(12), zone).utcoffset() == wanted for each in dates[:400])
