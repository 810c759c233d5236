"""What the words above a column say: quantity, side, unit, and whether it is something else.

The words themselves are in `words`.
"""

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from equipment.shiftlogs.guessing.cells import plain
from equipment.shiftlogs.guessing.words import (
    BOTH,
    COUNT,
    CYCLES,
    DATE,
    ELAPSED,
    EPOCH,
    FLOW,
    HEAT,
    HOSE,
    HOURS,
    ISO,
    LOUD,
    NO_UNITS,
    PRESSURE,
    RESIN,
    RUNNING,
    SERIAL,
    STROKES,
    TEMP,
    TIME,
    UNITS,
    VOLUME,
    WORDS,
    ZONE,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Heading:
    """What one heading says.

    quantity: one of `words`, "" where no word is known. side: ISO, RESIN, HOSE, BOTH, one of
    PAIRS, "3" for a higher number, "I", "L" or "R" for a letter that takes its meaning from the
    others, or "". letter: "A" or "B" where it stands beside the name of the
    chemical. unit: of layout.UNITS or of times, "" for none, "?" for one that is not used here.
    is_decoy: a set point, a limit, another machine: none of what is looked for.
    rank: higher is nearer to what is looked for, among headings of one quantity and side.
    languages: those whose words it has. zone: a zone that it names.
    """

    text: str
    quantity: str = ""
    side: str = ""
    letter: str = ""
    unit: str = ""
    is_decoy: bool = False
    rank: int = 0
    languages: tuple[str, ...] = ()
    zone: str = ""


def _tables() -> tuple[dict[str, list[tuple[str, str]]], list[tuple[str, bool, bool, str, str]]]:
    exact: dict[str, list[tuple[str, str]]] = {}
    parts: list[tuple[str, bool, bool, str, str]] = []
    for concept, languages in WORDS.items():
        for language, words in languages.items():
            for word in words.split():
                if "*" in word:
                    bare = word.strip("*")
                    parts.append((bare, word[0] == "*", word[-1] == "*", concept, language))
                else:
                    exact.setdefault(word, []).append((concept, language))
    return exact, parts


_EXACT, _PARTS = _tables()

_KIND: Final = {
    "psi": PRESSURE, "bar": PRESSURE, "kPa": PRESSURE, "MPa": PRESSURE,
    "kgf/cm2": PRESSURE, "F": TEMP, "C": TEMP,
    "gal": VOLUME, "l": VOLUME, "gal/min": FLOW, "gal/h": FLOW, "l/min": FLOW, "l/h": FLOW,
    "strokes": STROKES, "cycles": CYCLES,
}  # fmt: skip
_BRACKET = re.compile(r"[\[({<]\s*([^\[\](){}<>]*)\s*[\])}>]")
_SPLIT_CASE = re.compile(r"(?<=[a-zß-ÿ0-9])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z]{2})")
_STUCK = re.compile(
    r"^(temp|tmp|press?|prs|strokes?|strk|stk|str|cyc|cycles?|cycl|flow|gal|cnt|count|druck|hube?|"
    r"pump|vol|p|t|f|zahler|presion|pression|debit|coups|side|comp|seite)"
    r"(a|b|h|iso|res|resin|poly|hose|left|right|1|2|3|4|l|r)$"
)
_STUCK_BACK = re.compile(
    r"^(a|b|iso|res|resin|poly|polyol|hose|harz|schlauch)"
    r"(temp|tmp|temperature|press?|pressure|prs|psi|bar|strokes?|strokecount|strk|stk|str|cyc|"
    r"cycles?|flow|gpm|lpm|gal|gallons|cnt|count|counter|druck|hube?|huebe|pump|pumpe|vol|zahler|"
    r"zaehler|p|t|side|seite|amps|setpoint|set|sp|alarm)$"
)
#: "PSIA" over a column is no absolute pressure, but that of side A.
_STUCK_UNIT = re.compile(r"^(psi|bar|kpa|mpa|gpm|lpm)(a|b)$")
_ORDINAL = re.compile(r"^([a-z]+)(\d)$")
_DEGREES = re.compile(
    r"(?<![a-z])(?:°\s?|deg(?:rees)?[ ._]*|grad[ ._]*)([fc])(?![a-z])", re.IGNORECASE
)
_LOUD = re.compile(
    "(?<![a-z0-9°/])("
    + "|".join(re.escape(e).replace("/", "[/_ ]") for e in sorted(LOUD, key=len, reverse=True))
    + ")(?![a-z0-9/])",
    re.IGNORECASE,
)
#: A rate: strokes per minute and their like.
_PER_TIME = re.compile(
    r"[a-z]\s?/\s?(?:min|mn|minute|h|hr|s|sec)\b"
    r"|\b(?:per|pro|par|por|al|a la)\s(?:min\w*|stunde|heure|h)\b"
)


def unit_of(text: str) -> str:
    """Return the unit that a cell of a units row, or a bracket, names: "" for none of those known.

    "?" is a unit that is known and of no use here (amperes, kilograms); "?amp" is "A", which may
    be amperes or a side.
    """
    bare = plain(text).replace("º", "°").strip(" .[](){}")
    bare = bare.replace("²", "2").replace("³", "3").replace("^", "")
    if bare in UNITS:
        return UNITS[bare]
    close = bare.replace(" ", "").replace("⁄", "/")
    if close in UNITS:
        return UNITS[close]
    if close.startswith("in") and close[2:] in UNITS and len(close) > 3:
        return UNITS[close[2:]]  # German "in bar"
    return ""


def is_unit_cell(text: str) -> bool:
    """Say whether a cell may stand in a row of units."""
    return bool(unit_of(text)) or plain(text).strip("[]() ") in NO_UNITS


def _concepts(word: str) -> list[tuple[str, str]]:
    if found := _EXACT.get(word):
        return found
    if len(word) < 5:
        return []
    found = []
    for part, at_start_free, at_end_free, concept, language in _PARTS:
        if len(word) < len(part) or part not in word:
            continue
        if (
            (at_start_free and at_end_free)
            or (at_start_free and word.endswith(part))
            or (at_end_free and word.startswith(part))
        ):
            found.append((concept, language))
    if (CYCLES, "de") in found or (CYCLES, "nl") in found:
        # A word for a there-and-back cycle is made of that for a stroke.
        found = [each for each in found if each[0] != STROKES]
    if word.startswith("iso") and (rest := _concepts(word[3:])):
        found = [(ISO, "x"), *rest]
    return found


def _words(text: str) -> list[str]:
    text = unicodedata.normalize("NFKC", text)
    spread = _SPLIT_CASE.sub(" ", text)
    words: list[str] = []
    for raw in re.split(r"[^\w#%°]+|_", spread):
        word = plain(raw)
        if not word:
            continue
        if word in _EXACT:
            words.append(word)
        elif (match := _STUCK.match(word) or _STUCK_BACK.match(word)) or (
            (match := _ORDINAL.match(word)) and len(match[1]) > 1
        ):
            words += match.groups()
        else:
            words.append(word)
    return words


@lru_cache(maxsize=2048)
def read_heading(text: str, unit_below: str = "") -> Heading:
    """Return what a heading says. unit_below: the cell of the units row under it."""
    unit = ""
    rest = text
    is_bracket_a = False
    zone = ""
    for match in _BRACKET.finditer(text):
        inside = match[1]
        found = unit_of(inside)
        if found == "?amp":
            is_bracket_a = True
        elif found and not unit:
            unit = found
            rest = rest.replace(match[0], " ")
        elif is_zone_word(inside):
            zone = inside.strip()
            rest = rest.replace(match[0], " ")
    if below := unit_of(unit_below):
        unit = unit or ("?" if below == "?amp" else below)
    if not unit:
        unit, rest = _loud_unit(rest)
    if glued := _STUCK_UNIT.match(plain(rest)):
        unit, rest = UNITS[glued[1]], glued[2]
    words = _words(rest)
    if not unit and (loud := next((each for each in words if each in LOUD), "")):
        unit = UNITS[loud]
        words.remove(loud)
    seen: set[str] = set()
    languages: list[str] = []
    for word in words:
        for concept, language in _concepts(word):
            seen.add(concept)
            if language != "x":
                languages.append(language)
    quantity = _quantity(seen, unit, words)
    if not unit:
        is_sided = bool(seen & {HOSE, ISO, RESIN} or {"a", "b"} & set(words))
        unit = _quiet_unit(words, TEMP if is_sided and not quantity else quantity)
        quantity = _quantity(seen, unit, words)
    side, letter = _side(seen, words, quantity)
    is_decoy = "decoy" in seen
    if {"aller", "allers"} & set(words) and {"retour", "retours"} & set(words):
        # There and back is a cycle; back alone is a pipe.
        is_decoy = any(
            concept == "decoy"
            for word in words
            if not word.startswith("retour")
            for concept, _ in _concepts(word)
        )
    if not quantity and "current" in words:
        is_decoy = True  # amperes
    if is_bracket_a:
        if quantity in ("", COUNT) or side:
            is_decoy = is_decoy or not quantity or not side
        else:
            side = side or "A"
    if quantity == FLOW and is_decoy:
        # "Flow rate" is no rate of strokes.
        only = [w for w in words if any(c == "decoy" for c, _ in _concepts(w))]
        is_decoy = any(w not in ("rate", "per", "min", "pro", "par", "por", "al") for w in only)
    if is_decoy and quantity in (TIME, DATE, EPOCH, ELAPSED) and "current" in words:
        is_decoy = False
    if unit == "?" or (unit.startswith("?")):
        is_decoy = True
    if quantity in _KIND.values() and unit in _KIND and not _fits(quantity, unit):
        if quantity in (STROKES, CYCLES, COUNT) or {quantity, _KIND[unit]} <= {FLOW, VOLUME}:
            quantity = _KIND[unit]
        else:
            is_decoy = True
    rank = 4 * ("life" in seen) + 2 * (("actual" in seen) + ("outlet" in seen))
    rank += side not in ("", BOTH) and BOTH in seen
    rank -= 3 * ("trip" in seen)
    if not zone:
        zone = next((w.upper() for w in words if w in ("utc", "gmt")), "")
    return Heading(
        text, quantity, side, letter, unit, is_decoy, rank, tuple(dict.fromkeys(languages)), zone
    )


def _fits(quantity: str, unit: str) -> bool:
    kind = _KIND[unit]
    return kind == quantity or (quantity in (COUNT, STROKES, CYCLES) and kind in (STROKES, CYCLES))


def _loud_unit(text: str) -> tuple[str, str]:
    """Return a unit that stands in a heading without brackets, and the heading without it."""
    whole = unicodedata.normalize("NFKC", text.replace("º", "°"))
    for written in (whole, _SPLIT_CASE.sub(" ", whole)):
        for pattern in (_DEGREES, _LOUD):
            if match := pattern.search(written):
                written_as = match[1].lower()
                unit = UNITS.get(written_as) or UNITS[re.sub(r"[/_ ]", "/", written_as)]
                return unit, f"{written[: match.start()]} {written[match.end() :]}"
    return ("?" if _PER_TIME.search(plain(text)) else ""), text


def _quiet_unit(words: list[str], quantity: str) -> str:
    """Return a unit that is a word like others, by what is measured; takes it out of `words`."""
    if not words or (len(words) < 2 and quantity != ELAPSED):
        return ""
    last = words[-1]
    found = ""
    if (quantity == TEMP and last in ("f", "c")) or (
        quantity in (HOURS, ELAPSED, TIME) and UNITS.get(last) in ("s", "ms", "us", "min", "h")
    ):
        found = last
    elif quantity in (VOLUME, FLOW):
        found = next((each for each in words if UNITS.get(each) in ("gal", "l")), "")
    elif quantity == EPOCH and last in ("s", "ms", "us", "sec"):
        found = last
    if found and found not in ("gallons", "litres", "liters", "seconds", "hours"):
        words.remove(found)
    return UNITS[found] if found else ""


_ORDER: Final = (
    CYCLES, STROKES, TEMP, PRESSURE, FLOW, VOLUME, HOURS, EPOCH, ELAPSED, DATE, TIME, ZONE, COUNT,
    HEAT, RUNNING, SERIAL,
)  # fmt: skip


def _quantity(seen: set[str], unit: str, words: list[str]) -> str:
    if STROKES in seen and ("double" in seen or CYCLES in seen):
        return CYCLES if "double" in seen else STROKES
    if FLOW in seen and unit in ("gal", "l"):
        return VOLUME
    if VOLUME in seen and unit in ("gal/min", "gal/h", "l/min", "l/h"):
        return FLOW
    if PRESSURE in seen and TEMP in seen:
        return _KIND.get(unit, "")
    if COUNT in seen and unit in ("strokes", "cycles"):
        return unit
    if (
        RUNNING in seen
        and HOURS not in seen
        and ELAPSED not in seen
        and not (seen & {STROKES, CYCLES, TEMP, PRESSURE, FLOW, VOLUME, EPOCH})
    ):
        return HOURS if TIME in seen else RUNNING
    for each in _ORDER:
        if each in seen and not (each == HEAT and unit in _KIND):
            return each
    if unit in _KIND:
        return _KIND[unit]
    if "p" in words and "t" not in words:
        return PRESSURE
    if "t" in words and "p" not in words:
        return TEMP
    return ""


def _side(seen: set[str], words: list[str], quantity: str) -> tuple[str, str]:
    letters = [each for each in ("a", "b") if each in words]
    letter = letters[0].upper() if len(letters) == 1 else ""
    chemicals = [each for each in (ISO, RESIN) if each in seen]
    if HOSE in seen:
        return HOSE, ""
    if len(chemicals) == 2 or len(letters) == 2:
        return BOTH, ""
    if chemicals:
        return chemicals[0], letter
    if letter:
        return letter, ""
    for each in ("left", "right"):
        if each in seen:
            return each, ""
    for word in words:
        if word in ("l", "r", "i"):
            return word.upper(), ""
        if word in ("1", "2", "ii", "01", "02"):
            return "1" if word in ("1", "01") else "2", ""
        if word.isdigit() and len(word) == 1 and word != "0":
            return "3", ""
    if "h" in words and quantity in (TEMP, PRESSURE) and len(words) > 1:
        return HOSE, ""
    return (BOTH, "") if BOTH in seen else ("", "")


_ZONE_WORD = re.compile(
    r"^\s*(?:(?:UTC|GMT)\s*(?:[+-−]\s*\d{1,2}(?::?\d\d)?)?|Z|[+-−]\d{1,2}:?\d\d|[A-Z][a-zA-Z]+/[A-Za-z_/]+|"
    r"[A-Z]{2,5})\s*$"
)


def is_zone_word(text: str) -> bool:
    """Say whether text looks like the name of a zone; `zones` knows which there are."""
    from equipment.shiftlogs.guessing.zone_names import ABBREVIATIONS

    word = text.strip()
    if not _ZONE_WORD.match(word):
        return False
    return not word.isalpha() or word in ("UTC", "GMT", "Z") or word in ABBREVIATIONS
